"""What a report says of the testers and of lengths; readings are invented."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
from tests.conftest import ROOT

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.block_checks import NO_BLOCK
from quenchbook.records.reading import Records, read_records
from quenchbook.report.blocks import Bullets, Section, TableBlock
from quenchbook.report.tester_tables import blocks_of_testers, length_blocks


def with_lengths(records: Records) -> Records:
    codes = records.matrix.frame["coupon"]
    rows = [
        {"coupon": code, "measure": measure, "value": value, "file": "l.csv", "row": 2 + at}
        for at, code in enumerate(codes)
        for measure, value in (("length_before", 60.0), ("length_after", 60.017))
    ]
    return replace(records, measures=pd.DataFrame(rows))


def test_each_check_of_the_demo_has_a_row_with_limit_and_outcome(
    plane_irons_records: Records,
) -> None:
    blocks = blocks_of_testers(plane_irons_records)
    (table,) = (block for block in blocks if isinstance(block, TableBlock))
    assert [column.title for column in table.columns] == [
        "check", "on", "found", "limit", "outcome",
    ]  # fmt: skip
    assert len(table.rows) == 20
    by_name = {(row[0], row[1]): row[2:] for row in table.rows}
    found, limit, outcome = by_name["error", "session 1 before, block of 62.4\u00a0HRC"]
    # by hand: mean of 62.4 62.6 62.5 62.5 62.6 is 62.52
    assert found.startswith("+0.12 ±")
    assert (limit, outcome) == ("±0.50\u00a0HRC", "pass")
    assert any(note == "Error and repeatability: ASTM E18-19 Table A1.3." for note in table.notes)
    assert not any("nan" in cell for row in table.rows for cell in row)


def test_words_stand_where_nothing_was_recorded(plane_irons_records: Records) -> None:
    empty = replace(
        plane_irons_records,
        study=replace(plane_irons_records.study, tester={}, steel={}),
        block_checks=plane_irons_records.block_checks.iloc[:0],
        impact_checks=plane_irons_records.impact_checks.iloc[:0],
    )
    section, notes = blocks_of_testers(empty)
    assert isinstance(section, Section)
    assert isinstance(notes, Bullets)
    assert (NO_BLOCK,) in notes.items


def test_a_study_of_something_else_has_no_such_section(coated_bars_matrix: CouponMatrix) -> None:
    records = read_records(ROOT / "data" / "coated_bars" / "records", coated_bars_matrix)
    assert blocks_of_testers(records) == []
    assert length_blocks(records) == []


def test_lengths_are_shown_by_cold_route(plane_irons_records: Records) -> None:
    blocks = length_blocks(with_lengths(plane_irons_records))
    (table,) = (block for block in blocks if isinstance(block, TableBlock))
    assert [row[0] for row in table.rows] == [
        "no cold step", "freezer", "dry ice", "liquid nitrogen",
    ]  # fmt: skip
    assert sum(int(row[1]) for row in table.rows) == 96
    assert {row[2:4] for row in table.rows} == {("17.0", "2.0")}
