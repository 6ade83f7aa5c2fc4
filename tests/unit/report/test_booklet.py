"""The bench booklet: its PDF read back by pikepdf, its HTML by the standard library."""

from __future__ import annotations

import datetime
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser
from pathlib import Path

import pandas as pd
import pikepdf
import pytest
from tests.pdf_text import page_texts

from quenchbook.bench.breach_groups import breach_sentences
from quenchbook.columns import GLOSSARY
from quenchbook.errors import ReportError
from quenchbook.metallurgy.tester_limits import IMPACT_COUPONS
from quenchbook.plan.entry_tables import BLOCK_COLUMNS, IMPACT_CHECK_COLUMNS
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.booklet import Booklet, bench_booklet, fits_one_page
from quenchbook.report.booklet_files import BOOKLET_HTML, BOOKLET_PDF, write_bench_documents
from quenchbook.report.booklet_html import booklet_html
from quenchbook.report.booklet_pages import booklet_files, booklet_source
from quenchbook.report.html import POLICY
from quenchbook.report.pdf import compile_typst
from quenchbook.study.stock import OtherPieces, Stock, StockBar
from quenchbook.writing import write_bytes

STOCK = Stock(
    (StockBar(500.0),), 25.0, 1.6, 10.0, pieces=(OtherPieces("spare share", 60.0),), labels=True
)
HOSTILE = '<script>alert(1)</script>"] #panic("x") </style> & <img src=x onerror=y>'
PARTS = ["cautions", "needs", "timetable", "bars", "labels", "loads", "tempers", "tests"]


@pytest.fixture(scope="module")
def matrix(plane_irons_matrix: CouponMatrix) -> CouponMatrix:
    return replace(plane_irons_matrix, study=replace(plane_irons_matrix.study, stock=STOCK))


@pytest.fixture(scope="module")
def booklet(matrix: CouponMatrix) -> Booklet:
    return bench_booklet(matrix)


@pytest.fixture(scope="module")
def pdf(booklet: Booklet) -> bytes:
    return compile_typst(booklet_source(booklet), booklet_files(booklet), title=booklet.title)


@pytest.fixture(scope="module")
def texts(pdf: bytes) -> list[str]:
    """Text of each page of the PDF."""
    return page_texts(pdf)


@pytest.fixture(scope="module")
def html(booklet: Booklet) -> str:
    return booklet_html(booklet)


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    children: list[Element | str] = field(default_factory=list)

    def text(self) -> str:
        return "".join(own if isinstance(own, str) else own.text() for own in self.children)

    def all(self, tag: str = "", css: str = "") -> Iterator[Element]:
        for own in self.children:
            if isinstance(own, Element):
                classes = own.attributes.get("class", "").split()
                if tag in ("", own.tag) and (not css or css in classes):
                    yield own
                yield from own.all(tag, css)


class Tree(HTMLParser):
    """Elements of a page, as a browser nests them."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.root = Element("", {})
        self.open = [self.root]
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(own)
        if tag not in ("meta", "br", "img"):
            self.open.append(own)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = Element(tag, {name: value or "" for name, value in attrs})
        self.open[-1].children.append(own)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop().tag == tag

    def handle_data(self, data: str) -> None:
        self.open[-1].children.append(data)


def sections(page: str) -> dict[str, Element]:
    found = Tree(page).root.all("section")
    return {own.attributes["id"].removeprefix("sheet-"): own for own in found}


# --- cover ----------------------------------------------------------------------------------------


def test_the_cover_says_what_is_asked_varied_and_measured(
    booklet: Booklet, matrix: CouponMatrix
) -> None:
    cover = booklet.cover
    assert cover.question == matrix.study.question
    about = {name: words.replace("\u00a0", " ") for name, words in cover.about}
    assert about == {
        "Varied": "Austenitize 940, 970, 1000 and 1030 °C; cold route no cold step, freezer, "
        "dry ice and liquid nitrogen; temper 150 and 175 °C; delay 0 min, 60 min and 1 day.",
        "Measured": "Hardness, 5 readings on each of 96 coupons; impact energy of 48 coupons.",
    }
    assert cover.counts[:2] == ((96, "coupons"), (12, "furnace loads"))
    assert cover.counts[2] == (len(booklet.timetable.days), "days")
    assert (cover.plan, cover.plan_hash) == (matrix.short_hash, matrix.plan_hash)
    assert cover.invented


def test_both_covers_have_the_words_and_the_lines_to_fill_in(
    booklet: Booklet, texts: list[str], html: str
) -> None:
    for words in (texts[0], sections(html)["cover"].text()):
        told = " ".join(words.split())
        assert booklet.cover.plan in told
        assert "Does a colder route" in told
        assert "Invented demonstration" in told
        for name in ("who", "where", "begun on", "finished on", "furnace", "testers"):
            assert name in told


def test_the_contents_name_the_pages_on_which_the_parts_really_begin(
    booklet: Booklet, texts: list[str]
) -> None:
    titles = [part.title for part in booklet.parts]
    for title in titles:
        row = re.search(rf"^\s*{title}\s.*?(\d+)(?: to (\d+))?\s*$", texts[0], re.MULTILINE)
        assert row is not None
        first = int(row[1])
        heads = [words.split("\n")[0].strip() for words in texts]
        assert heads.index(title) == first - 1
    assert f"to {len(texts)}" in texts[0]


# --- order, numbers, headings -----------------------------------------------------------------------


def test_parts_come_in_the_order_of_the_work(booklet: Booklet, html: str) -> None:
    assert [part.key for part in booklet.parts] == PARTS
    found = re.findall(r'<h2 id="part-(\w+)">', html)
    assert found == PARTS


def test_a_part_without_pages_is_not_in_the_booklet(coated_bars_matrix: CouponMatrix) -> None:
    keys = [part.key for part in bench_booklet(coated_bars_matrix).parts]
    assert "labels" not in keys
    assert "needs" not in keys
    assert [key for key in PARTS if key in keys] == keys


def test_the_contents_speak_of_the_air_only_where_it_is_on_the_page(matrix: CouponMatrix) -> None:
    def note(own: Booklet) -> str:
        return next(part.note for part in own.parts if part.key == "needs")

    own = bench_booklet(matrix)
    needs = own.sheets.needs
    assert needs is not None
    assert note(own) == "what is used up, and the air of the room"
    bare = replace(own.sheets, needs=replace(needs, air=()))
    assert note(replace(own, sheets=bare)) == "what is used up"


def test_every_page_says_its_number_of_all(texts: list[str]) -> None:
    feet = [re.findall(r"page (\d+) of (\d+)", words)[-1:] for words in texts]
    assert feet == [[(str(n), str(len(texts)))] for n in range(1, len(texts) + 1)]


def test_bookmarks_are_the_parts_with_their_sheets(booklet: Booklet, pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as opened, opened.open_outline() as outline:
        titles = [str(item.title) for item in outline.root]
        assert titles[1:] == [part.title for part in booklet.parts]
        loads = next(item for item in outline.root if item.title == "Furnace loads")
        assert [str(own.title) for own in loads.children] == [
            f"Furnace load {number}" for number in range(1, 13)
        ]


def test_the_pdf_is_tagged_and_every_picture_has_its_words(booklet: Booklet, pdf: bytes) -> None:
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        with opened.open_metadata() as metadata:
            assert metadata["{http://www.aiim.org/pdfua/ns/id/}part"] == "1"
        waiting, alts = [opened.Root.StructTreeRoot.K], []
        while waiting:
            own = waiting.pop()
            if isinstance(own, pikepdf.Array):
                waiting += list(own)
            elif isinstance(own, pikepdf.Dictionary):
                if own.get("/S") == "/Figure":
                    alts.append(str(own.get("/Alt", "")))
                if "/K" in own and own.get("/Type") not in ("/MCR", "/OBJR"):
                    waiting.append(own.K)
        squares = sum(len(sheet.labels) for sheet in booklet.sheets.labels)
        assert len(alts) == len(booklet.days) + len(booklet.bars) + squares
        assert all(alts)


# --- nothing lost -----------------------------------------------------------------------------------


def test_each_coupon_is_on_the_html_sheet_of_its_load_in_quench_order(
    matrix: CouponMatrix, html: str
) -> None:
    found = sections(html)
    for load, rows in matrix.frame.groupby("furnace_load"):
        sheet = found[f"load-{load}"]
        assert [own.text() for own in sheet.all("th", "code")] == list(
            rows.sort_values("load_place")["coupon"]
        )
        level = f"{rows['austenitize_c'].iloc[0]:.0f}\u00a0°C"
        assert next(sheet.all("span", "setting")).text() == level
    assert f"load-{matrix.frame['furnace_load'].max() + 1}" not in found


def test_a_row_of_the_html_says_route_temper_and_wait_of_the_plan(
    matrix: CouponMatrix, html: str
) -> None:
    route = matrix.study.factor("cold_route")
    plan = matrix.frame.set_index("coupon")
    rows = [row for name, own in sections(html).items() if re.fullmatch(r"load-\d+", name)
            for row in own.all("tr") if list(row.all("th", "code"))]  # fmt: skip
    assert len(rows) == len(plan)
    for row in rows:
        own = plan.loc[next(row.all("th", "code")).text()]
        words = [cell.text() for cell in row.all("td", "entry")]
        assert words[0] == route.word(own["cold_route"])
        assert words[1].startswith(f"{own['temper_c']:g}batch {own['temper_batch']}")
        assert bool(words[2]) == (own["cold_route"] != "none")
        assert len(list(row.all("span", "line"))) == (2 if own["cold_route"] != "none" else 0)
        assert len(list(row.all("svg", "mark"))) == len(list(row.all("span", "tick"))) == 1


def test_tester_sheets_of_the_html_are_blind_and_in_test_order(
    matrix: CouponMatrix, html: str
) -> None:
    sheets = [own for name, own in sections(html).items() if name.startswith("test-")]
    codes = [own.text() for sheet in sheets for own in sheet.all("th", "code")
             if "words" not in own.attributes["class"]]  # fmt: skip
    expected = [
        *matrix.frame.sort_values("hardness_hrc_order")["coupon"],
        *matrix.frame.dropna(subset=["impact_j_order"]).sort_values("impact_j_order")["coupon"],
    ]
    assert codes == expected
    words = " ".join(sheet.text() for sheet in sheets)
    assert not any(told in words for told in ("dry ice", "freezer", "nitrogen", "°C", "load"))


def test_a_tester_sheet_has_a_field_for_each_column_of_the_block_form(booklet: Booklet) -> None:
    hardness, impact = booklet.sheets.tests[0].check, booklet.sheets.tests[-1].check
    assert hardness is not None
    assert impact is not None
    asked = [name for name in BLOCK_COLUMNS if name not in ("session", "when", "note")]
    assert len(hardness.heads) == len(asked)
    assert hardness.rows == ("before", "after")
    asked = [name for name in IMPACT_CHECK_COLUMNS if name not in ("session", "note")]
    assert len(impact.heads) == len(asked)
    assert all("session" in sheet.lines for sheet in booklet.sheets.tests)


def test_as_many_certified_coupons_are_asked_for_as_the_limit_needs(booklet: Booklet) -> None:
    impact = booklet.sheets.tests[-1].check
    assert impact is not None
    assert IMPACT_COUPONS == 5
    assert impact.hint.startswith("Five of one certified energy")
    block = booklet.sheets.tests[0].check
    assert block is not None
    assert "three readings" in block.hint
    assert "(common practice, no source)" in block.hint


def test_every_step_of_the_timetable_stands_in_the_html(booklet: Booklet, html: str) -> None:
    found = sections(html)
    for day, _ in booklet.days:
        # a short list stands below its picture
        page = found.get(f"day-{day.day}-list", found[f"day-{day.day}"])
        rows = [row for row in page.all("tr") if list(row.all("td"))]
        told = [tuple(cell.text() for cell in row.all("td"))[:3] for row in rows]
        assert told == [(own.start, own.words, own.coupons) for own in day.lines]


def test_a_day_at_the_oven_alone_is_one_page_with_picture_and_list(
    booklet: Booklet, html: str, texts: list[str]
) -> None:
    day, picture = booklet.days[-1]
    assert all("temper" in own.words for own in day.lines)
    assert fits_one_page(day, picture)
    assert f"day-{day.day}-list" not in sections(html)
    (page,) = (words for words in texts if words.lstrip().startswith(day.title))
    assert all(own.start in page and own.words.split(",")[0] in page for own in day.lines)
    full, its_picture = booklet.days[0]
    assert not fits_one_page(full, its_picture)


def test_what_cannot_be_met_stands_on_the_first_page_of_the_timetable(
    matrix: CouponMatrix,
) -> None:
    study = replace(matrix.study, stock=None, timetable={"work_hours": ["08:00", "10:00"]})
    first_day = matrix.frame[matrix.frame["day"] == 1]
    late = bench_booklet(replace(matrix, study=study, frame=first_day))
    assert late.timetable.breaches
    words = sections(booklet_html(late))["timetable"].text()
    assert all(own in words for own in breach_sentences(late.timetable.breaches))
    assert len(breach_sentences(late.timetable.breaches)) < len(late.timetable.breaches)
    source = booklet_source(late)
    assert source.index("What cannot be met") < source.index("Day 1: what to do")


def test_all_bars_are_drawn_and_the_summary_of_the_cut_list_is_told(
    booklet: Booklet, html: str, texts: list[str]
) -> None:
    assert booklet.cuts is not None
    drawn = "".join(picture.svg for picture in booklet.bars)
    assert all(f">Bar {bar}<" in drawn for bar in booklet.cuts.bars)
    words = " ".join(own.text() for name, own in sections(html).items() if "cuts-" in name)
    first = booklet.cuts.summary().split("\n")[0]
    assert first in words
    told = " ".join(" ".join(texts).replace("\u00a0", " ").split())
    assert first.replace("\u00a0", " ") in told


def test_no_note_of_an_amount_is_cut_and_a_long_one_flows(matrix: CouponMatrix) -> None:
    own = bench_booklet(matrix)
    needs = own.sheets.needs
    assert needs is not None
    long = replace(needs.lines[0], note=f"Counted with care. {'Every word. ' * 900}The last word.")
    needs = replace(needs, lines=(long, *needs.lines[1:]))
    own = replace(own, sheets=replace(own.sheets, needs=needs))
    pages = page_texts(compile_typst(booklet_source(own), booklet_files(own), title=own.title))
    words = " ".join(" ".join(pages).split())
    assert words.count("Every") >= 900
    assert "The last word." in words


def test_no_picture_has_a_text_lighter_than_the_grey_for_print(booklet: Booklet) -> None:
    for picture in (*(own for _, own in booklet.days), *booklet.bars):
        fills = re.findall(r"<text[^>]*fill: (#[0-9a-fA-F]{6})", picture.svg)
        assert fills
        for fill in fills:
            assert sum(int(fill[at : at + 2], 16) for at in (1, 3, 5)) <= 3 * 0x46


# --- safety of the HTML -------------------------------------------------------------------------------


def test_the_html_runs_nothing_and_asks_for_nothing(html: str) -> None:
    root = Tree(html).root
    assert f'http-equiv="Content-Security-Policy" content="{POLICY}"' in html
    tags = {own.tag for own in root.all()}
    assert not tags & {"script", "iframe", "link", "object", "embed", "form", "img", "base"}
    for own in root.all():
        for name, value in own.attributes.items():
            assert not name.startswith("on")
            if name in ("href", "src", "xlink:href"):
                assert value.startswith("#")
    outside = set(re.findall(r"https?://[^\s\"'<)]+", html))
    assert outside <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
    assert all(own.startswith(("data:", "#")) for own in re.findall(r"url\(([^)]*)\)", html))


def test_ids_are_the_only_ones_and_links_lead_somewhere(html: str) -> None:
    found = list(Tree(html).root.all())
    ids = [own.attributes["id"] for own in found if "id" in own.attributes]
    assert len(ids) == len(set(ids))
    links = {own.attributes["href"][1:] for own in found if own.tag == "a"}
    assert links <= set(ids)
    assert links


def test_words_of_an_author_are_shown_and_never_obeyed(coated_bars_matrix: CouponMatrix) -> None:
    study = coated_bars_matrix.study
    coating = replace(study.factors[1], words={"C1": HOSTILE})
    code = coated_bars_matrix.frame["coupon"].iloc[0]
    frame = coated_bars_matrix.frame.replace({"coupon": {code: "<b>&'\""}})
    study = replace(
        study,
        title=HOSTILE,
        question=HOSTILE,
        factors=(study.factors[0], coating, *study.factors[2:]),
        unit_names={"coupon": HOSTILE[:25], "furnace_load": HOSTILE},
        held_constant={"soak": HOSTILE},
    )
    booklet = bench_booklet(replace(coated_bars_matrix, study=study, frame=frame))
    page = booklet_html(booklet)
    root = Tree(page).root
    assert not {own.tag for own in root.all()} & {"script", "img"}
    assert sections(page)["cover"].text().count(HOSTILE) >= 2
    assert any(own.text() == "<b>&'\"" for own in root.all("th", "code"))
    done = compile_typst(booklet_source(booklet), booklet_files(booklet), title=booklet.title)
    assert done.startswith(b"%PDF")


# --- files --------------------------------------------------------------------------------------------


@pytest.fixture
def small(coated_bars_matrix: CouponMatrix) -> CouponMatrix:
    """A plan of few coupons with a stock and a first day."""
    told = {"first_day": datetime.date(2026, 10, 5)}
    stock = replace(STOCK, labels=False)
    study = replace(coated_bars_matrix.study, timetable=told, stock=stock)
    return replace(coated_bars_matrix, study=study)


def test_all_files_are_written_and_the_same_bytes_again(
    small: CouponMatrix, tmp_path: Path
) -> None:
    dated = small
    paths = write_bench_documents(dated, tmp_path / "bench")
    assert {path.name for path in paths} == {
        "booklet.pdf", "booklet.html", "timetable.csv", "timetable.ics", "cut_list.csv",
    }  # fmt: skip
    assert sorted(paths) == sorted((tmp_path / "bench").iterdir())
    first = {path: path.read_bytes() for path in paths}
    assert {p: p.read_bytes() for p in write_bench_documents(dated, tmp_path / "bench")} == first
    times = pd.read_csv(tmp_path / "bench" / "timetable.csv")
    assert times["date"].iloc[0] == "2026-10-05"
    cuts = pd.read_csv(tmp_path / "bench" / "cut_list.csv", keep_default_na=False)
    assert set(cuts) <= set(GLOSSARY)
    assert sorted(code for code in cuts["coupon"] if code) == sorted(small.frame["coupon"])


@pytest.mark.parametrize("name", [BOOKLET_PDF, BOOKLET_HTML])
def test_a_booklet_of_another_plan_is_never_overwritten(
    coated_bars_matrix: CouponMatrix, tmp_path: Path, name: str
) -> None:
    (tmp_path / name).write_bytes(b"notes of another plan")
    with pytest.raises(ReportError, match="booklet of another plan"):
        write_bench_documents(coated_bars_matrix, tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes() == b"notes of another plan"


@pytest.mark.parametrize("name", ["cut_list.csv", "timetable.csv", "timetable.ics"])
@pytest.mark.parametrize(
    "held", ["mine\n", "start,plan\n8:00,0badbeef\n", "X-WR-CALDESC:Plan 0badbeef\r\n"]
)
def test_a_table_that_is_not_of_this_plan_is_not_overwritten(
    small: CouponMatrix, tmp_path: Path, name: str, held: str
) -> None:
    (tmp_path / name).write_text(held, encoding="utf-8")
    with pytest.raises(ReportError, match=f"not of this plan, {small.short_hash}") as caught:
        write_bench_documents(small, tmp_path)
    assert "overwrite=" not in str(caught.value)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_tables_that_the_plan_has_no_more_are_removed_but_never_others(
    small: CouponMatrix, tmp_path: Path
) -> None:
    write_bench_documents(small, tmp_path / "bench")
    less = replace(small, study=replace(small.study, stock=None, timetable={}))
    paths = write_bench_documents(less, tmp_path / "bench")
    assert sorted(paths) == sorted((tmp_path / "bench").iterdir())
    assert {path.name for path in paths} == {"booklet.pdf", "booklet.html", "timetable.csv"}
    (tmp_path / "bench" / "cut_list.csv").write_text("mine\n", encoding="utf-8")
    write_bench_documents(less, tmp_path / "bench")
    assert (tmp_path / "bench" / "cut_list.csv").read_text(encoding="utf-8") == "mine\n"


def test_a_crash_while_writing_does_not_block_the_next_run(
    small: CouponMatrix, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(path: Path, data: bytes) -> Path:
        if path.name == "cut_list.csv":
            raise OSError("no space left")
        return write_bytes(path, data)

    monkeypatch.setattr("quenchbook.report.booklet_files.write_bytes", broken)
    with pytest.raises(OSError, match="no space left"):
        write_bench_documents(small, tmp_path)
    monkeypatch.undo()
    (tmp_path / "booklet.pdf").unlink()
    assert len(write_bench_documents(small, tmp_path)) == 5
