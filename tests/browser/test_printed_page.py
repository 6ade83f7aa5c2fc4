"""Report printed by the real Chromium, as where Typst does not work."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from pathlib import Path

import pikepdf
import pytest
from tests.browser.pages import CHROMIUM
from tests.example_reports import ExampleReport
from tests.pdf_structure import fonts_without_a_file, outline_count, tags
from tests.pdf_text import page_texts

from quenchbook.errors import QuenchbookWarning
from quenchbook.report.browser_print import printed_page
from quenchbook.report.document import heading_of
from quenchbook.report.edition import Edition
from quenchbook.report.exporters import write_pdf_edition
from quenchbook.report.html import html_page

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def edition(report_of: Callable[[str], ExampleReport]) -> Edition:
    return report_of("coated_bars").edition()


@pytest.fixture(scope="module")
def printed(edition: Edition) -> bytes:
    return printed_page(html_page(edition.document), Path(CHROMIUM), seconds=86400)


def test_the_same_page_is_printed_to_the_same_words_on_the_same_pages(
    edition: Edition, printed: bytes
) -> None:
    again = printed_page(html_page(edition.document), Path(CHROMIUM), seconds=86400)
    with pikepdf.open(io.BytesIO(again)) as new, pikepdf.open(io.BytesIO(printed)) as old:
        assert dict(new.docinfo) == dict(old.docinfo)
    assert page_texts(again) == page_texts(printed)


def test_a_printed_page_has_title_day_bookmarks_tags_and_fonts(
    edition: Edition, printed: bytes
) -> None:
    headings = [own for own in map(heading_of, edition.document.blocks) if own]
    with pikepdf.open(io.BytesIO(printed)) as pdf:
        assert pdf.check_pdf_syntax() == []
        assert str(pdf.docinfo.Title) == edition.document.title
        assert str(pdf.docinfo.CreationDate).startswith("D:19700102")
        assert str(pdf.docinfo.ModDate).startswith("D:19700102")
        assert str(pdf.Root.Lang) == "en"
        kinds = [str(tag.S) for tag in tags(pdf)]
        assert kinds.count("/H1") == 1
        assert kinds.count("/Table") >= 5
        with pdf.open_outline() as outline:
            assert outline_count(outline.root) == len(headings)
        assert fonts_without_a_file(pdf) == []
        assert [round(float(side)) for side in pdf.pages[0].MediaBox[2:]] == [595, 842]
        assert 5 <= len(pdf.pages) <= 9


def test_without_typst_the_report_is_printed_by_this_browser(
    edition: Edition, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "typst", None)
    monkeypatch.setenv("QUENCHBOOK_BROWSER", CHROMIUM)
    with pytest.warns(QuenchbookWarning, match="printed by chromium instead: .*not PDF/UA"):
        (path,) = write_pdf_edition(edition)
    assert path.read_bytes().startswith(b"%PDF")
    path.unlink()
