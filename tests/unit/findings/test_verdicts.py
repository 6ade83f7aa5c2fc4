from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.statements import p_text, percent_text
from quenchbook.findings.verdicts import VERDICTS, verdict_of


@pytest.mark.parametrize(
    ("low", "high", "inner_low", "inner_high", "margin", "verdict"),
    [
        (0.69, 1.19, 0.73, 1.15, 0.5, "exceeds"),
        (-1.19, -0.69, -1.15, -0.73, 0.5, "exceeds"),
        (0.21, 0.72, 0.25, 0.68, 0.5, "differs"),
        (-0.29, -0.18, -0.28, -0.19, 0.5, "slight"),
        (-0.29, 0.22, -0.25, 0.18, 0.5, "equivalent"),
        (-0.11, 0.63, -0.05, 0.57, 0.5, "undecided"),
        (0.02, 0.52, 0.06, 0.48, 0.5, "slight"),
        (0.1, 0.2, 0.12, 0.18, None, "differs"),
        (-0.1, 0.2, -0.05, 0.18, None, "undecided"),
    ],
)
def test_the_rule_of_the_five_verdicts(low, high, inner_low, inner_high, margin, verdict) -> None:
    assert verdict_of(low, high, inner_low, inner_high, margin) == verdict


@given(
    st.floats(-3, 3), st.floats(0.01, 2), st.floats(0.6, 0.95), st.floats(0.05, 2)
)  # fmt: skip
def test_a_verdict_turns_with_the_sign_and_never_contradicts_the_interval(
    estimate: float, half: float, share: float, margin: float
) -> None:
    inner = share * half
    own = verdict_of(estimate - half, estimate + half, estimate - inner, estimate + inner, margin)
    mirrored = verdict_of(
        -estimate - half, -estimate + half, -estimate - inner, -estimate + inner, margin
    )
    assert own == mirrored
    assert own in VERDICTS
    excludes_zero = abs(estimate) > half
    assert excludes_zero == (own in ("exceeds", "differs", "slight"))


def two_routes(difference: float, noise: float) -> pd.DataFrame:
    rng = np.random.default_rng(4)
    rows = [
        (f"L{load}", route, 60 + rng.normal(0, noise) + (difference if route == "cold" else 0))
        for load in range(6)
        for route in ("cold", "warm")
    ]
    return pd.DataFrame(rows, columns=["load", "route", "y"])


@pytest.mark.parametrize(
    ("difference", "noise", "words"),
    [
        (2.0, 0.05, "more than the margin of 0.5"),
        (0.25, 0.02, "a real difference, smaller than the margin"),
        (0.0, 0.05, "any difference is smaller than the margin"),
        (0.0, 3.0, "neither a difference nor its absence was shown"),
    ],
)
def test_the_sentence_says_what_the_verdict_says(difference, noise, words) -> None:
    model = qb.mixed_model(two_routes(difference, noise), "y", fixed="route", strata=["load"])
    contrast = qb.marginal_means(model, "route").contrast({"cold - warm": [1, -1]})
    own = qb.finding(contrast, margin=0.5)
    assert words in own.sentence
    assert "significant" not in own.sentence


def test_an_undecided_finding_says_what_would_decide_it() -> None:
    model = qb.mixed_model(two_routes(0.0, 0.8), "y", fixed="route", strata=["load"])
    contrast = qb.marginal_means(model, "route").contrast({"cold - warm": [1, -1]})
    own = qb.finding(contrast, margin=0.5)
    assert own.verdict == "undecided"
    assert "To tell a difference of 0.5 from none with 80\u00a0% power takes about" in own.remedy
    assert "times as many rows" in own.remedy


def route_means() -> qb.MarginalMeans:
    model = qb.mixed_model(two_routes(0.3, 0.1), "y", fixed="route", strata=["load"])
    return qb.marginal_means(model, "route")


def test_a_finding_is_one_difference() -> None:
    means = route_means()
    with pytest.raises(EstimabilityError, match="judges one difference; this has 2 rows"):
        qb.finding(means, margin=0.5)
    with pytest.raises(EstimabilityError, match="this has 2 rows"):
        qb.finding(means.contrast({"a": [1, -1], "b": [-1, 1]}), margin=0.5)


@pytest.mark.parametrize("weights", [[1, 0], [1, 1], [1, -0.9]])
def test_a_mean_is_not_a_difference(weights: list[float]) -> None:
    with pytest.raises(EstimabilityError, match="do not sum to zero, so it is a mean"):
        qb.finding(route_means().contrast({"cold": weights}), margin=0.5)


@pytest.mark.parametrize("margin", [0.0, -0.5, np.nan, np.inf])
def test_a_margin_is_above_zero(margin: float) -> None:
    contrast = route_means().contrast({"cold - warm": [1, -1]})
    with pytest.raises(EstimabilityError, match="above zero, or None"):
        qb.finding(contrast, margin=margin)
    assert qb.finding(contrast, margin=None).margin is None


def test_ratios_and_p_values_are_written_for_people() -> None:
    assert percent_text(np.log(1.12)) == "+12\u00a0%"
    assert percent_text(np.log(0.95)) == "−5.0\u00a0%"
    assert p_text(0.0241) == "p\u00a0=\u00a0.024"
    assert p_text(0.2093) == "p\u00a0=\u00a0.21"
    assert p_text(0.00002) == "p\u00a0<\u00a0.001"
