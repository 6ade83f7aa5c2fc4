from __future__ import annotations

import dataclasses
import math

import pytest

from quenchbook.findings.statements import (
    both_limits_text,
    comparison_sentence,
    margin_words,
    shown_limits,
    term_remedy,
    term_sentence,
    unit_list,
    what_would_decide,
)
from quenchbook.findings.verdicts import Finding, TermFinding

T_SUM = 2.0859634472658364 + 0.8599644422862907  # t.975 + t.80 at 20 df (tables of Student's t)


def undecided(std_error: float, margin: float | None = 0.5, **more: object) -> Finding:
    own = Finding(
        key="k", label="freezer", against="no cold step", response="hardness_hrc",
        quantity="hardness", unit="HRC", scale="linear", verdict="undecided", estimate=0.02,
        std_error=std_error, df=20.0, conf_low=-0.16, conf_high=0.18, inner_low=-0.13,
        inner_high=0.15, margin=margin, p_value=0.8, strata=("cold batch",),
    )  # fmt: skip
    return dataclasses.replace(own, **more)  # type: ignore[arg-type]


def error_for(times: float, margin: float = 0.5) -> float:
    """Standard error of a study that is smaller than needed by this factor."""
    return math.sqrt(times) * margin / T_SUM


def test_the_remedy_counts_from_margin_and_standard_error() -> None:
    own = undecided(error_for(3.2))
    assert what_would_decide(own) == (
        "To tell a difference of 0.5\u00a0HRC from none with 80\u00a0% power takes about 3.2 times "
        "as many cold batches."
    )


@pytest.mark.parametrize("estimate", [0.0, 0.3, 0.49, 0.7])
def test_the_remedy_does_not_look_at_the_estimate(estimate: float) -> None:
    own = undecided(error_for(3.2))
    assert what_would_decide(dataclasses.replace(own, estimate=estimate)) == what_would_decide(own)


def test_a_hopeless_layout_is_called_so() -> None:
    assert what_would_decide(undecided(error_for(20.5))) == (
        "The interval is far wider than the margin; this layout cannot answer it."
    )
    assert "about 20 times as many" in what_would_decide(undecided(error_for(19.9)))


def test_a_study_that_was_large_enough_is_called_so() -> None:
    assert what_would_decide(undecided(error_for(1.05))) == (
        "A study of this size finds a difference of the margin about 8 times in 10, if there is "
        "one; this time it did not tell. Another of the same size may."
    )
    assert "about 1.2 times as many" in what_would_decide(undecided(error_for(1.2)))


def test_the_remedy_uses_the_confidence_of_the_study() -> None:
    wide = what_would_decide(undecided(error_for(3.2), confidence=0.99))
    assert "about 5.1 times" in wide  # 3.2 ((2.8453 + 0.8600) / (2.0860 + 0.8600))^2, t.995 first


@pytest.mark.parametrize(
    "own",
    [
        undecided(0.3, None),
        undecided(0.3, verdict="differs"),
        undecided(0.3, df=0.0),
    ],
)
def test_without_margin_error_or_doubt_there_is_no_remedy(own: Finding) -> None:
    assert what_would_decide(own) == ""


def test_a_margin_of_ratios_says_both_limits() -> None:
    own = undecided(0.1, math.log1p(0.15), scale="log", unit="J")
    assert margin_words(own) == "15\u00a0% either way (−13\u00a0% to +15\u00a0%)"
    sentence = comparison_sentence(dataclasses.replace(own, verdict="equivalent"), "a against b")
    assert "margin of 15\u00a0% either way (−13\u00a0% to +15\u00a0%)" in sentence
    assert margin_words(undecided(0.1)) == "0.5\u00a0HRC"


@pytest.mark.parametrize("verdict", ["slight", "equivalent"])
def test_both_intervals_are_labelled_where_the_inner_one_decides(verdict: str) -> None:
    own = undecided(0.08, verdict=verdict)
    assert both_limits_text(own).replace("\u00a0", " ") == (
        "95 % −0.16 to +0.18; 90 % −0.13 to +0.15"
    )
    assert shown_limits(own) == both_limits_text(own)
    assert shown_limits(undecided(0.08)) == "−0.16 to +0.18"


def test_the_sentence_of_a_slight_difference_gives_both_intervals() -> None:
    own = undecided(
        0.06, verdict="slight", estimate=0.2, conf_low=0.08, conf_high=0.32, inner_low=0.1,
        inner_high=0.3,
    )  # fmt: skip
    sentence = comparison_sentence(own, "a against b").replace("\u00a0", " ")
    assert "95 % interval 0.08 to 0.32; 90 % interval 0.10 to 0.30" in sentence


def test_units_have_their_plural() -> None:
    assert unit_list(["furnace load", "cold batch", "coupon"]) == (
        "furnace loads, cold batches and coupons"
    )
    own = TermFinding(
        key="k", question="q", response="r", quantity="hardness", term="cold_route",
        label="cold route", verdict="undecided", statistic=1.0, df=1.0, df_error=3.0, p_value=0.4,
        stratum="cold batch",
    )  # fmt: skip
    assert "judged on cold batches" in term_sentence(own)
    assert "Only more cold batches can settle it" in term_remedy(own, is_batch=True)
    assert "Two cold batches for each level" in term_sentence(
        dataclasses.replace(own, p_value=math.nan)
    )


def test_a_verdict_on_a_term_says_nothing_about_a_margin() -> None:
    own = TermFinding(
        key="k", question="q", response="r", quantity="hardness", term="coating", label="coating",
        verdict="differs", statistic=11.0, df=3.0, df_error=9.0, p_value=0.002, stratum="bar",
    )  # fmt: skip
    assert own.meaning == "a real difference between levels"
    assert undecided(0.1, None, verdict="differs").meaning == (
        "a real difference; no margin was declared"
    )
    assert "margin is not settled" in undecided(0.1, verdict="differs").meaning


def test_where_no_unit_is_spare_the_remedy_is_more_of_them() -> None:
    own = undecided(math.nan, strata=("bar",))
    assert what_would_decide(own) == "More bars for each level make a test possible."
    assert comparison_sentence(own, "lot B against A") == (
        "Lot B against A: no test is possible, because there is no spare bar to judge by."
    )
