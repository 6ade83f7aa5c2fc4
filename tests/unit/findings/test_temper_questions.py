"""A question about a temper from the study file to the report."""

from __future__ import annotations

import dataclasses

import pytest

import quenchbook as qb
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.records.reading import Records
from quenchbook.study.trade_questions import TradeQuestion


@pytest.fixture(scope="module")
def asked(plane_irons_records: Records) -> Records:
    question = TradeQuestion(
        "softer", "Which temper gives 60.5 HRC with dry ice?", "hardness_hrc", "temper_for",
        "temper", at={"cold_route": "dry_ice"}, target=60.5,
    )  # fmt: skip
    study = dataclasses.replace(plane_irons_records.study, trade_questions=(question,))
    matrix = dataclasses.replace(plane_irons_records.matrix, study=study)
    return dataclasses.replace(plane_irons_records, study=study, matrix=matrix)


def test_the_analysis_answers_it_and_the_report_shows_it(asked: Records) -> None:
    analysis = qb.analyse(asked)
    finding = analysis.finding("softer")
    assert isinstance(finding, TradeFinding)
    assert "No temper inside 150 to 175" in analysis.summary()
    blocks = qb.report_questions(analysis)
    assert any("gives 60.5" in str(block) for block in blocks)
