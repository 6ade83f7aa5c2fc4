"""What was declared before the data, what came after, and what was published."""

from __future__ import annotations

import dataclasses

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.records.reading import Records


@pytest.fixture(scope="module")
def records() -> Records:
    return qb.read_folder(ROOT / "data" / "plane_irons")[2]


def analysed_with_margin(records: Records, margin: float) -> Analysis:
    """Analysis after the margin of hardness in the study file was changed."""
    study = records.study
    hardness, impact = study.responses
    responses = (dataclasses.replace(hardness, equivalence_margin=margin), impact)
    study = dataclasses.replace(study, responses=responses)
    matrix = dataclasses.replace(records.matrix, study=study)
    return qb.analyse(dataclasses.replace(records, study=study, matrix=matrix))


def test_findings_of_an_unchanged_study_are_declared(records: Records) -> None:
    analysis = qb.analyse(records)
    assert all(own.declared and not own.change for own in analysis.findings)
    assert analysis.standing() == "21 questions declared before the data; 1 not answered."
    assert "exploratory" not in analysis.summary()
    assert "exploratory" not in analysis._repr_html_()


def test_a_margin_changed_after_the_plan_makes_its_findings_exploratory(records: Records) -> None:
    analysis = analysed_with_margin(records, 0.1)
    words = (
        "Margin of hardness was 0.5\u00a0HRC when the plan was made, now 0.1\u00a0HRC: exploratory."
    )
    for own in analysis.findings:
        assert own.declared == (own.response == "impact_j")
        assert own.change == ("" if own.declared else words)
    assert analysis.standing() == "4 questions declared before the data, 17 after; 1 not answered."
    assert analysis.summary().count("[exploratory]") == 17
    assert words in analysis.summary()
    assert analysis._repr_html_().count(", exploratory</b>") == 17


def test_published_questions_are_never_called_declared() -> None:
    analysis = qb.analyse(qb.read_folder(ROOT / "data" / "coated_bars")[2])
    assert not any(own.declared or own.change for own in analysis.findings)
    assert analysis.standing() == (
        "Questions of this analysis of published data; not declared before the data."
    )


def test_a_change_of_a_difference_and_levels_have_natural_names(records: Records) -> None:
    analysis = qb.analyse(records)
    names = {own.key: (own.label, getattr(own, "against", "")) for own in analysis.findings}
    assert names["cold_needs_heat"] == (
        "gain from dry ice, 1030\u00a0°C compared with 940\u00a0°C", "",
    )  # fmt: skip
    assert names["hour"] == ("delay 60\u00a0min", "0\u00a0min")
    assert names["hotter"] == ("austenitize 1030\u00a0°C", "970\u00a0°C (no cold step)")


def test_answers_in_a_notebook_are_aligned_left(records: Records) -> None:
    html, _, _ = qb.analyse(records)._repr_html_().partition("<details")
    assert html.count('<th scope="row"') == 21  # 20 answers and one without
    assert html.count("<td ") == 2 * 21
    assert html.count("text-align:left") == 3 * 21 + 3
    assert "text-align:right" not in html
