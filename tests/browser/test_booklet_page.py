"""The bench booklet in Chromium: narrow, wide, and printed."""

from __future__ import annotations

import io
import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pikepdf
import pytest
from playwright.sync_api import Browser
from tests.browser.pages import STOCK

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.booklet import bench_booklet
from quenchbook.report.booklet_html import booklet_html

pytestmark = pytest.mark.browser

OVER_THE_EDGE = """
() => [...document.querySelectorAll("main *")]
  .filter(own => !own.closest("thead, svg"))
  .filter(own => own.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map(own => `${own.tagName} ${own.className}`)
"""
HIDDEN = """
() => [...document.querySelectorAll(".code")]
  .filter(own => { const box = own.getBoundingClientRect(); return !box.width || !box.height; })
  .map(own => own.textContent)
"""


@pytest.fixture(scope="module")
def html(plane_irons_matrix: CouponMatrix) -> str:
    study = replace(plane_irons_matrix.study, stock=STOCK)
    return booklet_html(bench_booklet(replace(plane_irons_matrix, study=study)))


@pytest.mark.parametrize("width", [360, 1100])
def test_nothing_runs_over_the_edge_and_every_code_is_seen(
    browser: Browser, html: str, tmp_path: Path, width: int
) -> None:
    path = tmp_path / "booklet.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": width, "height": 740})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    assert page.evaluate(OVER_THE_EDGE) == []
    assert page.evaluate(HIDDEN) == []
    assert [url for url in asked if not url.startswith(("data:", path.as_uri()))] == []
    page.close()


def test_rows_of_one_load_never_lie_on_one_another(
    browser: Browser, html: str, tmp_path: Path
) -> None:
    path = tmp_path / "booklet.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.goto(path.as_uri())
    boxes = page.evaluate(
        "() => [...document.querySelectorAll('#sheet-load-1 tbody tr')].map(row => {"
        "const cells = [...row.children].map(own => own.getBoundingClientRect());"
        "return [Math.min(...cells.map(b => b.top || 1e9)), "
        "Math.max(...cells.map(b => b.bottom))]; })"
    )
    assert len(boxes) == 8
    for above, below in pairwise(boxes):
        assert above[1] <= below[0]
    page.close()


def test_every_sheet_is_printed_on_one_page_of_a4_and_a_long_list_on_more(
    browser: Browser, html: str, tmp_path: Path
) -> None:
    path = tmp_path / "booklet.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    done = page.pdf(prefer_css_page_size=True)
    page.close()
    sheets = len(re.findall(r'<section class="page', html))
    lists = len(re.findall(r'id="sheet-day-\d+-list"', html))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert sheets <= len(pdf.pages) <= sheets + lists
        box = [float(side) for side in pdf.pages[0].mediabox]
        assert box[2:] == pytest.approx([595.3, 841.9], abs=1.0)


def test_a_table_is_told_as_a_table_also_where_it_is_shown_as_cards(
    browser: Browser, html: str, tmp_path: Path
) -> None:
    """Rows and cells as assistive technology gets them from Chromium at 360 px."""
    path = tmp_path / "booklet.html"
    path.write_text(html, encoding="utf-8")
    page = browser.new_page(viewport={"width": 360, "height": 740})
    page.goto(path.as_uri())
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")
    page.close()
    told = Counter(own["role"]["value"] for own in tree["nodes"] if not own["ignored"])
    assert told["table"] == html.count("<table")
    assert told["row"] == html.count("<tr>")
    assert told["columnheader"] == html.count('<th scope="col"')
    assert told["rowheader"] == html.count('<th scope="row"')
