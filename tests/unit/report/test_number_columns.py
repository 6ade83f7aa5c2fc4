"""Numbers of a table stand on one decimal point, in HTML and in PDF."""

from __future__ import annotations

import re

import pandas as pd
import pytest

from quenchbook.report.blocks import Section, TableBlock, table
from quenchbook.report.document import Document
from quenchbook.report.html import html_page
from quenchbook.report.number_columns import fraction_gaps, number_texts
from quenchbook.report.typst_source import typst_page

NB = "\u00a0"


def _block(**columns: list[object]) -> TableBlock:
    return table(pd.DataFrame(columns), key="k", caption="A table.")


def test_a_unit_that_all_cells_carry_moves_into_the_head() -> None:
    block = _block(what=["a", "b"], share=[f"81{NB}%", f"<{NB}1{NB}%"])
    assert (block.columns[1].title, block.columns[1].unit) == ("share", "%")
    assert [row[1] for row in block.rows] == ["81", f"<{NB}1"]
    assert block.columns[1].align == "right"


@pytest.mark.parametrize(
    "texts",
    [
        [f"0.49{NB}HRC", f"16{NB}%"],
        ["A2", f"4{NB}mm", "annealed"],
        [f"1030{NB}°C (1886{NB}°F)", f"970{NB}°C (1778{NB}°F)"],
        [f"940{NB}°C, 970{NB}°C", f"150{NB}°C"],
        [f"60{NB}min", f"1{NB}day"],
        ["1-1", "1-2"],
        ["K07", "C94K"],
    ],
)
def test_words_and_mixed_units_stay_as_they_are(texts: list[str]) -> None:
    assert number_texts(texts) is None
    assert _block(what=texts).rows == tuple((text,) for text in texts)


def test_one_cell_with_a_unit_keeps_it() -> None:
    assert number_texts([f"970{NB}°C", ""]) is None


def test_words_stand_among_numbers_without_a_gap() -> None:
    texts = ["3.20", "no price told", "16", "", "−0.5"]
    assert number_texts(texts) is not None
    assert fraction_gaps(texts) == ["", "", ".00", "", "0"]


@pytest.mark.parametrize(
    ("texts", "gaps"),
    [
        (["0.049", "< .001", ".83", "16"], ["", "", "0", ".000"]),
        (["+0.94", "−12.5", "±3"], ["", "0", ".00"]),
        (["0.1 to 0.45", "−12 to 3"], ["", ".00"]),
        (["1,000", "2"], ["", ""]),
        ([], []),
    ],
)
def test_a_gap_is_what_the_longest_fraction_has_more(texts: list[str], gaps: list[str]) -> None:
    assert fraction_gaps(texts) == gaps


def test_both_pages_carry_the_same_gaps() -> None:
    block = _block(what=["a", "b", "c"], estimate=["+0.94", "not known", "3"])
    document = Document("T", (Section("T", level=1), block))
    assert re.findall(r'data-gap="([^"]*)"', html_page(document)) == [".00"]
    source, _ = typst_page(document)
    assert '"3" + gap(2, true)' in source


def test_a_long_table_tells_the_widths_of_its_columns_and_stays_on_the_page() -> None:
    count = 300
    block = _block(
        coupon=[f"K{n:04d}" for n in range(count)],
        note=["a note of many words that goes on and on " * 4] * count,
        value=[float(n) for n in range(count)],
    )
    source, _ = typst_page(Document("T", (Section("T", level=1), block)))
    widths = re.search(r"widths: \(([^)]*)\)", source)
    assert widths is not None
    points = [float(own) for own in re.findall(r"([\d.]+)pt", widths[1])]
    assert len(points) == 3
    assert sum(points) <= 170 / 25.4 * 72 + 0.5
    assert points[1] == max(points)


def test_a_short_table_leaves_the_widths_to_the_typesetter() -> None:
    source, _ = typst_page(Document("T", (Section("T", level=1), _block(a=["x"], b=[1.0]))))
    assert "widths: none" in source


def test_a_wide_table_gives_its_room_to_the_sentences() -> None:
    shares = {f"furnace load {n}": [5.0, 6.0] for n in range(6)}
    block = _block(
        question=["Does a long question need more room than numbers? " * 2] * 2, **shares
    )
    source, _ = typst_page(Document("T", (Section("T", level=1), block)))
    widths = re.search(r"widths: \(([^)]*)\)", source)
    assert widths is not None
    points = [float(own) for own in re.findall(r"([\d.]+)pt", widths[1])]
    assert points[0] > 3 * max(points[1:])
