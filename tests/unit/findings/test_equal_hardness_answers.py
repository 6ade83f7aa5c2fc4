"""Sentences at equal hardness: total first, verdict, refusal with what is known."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.equal_hardness_answers import equal_hardness_finding
from quenchbook.findings.plain_answers import plain_answer
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding
from quenchbook.fit.equal_hardness import EqualHardness
from quenchbook.fit.hardness_cells import LineCheck
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.temper_line import Estimate
from quenchbook.study.trade_questions import TradeQuestion

QUESTION = TradeQuestion(
    "tough", "Is it tougher at the same hardness?", "impact_j", "equal_hardness", "temper",
    "cold_route", "liquid_nitrogen", "dry_ice",
)  # fmt: skip


@pytest.fixture(scope="module")
def models(plane_irons_records: Any) -> Mapping[str, MixedModel]:
    return {
        name: qb.mixed_model(plane_irons_records, name) for name in ("impact_j", "hardness_hrc")
    }


@pytest.fixture(scope="module")
def answer(models: Mapping[str, MixedModel]) -> Finding:
    own = trade_answer(models, QUESTION)
    assert isinstance(own, Finding)
    return own


def judged(answer: Finding, models: Mapping[str, MixedModel], value: float, se: float) -> Finding:
    """Finding of the same study with another number at equal hardness, without error df to spare."""
    result: Any = answer.result
    other = Estimate(value, {"coupon": (se**2, 1e6)}, se**2)
    study = models["impact_j"].study
    assert study is not None
    return equal_hardness_finding(replace(result, adjusted=other), study)


def test_total_effect_comes_first_in_the_sentence(answer: Finding) -> None:
    total, _, rest = answer.sentence.partition("; at the same hardness ")
    assert total.startswith("Liquid nitrogen against dry ice: impact energy −3.5\u00a0% in total")
    assert rest.endswith("this is not the total effect.")


def test_answer_is_on_the_log_scale_with_the_margin_of_the_response(answer: Finding) -> None:
    assert (answer.asks, answer.scale, answer.verdict) == ("equal_hardness", "log", "undecided")
    assert answer.margin == pytest.approx(math.log(1.15))
    assert isinstance(answer.result, EqualHardness)
    assert answer.label == "liquid nitrogen"
    assert answer.against == "dry ice, at equal hardness"


def test_notes_tell_slope_common_range_and_sensitivity(answer: Finding) -> None:
    notes = " ".join(answer.notes)
    assert "slope of the temper line −19\u00a0%" in notes
    assert "both reached 62.8 to 63.3\u00a0HRC" in notes
    assert "Sensitivity only: covariance analysis" in notes


@pytest.mark.parametrize(
    ("value", "se", "verdict", "words"),
    [
        (0.40, 0.05, "exceeds", "49\u00a0% tougher (95\u00a0% interval"),
        (-0.40, 0.05, "exceeds", "33\u00a0% less tough (95\u00a0% interval"),
        (0.10, 0.04, "differs", "is not settled"),
        (0.05, 0.02, "slight", "5.1\u00a0% tougher"),
        (0.01, 0.02, "equivalent", "+1.0\u00a0% (90\u00a0% interval"),
        (0.10, 0.30, "undecided", "neither a difference nor its absence was shown"),
    ],
)
def test_each_verdict_has_its_sentence(
    answer: Finding,
    models: Mapping[str, MixedModel],
    value: float,
    se: float,
    verdict: str,
    words: str,
) -> None:
    own = judged(answer, models, value, se)
    assert own.verdict == verdict
    assert words in own.sentence


def test_undecided_because_of_the_line_asks_for_tempers_and_batches(
    answer: Finding, models: Mapping[str, MixedModel]
) -> None:
    result: Any = answer.result
    wide = replace(result.hardness_difference, estimate=3.0)
    study = models["impact_j"].study
    assert study is not None
    own = equal_hardness_finding(replace(result, hardness_difference=wide), study)
    assert own.remedy.startswith("Most of its noise is that of the temper line")


def test_lines_that_are_not_parallel_are_answered_at_both_ends(
    answer: Finding, models: Mapping[str, MixedModel], monkeypatch: pytest.MonkeyPatch
) -> None:
    result: Any = answer.result
    steep = replace(result, checks=(LineCheck("parallel", 9.0, 1, 20, 0.007),))
    home = "quenchbook.findings.equal_hardness_answers.equal_hardness_contrast"
    monkeypatch.setattr(home, lambda *_, **__: steep)
    own = trade_answer(models, QUESTION)
    assert isinstance(own, TradeFinding)
    assert own.word == "no single number"
    assert "because the temper lines did not pass as parallel (p = .007)" in own.sentence
    assert "are not parallel" not in own.sentence  # a check at 5 % gives no number, and no claim
    assert math.isnan(own.estimate)
    assert "in total" in own.sentence.partition("; at the same hardness")[0]
    assert "at 62.8\u00a0HRC" in own.sentence
    assert "at 63.3\u00a0HRC" in own.sentence


def test_refusal_tells_total_and_hardness(models: Mapping[str, MixedModel]) -> None:
    question = replace(QUESTION, level="dry_ice", against="none")
    with pytest.raises(EstimabilityError) as caught:
        trade_answer(models, question)
    text = str(caught.value)
    assert text.startswith("Dry ice against no cold step: impact energy +1.0\u00a0%")
    assert "hardness +1.32\u00a0HRC" in text
    assert "never had the same hardness" in text
    assert "Assumption" not in text


def test_one_temper_is_answered_for_stated_slopes_only(
    models: Mapping[str, MixedModel], plane_irons_records: Any
) -> None:
    from quenchbook.fit.fitting import fitted_model

    cut = {}
    for name, model in models.items():
        kept = (model.data.planned["temper_c"] == 150.0).to_numpy()
        data = replace(
            model.data,
            coupons=model.data.coupons[kept].reset_index(drop=True),
            planned=model.data.planned[kept].reset_index(drop=True),
            terms=replace(model.data.terms, names=("cold_route",)),
        )
        cut[name] = fitted_model(data)
    with pytest.raises(EstimabilityError) as caught:
        trade_answer(cut, QUESTION)
    text = str(caught.value)
    assert "had one temper only" in text
    assert "Assumption, not measured: a slope of −4.9\u00a0% for each HRC would make it" in text


def test_which_of_two_hardnesses_is_held_equal_is_said(
    models: Mapping[str, MixedModel], answer: Finding
) -> None:
    study = models["impact_j"].study
    assert study is not None
    hard = study.response("hardness_hrc")
    told = replace(study, responses=(*study.responses, replace(hard, name="vickers_hv")))
    impact = models["impact_j"]
    both = {
        "impact_j": replace(impact, data=replace(impact.data, study=told)),
        "hardness_hrc": models["hardness_hrc"], "vickers_hv": models["hardness_hrc"],
    }  # fmt: skip
    own = trade_answer(both, QUESTION)
    assert own.notes[0] == (
        "Equal hardness is that by hardness_hrc, the first in the study file; vickers_hv was "
        "measured too."
    )
    assert not any("measured too" in note for note in answer.notes)


def test_without_hardness_there_is_nothing_to_compare_at(models: Mapping[str, MixedModel]) -> None:
    with pytest.raises(EstimabilityError, match="no readings of hardness"):
        trade_answer({"impact_j": models["impact_j"]}, QUESTION)


def test_a_data_frame_has_no_declared_question() -> None:
    from tests.toughness import FIXED, UNITS, toughness_frame

    model = qb.mixed_model(toughness_frame(1), "impact", fixed=FIXED, strata=UNITS, scale="log")
    with pytest.raises(EstimabilityError, match="model of a study"):
        trade_answer({"impact_j": model}, QUESTION)


def test_levels_of_one_unit_each_have_no_test_and_the_cure_is_more_units(
    answer: Finding, models: Mapping[str, MixedModel]
) -> None:
    result: Any = answer.result
    study = models["impact_j"].study
    assert study is not None
    unknown = Estimate(0.05, {"cold_batch": (math.nan, 0.0)}, math.nan)
    with pytest.raises(EstimabilityError) as caught:
        equal_hardness_finding(replace(result, adjusted=unknown, total=unknown), study)
    assert str(caught.value) == (
        "No test is possible: each cold route came from one cold batch. More cold batches of each "
        "cold route make it possible."
    )


def test_an_answer_at_both_ends_counts_as_partly_told(
    answer: Finding, models: Mapping[str, MixedModel], monkeypatch: pytest.MonkeyPatch
) -> None:
    result: Any = answer.result
    steep = replace(result, checks=(LineCheck("parallel", 9.0, 1, 20, 0.007),))
    home = "quenchbook.findings.equal_hardness_answers.equal_hardness_contrast"
    monkeypatch.setattr(home, lambda *_, **__: steep)
    own = trade_answer(models, QUESTION)
    assert isinstance(own, TradeFinding)
    assert not plain_answer(own).startswith("The study could not tell")
    assert "no single number is given" in plain_answer(own)
