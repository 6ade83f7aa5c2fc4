"""Supporters' edition: cost account, readings, more figures."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import FigureBlock, Paragraph, Section, TableBlock, plain_text
from quenchbook.report.supporters import cost_account, readings_table, report_more_figures


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return qb.analyse(qb.read_folder(ROOT / "data" / "plane_irons")[2])


def _with_costs(analysis: Analysis, **costs: object) -> Analysis:
    study = replace(analysis.study, costs=costs)
    matrix = replace(analysis.records.matrix, study=study)
    return replace(analysis, study=study, records=replace(analysis.records, matrix=matrix))


def _account(analysis: Analysis) -> tuple[str, dict[str, tuple[str, ...]], TableBlock]:
    words, money, hours = cost_account(analysis)
    assert isinstance(words, Paragraph)
    assert isinstance(money, TableBlock)
    assert isinstance(hours, TableBlock)
    return plain_text(words.runs), {row[0]: row for row in money.rows}, hours


def test_a_price_that_is_not_told_is_said_so_and_never_zero(analysis: Analysis) -> None:
    words, rows, _ = _account(analysis)
    assert rows["temper batches"][2:] == ("not told", "not told")
    assert "their prices are not told: cold batches, temper batches" in words
    # 96 * 3.20 + 12 * 6.50 + 60 * 4.00 + 24 * 3.00 + 480 * 0.15
    assert rows["sum of what has a price"][3] == "769.20"
    assert "0.00" not in {cell for row in rows.values() for cell in row}


def test_own_hours_stand_apart_and_are_not_in_the_sum(analysis: Analysis) -> None:
    priced = _with_costs(analysis, currency="EUR", coupon=1.0, own_hour=10.0)
    words, rows, hours = _account(priced)
    assert "own work" not in rows
    assert rows["sum of what has a price"][3] == "96.00"
    assert dict(hours.rows)["sum"] == "44.0"
    assert any("440" in note for note in hours.notes)
    assert "not in the sum" in words


def test_without_any_price_there_is_no_sum(analysis: Analysis) -> None:
    words, rows, hours = _account(_with_costs(analysis))
    assert "No price is told" in words
    assert "sum of what has a price" not in rows
    assert {row[3] for row in rows.values()} == {"not told"}
    assert "not told" in hours.notes[0]


def test_the_work_of_others_has_no_cost_account() -> None:
    own = qb.analyse(qb.read_folder(ROOT / "data" / "coated_bars")[2])
    (words,) = cost_account(own)
    assert isinstance(words, Paragraph)
    assert "is not told" in plain_text(words.runs)


def test_every_single_reading_stands_in_the_table_of_its_response(analysis: Analysis) -> None:
    readings = analysis.records.readings
    for response in analysis.study.responses:
        own = readings[readings["response"] == response.name]
        block = readings_table(analysis, response)
        names = [column.title for column in block.columns]
        first = names.index(next(name for name in names if name.startswith("reading")))
        cells = {
            (row[0], place): row[first + place - 1]
            for row in block.rows
            for place in range(1, response.readings + 1)
        }
        for row in own.to_dict("records"):
            assert float(cells[row["coupon"], row["reading"]]) == pytest.approx(
                row["value"], abs=1e-9
            )
        assert f"All {len(own)} readings" in block.caption


def test_the_mean_beside_the_readings_is_theirs(analysis: Analysis) -> None:
    block = readings_table(analysis, analysis.study.responses[0])
    row = block.rows[0]
    assert float(row[7]) == pytest.approx(sum(map(float, row[2:7])) / 5, abs=0.005)


def test_more_figures_hold_the_curves_and_orders_that_the_public_report_lacks(
    analysis: Analysis,
) -> None:
    blocks = report_more_figures(analysis)
    keys = [block.key for block in blocks if isinstance(block, FigureBlock)]
    assert keys == ["response_curves", "furnace_order", "bars"]
    assert isinstance(blocks[0], Section)


def test_no_heading_stands_over_no_figures() -> None:
    own = qb.analyse(qb.read_folder(ROOT / "data" / "coated_bars")[2])
    assert report_more_figures(own) == []


def test_batches_without_a_cold_step_are_said_where_batches_are_counted(
    analysis: Analysis,
) -> None:
    _, money, _ = cost_account(analysis)
    assert isinstance(money, TableBlock)
    rows = {row[0]: row for row in money.rows}
    assert rows["cold batches"][1].startswith("36")
    assert any(
        note.startswith("Of 48 cold batches in the plan 12 have no cold step")
        for note in money.notes
    )
