"""One Chromium for all browser tests, and the pages that we publish."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright
from tests.browser.pages import CHROMIUM, PAGES, STOCK
from tests.example_reports import ExampleReport

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.booklet import bench_booklet
from quenchbook.report.booklet_html import booklet_html
from quenchbook.report.html import html_page
from quenchbook.report.phone_page import write_phone_page


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def published_pages(
    report_of: Callable[[str], ExampleReport],
    plane_irons_matrix: CouponMatrix,
    coated_bars_matrix: CouponMatrix,
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[str, Path]:
    """Files of `PAGES` by their names."""
    folder = tmp_path_factory.mktemp("published")
    stocked = replace(plane_irons_matrix.study, stock=STOCK)
    booklets = {
        "booklet_plane_irons": replace(plane_irons_matrix, study=stocked),
        "booklet_coated_bars": coated_bars_matrix,
    }
    paths = {}
    for name, (example, edition, code) in PAGES.items():
        path = folder / f"{name}.html"
        if name in booklets:
            path.write_text(booklet_html(bench_booklet(booklets[name])), encoding="utf-8")
        elif name == "phone":
            write_phone_page(plane_irons_matrix, path)
        else:
            document = report_of(example).edition(edition, show_code=code).document
            path.write_text(html_page(document), encoding="utf-8", newline="\n")
        paths[name] = path
    return paths
