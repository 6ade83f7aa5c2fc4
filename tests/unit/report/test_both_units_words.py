"""Both unit systems in tables of means, tables of readings and words about the study."""

from __future__ import annotations

import dataclasses

import pytest
from tests.both_units import DATA

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import Column, TableBlock
from quenchbook.report.inference_space import inference_space
from quenchbook.report.means_blocks import means_blocks
from quenchbook.report.study_tables import told_text
from quenchbook.report.supporters import readings_table
from quenchbook.study.publishing import Publishing

JOULE = 1.3558179483  # J in a foot pound-force: NIST SP 811 (2008), appendix B.8


@pytest.fixture(scope="module")
def in_joules() -> Analysis:
    """The coated bars as if their resistance were an energy, published in both units."""
    _, matrix, records = qb.read_folder(DATA / "coated_bars")
    study = dataclasses.replace(
        matrix.study,
        responses=tuple(
            dataclasses.replace(own, unit="J", units="both") for own in matrix.study.responses
        ),
        publishing=Publishing(units="both"),
    )
    matrix = dataclasses.replace(matrix, study=study)
    return qb.analyse(dataclasses.replace(records, study=study, matrix=matrix))


def _column(block: TableBlock, number: int) -> list[str]:
    return [row[number] for row in block.rows]


def _number(text: str) -> float:
    return float(text.replace("\u2212", "-"))


def test_a_table_of_means_has_each_column_in_both_units(in_joules: Analysis) -> None:
    (block,) = means_blocks(in_joules, in_joules.finding("interaction"))
    assert isinstance(block, TableBlock)
    assert [own.unit for own in block.columns] == ["", "J", "ft lbf", "J", "ft lbf"]
    assert len(block.rows) == 12  # three temperatures by four coatings
    for joules, other in zip(_column(block, 1), _column(block, 2), strict=True):
        # both are rounded to the same share of their standard error: half a step of the second
        step = 10.0 ** -len(other.partition(".")[2])
        assert _number(other) == pytest.approx(_number(joules) / JOULE, abs=0.5001 * step)


def test_readings_of_an_energy_have_a_column_in_each_unit(in_joules: Analysis) -> None:
    block = readings_table(in_joules, in_joules.study.responses[0])
    place = [own.unit for own in block.columns].index("J")
    assert block.columns[place + 1] == Column(
        "same", "ft lbf", "right", block.columns[place].decimals
    )
    for joules, other in zip(_column(block, place), _column(block, place + 1), strict=True):
        step = 10.0 ** -len(other.partition(".")[2])
        assert _number(other) == pytest.approx(_number(joules) / JOULE, abs=0.5001 * step)


def test_a_temperature_in_the_condition_of_the_steel_stands_in_both(in_joules: Analysis) -> None:
    steel = {"grade": "A2", "condition": "annealed at 850 degC"}
    own = dataclasses.replace(in_joules, study=dataclasses.replace(in_joules.study, steel=steel))
    words = inference_space(own).replace("\u00a0", " ")
    assert "annealed at 850 °C (1562 °F)" in words  # 1.8 * 850 + 32


def test_a_temperature_in_a_table_of_the_study_file_stands_in_both() -> None:
    told = told_text({"maker": "own", "holds": "up to 200 degC"}, "both").replace("\u00a0", " ")
    assert told == "maker own, holds up to 200 °C (392 °F)"
