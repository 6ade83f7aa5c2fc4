"""Pages as they look, held against small kept pictures: see `kept_pictures.py` to renew them."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pypdfium2
import pytest
from PIL import Image
from playwright.sync_api import Browser
from tests.browser.kept_pictures import (
    FARTHEST,
    WIDTH,
    differs_from_kept,
    farthest_band,
    small,
    stacked,
)
from tests.browser.pages import MODES
from tests.example_reports import ExampleReport

from quenchbook.report.pdf import pdf_bytes

pytestmark = pytest.mark.browser

SCREENS = [
    ("plane_irons", "light"), ("plane_irons", "dark"), ("plane_irons", "narrow"),
    ("plane_irons_supporters", "light"),
    ("coated_bars", "light"), ("coated_bars", "dark"), ("coated_bars", "narrow"),
    ("booklet_coated_bars", "light"), ("phone", "narrow"),
]  # fmt: skip
PDFS = [("plane_irons", "public"), ("plane_irons", "supporters"), ("coated_bars", "public")]
SLICE = 4000  # CSS px pictured at once: a browser cuts off a very tall picture


def screen(browser: Browser, path: Path, mode: str) -> Image.Image:
    """Whole page as a small picture."""
    width, colours = MODES[mode]
    page = browser.new_page(viewport={"width": width, "height": 800}, color_scheme=colours)
    page.goto(path.as_uri())
    height = page.evaluate("document.fonts.ready.then(() => document.documentElement.scrollHeight)")
    page.set_viewport_size({"width": width, "height": min(SLICE, height)})
    whole = Image.new("L", (width, height), 128)
    for top in range(0, height, SLICE):
        at = page.evaluate("top => { scrollTo(0, top); return Math.round(scrollY); }", top)
        with Image.open(io.BytesIO(page.screenshot(type="jpeg", quality=80))) as picture:
            whole.paste(picture.convert("L"), (0, at))
    page.close()
    return small(whole, WIDTH // 2 if mode == "narrow" else WIDTH)


@pytest.mark.parametrize(("name", "mode"), SCREENS, ids=lambda own: own)
def test_a_page_looks_as_it_did(
    browser: Browser, published_pages: dict[str, Path], name: str, mode: str
) -> None:
    assert differs_from_kept(f"{name}_{mode}", screen(browser, published_pages[name], mode)) == ""


@pytest.mark.parametrize(("example", "edition"), PDFS, ids=lambda own: own)
def test_a_pdf_looks_as_it_did(
    report_of: Callable[[str], ExampleReport], example: str, edition: str
) -> None:
    """Its fonts are in the file, so each line is where it was on any machine."""
    done = pdf_bytes(report_of(example).edition(edition).document)
    with pypdfium2.PdfDocument(done) as pdf:
        pages = [small(page.render(scale=0.5).to_pil()) for page in pdf]
    assert differs_from_kept(f"{example}_{edition}_pdf", stacked(pages), drift=0.002) == ""


@pytest.mark.parametrize(
    "style",
    [
        "#figure-furnace_order svg { visibility: hidden }",
        "main { visibility: hidden }",
        "main p { white-space: nowrap }",
        ":root { --ink: #FDFCF9 !important }",
    ],
    ids=["a_lost_figure", "a_blank_page", "words_over_the_edge", "pale_ink"],
)
def test_what_spoils_a_page_is_far_from_the_kept_picture(
    browser: Browser, published_pages: dict[str, Path], tmp_path: Path, style: str
) -> None:
    good = published_pages["coated_bars"]
    spoiled = tmp_path / "spoiled.html"
    page = good.read_text(encoding="utf-8")
    spoiled.write_text(page.replace("</style>", f"{style}</style>", 1), encoding="utf-8")
    first = screen(browser, good, "light")
    assert farthest_band(first, screen(browser, spoiled, "light")) > FARTHEST


def test_letters_set_a_little_wider_are_near_the_kept_picture(
    browser: Browser, published_pages: dict[str, Path], tmp_path: Path
) -> None:
    """As by another machine: the edges of words move, not what stands on the page."""
    good = published_pages["coated_bars"]
    other = tmp_path / "other.html"
    page = good.read_text(encoding="utf-8")
    style = "body { letter-spacing: .004em }"
    other.write_text(page.replace("</style>", f"{style}</style>", 1), encoding="utf-8")
    first = screen(browser, good, "light")
    assert farthest_band(first, screen(browser, other, "light")) <= FARTHEST
