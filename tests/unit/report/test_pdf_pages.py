"""PDF: tagged, complete, the same each time, and deaf to what texts tell it to do."""

from __future__ import annotations

import base64
import datetime
import io
import re
import warnings

import pandas as pd
import pikepdf
import pytest
from PIL import Image
from tests.pdf_structure import fonts_without_a_file, outline_count, tags
from tests.pdf_text import page_texts, right_edges

from quenchbook.errors import QuenchbookWarning, ReportError
from quenchbook.report.blocks import (
    Bullets,
    Column,
    FigureBlock,
    PageBreak,
    Paragraph,
    Quote,
    Section,
    TableBlock,
    table,
)
from quenchbook.report.document import heading_of
from quenchbook.report.from_notebook import report_document
from quenchbook.report.pdf import compile_typst, pdf_bytes
from quenchbook.report.typst_source import literal, typst_page


@pytest.fixture
def opened(careful_pdf):
    with pikepdf.open(io.BytesIO(careful_pdf)) as pdf:
        yield pdf


def test_language_title_author_and_day(opened):
    assert str(opened.Root.Lang) == "en"
    assert str(opened.docinfo.Title) == "Does dry ice move the hardness peak of A2?"
    assert str(opened.docinfo.Author) == "A. Writer"
    assert str(opened.docinfo.CreationDate).startswith("D:20260114")


def test_the_standards_are_declared(opened):
    with opened.open_metadata() as metadata:
        assert metadata["pdfuaid:part"] == "1"
        assert (metadata["pdfaid:part"], metadata["pdfaid:conformance"]) == ("2", "A")
    assert bool(opened.Root.MarkInfo.Marked)


def test_bookmarks_are_the_headings(opened, careful):
    headings = [block for block in report_document(careful).blocks if heading_of(block)]
    with opened.open_outline() as outline:
        assert outline_count(outline.root) == len(headings) == 5


def test_every_figure_has_its_words(opened):
    figures = [tag for tag in tags(opened) if tag.S == "/Figure"]
    assert len(figures) == 2
    assert {str(tag.Alt) for tag in figures} >= {"Noise."}
    assert all(str(tag.Alt) for tag in figures)


def test_tables_are_tables_with_heads(opened):
    kinds = [str(tag.S) for tag in tags(opened)]
    assert kinds.count("/Table") == 3
    assert kinds.count("/TH") == 2 + 3 + 5


def test_fonts_are_embedded(opened):
    assert fonts_without_a_file(opened) == []


def test_pages_are_a4_and_numbered_in_the_running_foot(opened):
    assert len(opened.pages) == 4
    assert [round(float(side)) for side in list(opened.pages[0].MediaBox)[2:]] == [595, 842]


def test_the_same_notebook_gives_the_same_bytes(careful, careful_pdf):
    assert pdf_bytes(report_document(careful)) == careful_pdf


def test_a_day_given_from_outside_goes_before_that_of_the_report(monkeypatch, notebook_showing):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    done = pdf_bytes(report_document(notebook_showing(), details={"date": "2026-01-14"}))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert str(pdf.docinfo.CreationDate).startswith("D:19700102")


def test_hostile_words_are_set_and_not_obeyed(hostile, hostile_pdf):
    with pikepdf.open(io.BytesIO(hostile_pdf)) as pdf:
        figures = [str(tag.Alt) for tag in tags(pdf) if tag.S == "/Figure"]
        assert all('"] #read("/etc/passwd")' in alt and '#panic("x")' in alt for alt in figures)
        assert "/etc/passwd" in str(pdf.docinfo.Title)
        assert "/AA" not in pdf.Root
        assert "/JavaScript" not in pdf.Root.get("/Names", {})
        for page in pdf.pages:
            for note in page.get("/Annots", []):
                assert not str(note.get("/A", {}).get("/URI", "")).startswith("javascript")
    source, _ = typst_page(report_document(hostile))
    assert '\\"] #read(\\"/etc/passwd\\")' in source
    assert '"] #read("/etc/passwd")' not in source


def test_no_words_run_off_a_page(hostile, hostile_pdf):
    source, _ = typst_page(report_document(hostile))
    body = source.partition("page-rules.with")[2]
    alternatives = re.findall(r'alt: "(?:[^"\\]|\\.)*"', body)
    told = body.count("private") - sum(words.count("private") for words in alternatives)
    assert told > 30
    found = sum(page.count("private") for page in page_texts(hostile_pdf))
    repeated = found - told  # title and unit of a table's head, again on each page it goes over
    assert repeated >= 0
    assert repeated % 2 == 0


def test_a_very_long_word_is_broken_at_the_margin(notebook_showing):
    row = table(pd.DataFrame({"file": ["w" * 300]}), key="f", caption="Files.")
    blocks = (Paragraph(("w" * 300,)), Quote((("w" * 300,),)), Bullets((("w" * 300,),)), row)
    done = pdf_bytes(report_document(notebook_showing(*blocks)))
    assert max(right_edges(done)) < (210 - 20) * 72 / 25.4 + 1  # paper less its margin [pt]


def test_copied_text_has_no_invisible_characters_in_long_words(notebook_showing):
    hash_text = "3db02e1013c53d2becd6f3f074ea93a8d372b9258c87a38f3c41b820b05484f6"
    notebook = notebook_showing(
 Paragraph((f"Plan {hash_text}.",)),
        table(pd.DataFrame({"file": ["a_very_long_name_of_a_file.csv"]}), key="f", caption="Files."),
    )  # fmt: skip
    text = "".join(page_texts(pdf_bytes(report_document(notebook))))
    assert hash_text in text
    assert "a_very_long_name_of_a_file.csv" in text
    assert not {"\u200b", "\u00ad"} & set(text)


def test_both_outputs_have_the_same_numbers(careful, careful_page):
    document = report_document(careful)
    source, _ = typst_page(document)
    for label in filter(None, (placed.label for placed in document.placed)):
        assert f"{label}. " in source
        assert f"{label}. " in careful_page


@pytest.mark.parametrize(
    "text",
    [
        "\ud800 half",
        "\x00\x1b",
        "\U0001f469\u200d\U0001f467",
        "漢字",
        "\ue000",
        "\u202e",
        "e\u0301\u0330",
    ],
)
def test_no_character_stops_a_page(text):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", QuenchbookWarning)
        done = compile_typst(f"= a#{literal(text)}\n#{literal(text)}", {}, title=f"t {text}")
    assert done.startswith(b"%PDF")


def test_characters_without_a_font_are_told_also_those_of_a_picture():
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="90" height="10">'
        '<text y="8" font-family="DejaVu Sans">字</text></svg>'
    )
    source = f'= a\n#image("p.svg", alt: "b")\n#{literal("漢")}'
    with pytest.warns(QuenchbookWarning, match=r"U\+5B57, U\+6F22; printed as □"):
        compile_typst(source, {"p.svg": svg.encode()}, title="t")


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ('#panic("x")', "'t' could not be set: panicked with: x"),
        ('#image("p.svg")', "could not be set: file not found"),
        ('#read("/etc/passwd")', "could not be set: file not found"),
    ],
)
def test_source_that_cannot_be_set_is_told_in_a_sentence(source, message):
    with pytest.raises(ReportError, match=message):
        compile_typst(f"= a\n{source}", {}, title="t")


@pytest.mark.parametrize("name", ["../x.svg", "/etc/x.svg", "a\\b.svg", "main.typ"])
def test_a_picture_stays_in_its_folder(name):
    with pytest.raises(ReportError, match="cannot be the name of a picture"):
        compile_typst("= a", {name: b""}, title="t")


def test_a_long_table_repeats_its_head_on_every_page(notebook_showing):
    rows = tuple((f"K{n:03d}", "1") for n in range(150))
    block = TableBlock("k", "c", (Column("coupon"), Column("load", align="right")), rows)
    done = pdf_bytes(report_document(notebook_showing(block)))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert len(pdf.pages) == 3
    assert all(page.split().count("coupon") == 1 for page in page_texts(done))
    assert sum(page.count("K0") + page.count("K1") for page in page_texts(done)) == 150


def test_a_page_break_turns_the_page(notebook_showing):
    done = pdf_bytes(report_document(notebook_showing(PageBreak(), Paragraph("next"))))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert len(pdf.pages) == 2


def test_a_very_long_caption_goes_under_its_figure_and_over_pages(notebook_showing, drawn):
    words = "Loads are told apart by their ties. " * 300
    figure = FigureBlock("one", drawn.svg, "", "It is so.", reading=words, alt="Words.")
    done = pdf_bytes(report_document(notebook_showing(figure)))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert len(pdf.pages) >= 2
    assert sum(page.split().count("apart") for page in page_texts(done)) == 300


def _page_of(pages: list[str], words: str) -> int:
    return next(number for number, page in enumerate(pages) if words in page)


def _figure(drawn: FigureBlock, number: int) -> FigureBlock:
    return FigureBlock("one", drawn.svg, "", f"Shown {number}.", alt="Words.")


@pytest.mark.parametrize("lines", [5, 15, 25, 35, 45])
def test_text_fills_the_page_that_a_figure_leaves(notebook_showing, drawn, lines):
    before = [Paragraph((f"before {n}.",)) for n in range(lines)]
    after = [Paragraph((f"after {n}.",)) for n in range(60)]
    blocks = [*before, Section("Own"), Paragraph(("own words.",)), _figure(drawn, 1), *after]
    pages = page_texts(pdf_bytes(report_document(notebook_showing(*blocks))))
    caption = _page_of(pages, "Shown 1")
    heading = _page_of(pages, "Own")
    assert heading <= caption <= heading + 1
    for page in pages[:-1]:
        lines_of_words = sum("before" in line or "after" in line for line in page.splitlines())
        with_figure = "Shown" in page
        assert lines_of_words >= (17 if with_figure else 37)


@pytest.mark.parametrize("lines", range(24, 40, 3))
def test_a_figure_never_stands_on_a_page_before_its_heading(notebook_showing, drawn, lines):
    blocks = [
        *(Paragraph((f"before {n}.",)) for n in range(lines)),
        Section("Own", level=2), _figure(drawn, 1), _figure(drawn, 2), Paragraph(("own words",)),
        Section("Next", level=2), Paragraph(("next words",)),
    ]  # fmt: skip
    pages = page_texts(pdf_bytes(report_document(notebook_showing(*blocks))))
    heading, following = _page_of(pages, "Own"), _page_of(pages, "next words")
    for number in (1, 2):
        assert heading <= _page_of(pages, f"Shown {number}") <= following
    assert heading == _page_of(pages, "own words")


@pytest.mark.parametrize("lines", [20, 32, 34, 36])
def test_a_long_table_begins_with_some_rows(notebook_showing, lines):
    rows = tuple((f"K{n:03d}", "1") for n in range(60))
    block = TableBlock("k", "c", (Column("coupon"), Column("load", align="right")), rows)
    before = [Paragraph((f"before {n}.",)) for n in range(lines)]
    pages = page_texts(pdf_bytes(report_document(notebook_showing(*before, block))))
    first = pages[_page_of(pages, "K000")]
    assert all(f"K{n:03d}" in first for n in range(4))


def test_an_upright_photograph_leaves_room_on_its_page(notebook_showing, drawn):
    photo = io.BytesIO()
    Image.new("RGB", (300, 600), "grey").save(photo, "PNG")
    data = base64.b64encode(photo.getvalue()).decode()
    block = FigureBlock("photo", "", data, "Seen.", alt="A photograph.")
    words = [Paragraph((f"after {n}.",)) for n in range(12)]
    done = pdf_bytes(report_document(notebook_showing(block, *words)))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert len(pdf.pages) == 1


def test_an_author_may_set_another_language():
    done = compile_typst("= Frage", {}, title="t", language="de", date=datetime.date(2026, 1, 14))
    with pikepdf.open(io.BytesIO(done)) as pdf:
        assert str(pdf.Root.Lang) == "de"
