from __future__ import annotations

import dataclasses

import pytest
from scipy import stats
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.verdicts import Finding


@pytest.fixture(scope="module")
def analyses():
    study = qb.read_study(ROOT / "data" / "plane_irons")
    matrix = qb.read_plan(ROOT / "data" / "plane_irons" / "plan", study)
    records = qb.read_records(ROOT / "data" / "plane_irons" / "records", matrix)
    together = dataclasses.replace(study, multiplicity="together")
    joint = dataclasses.replace(
        records, study=together, matrix=dataclasses.replace(matrix, study=together)
    )
    return qb.analyse(records), qb.analyse(joint)


COUNT = 21  # questions of the demonstration, those about curves among them


def test_questions_that_share_one_level_get_wider_intervals(analyses) -> None:
    each, together = analyses
    comparisons = 0
    for one, many in zip(each.findings, together.findings, strict=True):
        assert many.confidence == pytest.approx(1 - 0.05 / COUNT)
        if not isinstance(many, Finding):
            assert many.conf_low <= one.conf_low
            assert many.conf_high >= one.conf_high
            continue
        comparisons += 1
        assert many.estimate == pytest.approx(one.estimate)
        half = stats.t.ppf(1 - 0.025 / COUNT, many.df) * many.std_error
        assert many.conf_high - many.estimate == pytest.approx(half)
        inner = stats.t.ppf(1 - 0.05 / COUNT, many.df) * many.std_error
        assert many.inner_high - many.estimate == pytest.approx(inner)
        level = "99.52" if many.verdict == "equivalent" else "99.76"
        assert f"{level}\u00a0% interval" in many.sentence
    assert comparisons == 12


def test_the_report_says_how_questions_share_the_level(analyses) -> None:
    texts = []
    for analysis in analyses:
        block = qb.report_limits(analysis)[-1]
        texts.append("".join("".join(map(str, item)) for item in block.items))
    assert "each judged on their own" in texts[0]
    assert f"The {COUNT} questions share one level of 95\u00a0%" in texts[1]
    assert len(analyses[1].findings) < COUNT  # one has no answer, and still has its share


def test_the_report_says_how_often_some_question_of_many_errs(analyses) -> None:
    block = qb.report_limits(analyses[0])[-1]
    text = "".join("".join(map(str, item)) for item in block.items)
    some = 1 - 0.95 ** len(analyses[0].findings)
    assert f"at least one such in {some:.0%}".replace("%", "\u00a0%") in text


def test_a_shared_level_is_printed_with_its_digits(analyses) -> None:
    each, together = (own.finding("window_dry_ice") for own in analyses)
    assert "95\u00a0% confidence for both ends" in each.sentence
    assert "99.76\u00a0% confidence for both ends" in together.sentence
    assert together.confidence == pytest.approx(1 - 0.05 / COUNT)


def test_a_change_after_the_plan_is_exploratory(analyses) -> None:
    _, together = analyses
    assert not any(own.declared for own in together.findings)
