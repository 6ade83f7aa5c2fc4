"""PDF of the examples as they are published: complete, tagged, and with nothing of another edition."""

from __future__ import annotations

import dataclasses
import io
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass

import pikepdf
import pytest
from tests.example_reports import ExampleReport
from tests.pdf_structure import (
    below,
    font_count,
    fonts_without_a_file,
    outline_count,
    scope_of,
    tags,
)
from tests.pdf_text import joined, page_texts, page_words
from tests.unit.report.conftest import shown_by

from quenchbook.report.blocks import (
    Bullets,
    Cautions,
    Column,
    FigureBlock,
    Paragraph,
    Quote,
    Run,
    Section,
    TableBlock,
)
from quenchbook.report.document import Document, heading_of
from quenchbook.report.edition import Edition
from quenchbook.report.html import html_page
from quenchbook.report.pdf import pdf_bytes
from quenchbook.report.wording import caption_parts, table_caption

REPORTS = [
    ("plane_irons", "public", False),
    ("plane_irons", "supporters", True),
    ("coated_bars", "public", False),
]
FEWEST_LINES = 5  # a page with fewer lines below its head, and no figure, is nearly empty


@dataclass(frozen=True)
class Published:
    edition: Edition
    pdf: pikepdf.Pdf
    texts: list[str]
    words: str

    @property
    def document(self) -> Document:
        return self.edition.document


@pytest.fixture(scope="module", params=REPORTS, ids=lambda own: f"{own[0]}-{own[1]}")
def published(
    request: pytest.FixtureRequest, report_of: Callable[[str], ExampleReport]
) -> Iterator[Published]:
    example, name, code = request.param
    edition = report_of(example).edition(name, show_code=code)
    data = pdf_bytes(edition.document)
    with pikepdf.open(io.BytesIO(data)) as pdf:
        yield Published(edition, pdf, page_texts(data), "".join(page_words(data)))


def test_language_and_title_are_told(published: Published) -> None:
    assert str(published.pdf.Root.Lang) == "en"
    assert str(published.pdf.docinfo.Title) == published.edition.study.question
    assert published.pdf.Root.ViewerPreferences.DisplayDocTitle


def test_the_standards_are_declared(published: Published) -> None:
    with published.pdf.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("2", "A")
    assert bool(published.pdf.Root.MarkInfo.Marked)


def test_the_file_is_sound(published: Published) -> None:
    """What ``qpdf --check`` looks at: pikepdf is the same library."""
    assert published.pdf.check_pdf_syntax() == []


def test_bookmarks_are_the_headings(published: Published) -> None:
    headings = [own for own in map(heading_of, published.document.blocks) if own]
    with published.pdf.open_outline() as outline:
        assert outline_count(outline.root) == len(headings)
    kinds = [str(tag.S) for tag in tags(published.pdf)]
    for level in range(1, 7):
        assert kinds.count(f"/H{level}") == sum(own[0] == level for own in headings)


def test_every_figure_has_the_words_of_its_source(published: Published) -> None:
    told = [str(tag.get("/Alt", "")) for tag in tags(published.pdf) if tag.S == "/Figure"]
    source = [block.alt for block in published.document.blocks if isinstance(block, FigureBlock)]
    assert source
    assert sorted(map(joined, told)) == sorted(map(joined, source))


def test_every_formula_of_the_page_is_one_with_words_in_the_pdf(published: Published) -> None:
    formulas = [tag for tag in tags(published.pdf) if tag.S == "/Formula"]
    assert len(formulas) == html_page(published.document).count("<math")
    assert all(str(tag.get("/Alt", "")).strip() for tag in formulas)


def test_every_table_has_header_cells_with_a_scope(published: Published) -> None:
    blocks = [block for block in published.document.blocks if isinstance(block, TableBlock)]
    tables = [tag for tag in tags(published.pdf) if tag.S == "/Table"]
    heads = [list(below(table, "/TH")) for table in tables]
    assert sorted(map(len, heads)) == sorted(len(block.columns) for block in blocks)
    assert {scope_of(cell) for row in heads for cell in row} == {"/Column"}


def test_every_font_is_in_the_file(published: Published) -> None:
    assert font_count(published.pdf) >= 4
    assert fonts_without_a_file(published.pdf) == []


def test_every_coupon_stands_in_the_text(published: Published) -> None:
    study = published.edition.study
    codes = (study.folder / "plan" / "coupon_matrix.csv").read_text(encoding="utf-8")
    head, *rows = codes.splitlines()[codes.startswith("#") :]
    place = head.split(",").index("coupon")
    coupons = [row.split(",")[place] for row in rows]
    assert len(coupons) >= 24
    assert [code for code in coupons if joined(code) not in published.words] == []


def test_every_caption_and_heading_stands_in_the_text(published: Published) -> None:
    texts: list[str] = []
    for placed in published.document.placed:
        if isinstance(placed.block, FigureBlock):
            texts += caption_parts(placed.block, placed.label)
        elif isinstance(placed.block, TableBlock):
            texts += [table_caption(placed.block, placed.label), *placed.block.notes]
        elif heading := heading_of(placed.block):
            texts.append(heading[1])
    assert len(texts) > 15
    assert [text for text in texts if joined(text) not in published.words] == []


def test_no_page_is_nearly_empty(published: Published) -> None:
    lines = [len(text.splitlines()) - 2 for text in published.texts]  # without head and foot
    figures = [bool(page.resources.get("/XObject")) for page in published.pdf.pages]
    *pages, last = zip(lines, figures, strict=True)
    assert [own for own in pages if own[0] < FEWEST_LINES and not own[1]] == []
    assert last[0] >= 1


def test_a_sheet_says_what_study_it_is_of_and_its_number(published: Published) -> None:
    head = published.document.running_head
    for number, text in enumerate(published.texts, 1):
        assert joined(head) in joined(text.splitlines()[0])
        assert re.search(rf"(?<!\d){number}\s*/\s*{len(published.texts)}$", text.splitlines()[-1])


MARK = "kept-for-supporters"
SECRET = (
    Section(f"Section {MARK}", 2),
    Paragraph((f"Paragraph {MARK} ", Run("run", note=f"Note {MARK}", link=f"https://{MARK}.example"))),
    Bullets(((f"Point {MARK}",),)),
    Quote(((f"Quotation {MARK}",),)),
    Cautions(f"Title {MARK}", (f"Caution {MARK}",)),
    TableBlock("t", f"Caption {MARK}", (Column(f"Head {MARK}"),), ((f"Cell {MARK}",),), (f"Note {MARK}",)),
)  # fmt: skip


@pytest.mark.parametrize("example", ["plane_irons", "coated_bars"])
def test_nothing_of_the_supporters_edition_is_in_the_public_one(
    report_of: Callable[[str], ExampleReport], drawn: FigureBlock, example: str
) -> None:
    report = report_of(example)
    notebook = deepcopy(report.notebook)
    figure = dataclasses.replace(
        drawn, finding=f"Finding {MARK}", alt=f"Words {MARK}", data_csv=f"{MARK},1\n"
    )
    notebook.cells.append(shown_by(*SECRET, figure, tags=("supporters",)))
    notebook.cells[-1].source = f"# {MARK}"
    report = dataclasses.replace(report, notebook=notebook)
    public = report.edition("public", show_code=True).document
    fuller = report.edition("supporters", show_code=True).document

    only = set(_texts(fuller.blocks)) - set(_texts(public.blocks))
    page, done = html_page(public), pdf_bytes(public)
    held = _everything(done)
    said = joined(" ".join(_texts(public.blocks)))
    own = [text for text in only if len(text) > 20 and joined(text) not in said]
    assert sum(MARK in text for text in own) >= 10
    assert MARK not in page
    assert joined(MARK) not in held
    assert [text for text in own if joined(text) in held or text in page] == []
    assert MARK in html_page(fuller)
    assert _everything(pdf_bytes(fuller)).count(joined(MARK)) >= 10


def _texts(value: object) -> Iterator[str]:
    """Every text anywhere in blocks."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, tuple):
        for own in value:
            yield from _texts(own)
    elif dataclasses.is_dataclass(value):
        for field in dataclasses.fields(value):
            yield from _texts(getattr(value, field.name))


def _everything(done: bytes) -> str:
    """Words on the pages, and all strings of a PDF: alternatives, bookmarks, links, metadata."""
    held = page_words(done)
    with pikepdf.open(io.BytesIO(done)) as pdf:
        for own in pdf.objects:
            held += _strings(own)
            if isinstance(own, pikepdf.Stream) and own.get("/Type") == "/Metadata":
                held.append(own.read_bytes().decode())
    return joined(" ".join(held))


def _strings(own: pikepdf.Object) -> list[str]:
    if isinstance(own, pikepdf.String):
        return [str(own)]
    if own.is_indirect and not isinstance(own, pikepdf.Dictionary | pikepdf.Stream | pikepdf.Array):
        return []
    values = list(own.values()) if isinstance(own, pikepdf.Dictionary) else []
    values = list(own) if isinstance(own, pikepdf.Array) else values
    return [
        text
        for value in values
        if isinstance(value, pikepdf.Object) and not value.is_indirect
        for text in _strings(value)
    ]
