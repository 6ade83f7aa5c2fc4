"""Several studies put together, against published and independent numbers.

Provenance: evidence/PROVENANCE.toml. statsmodels is a cross-check of the moment estimate only; its
`combine_effects` has no REML and no range for a further study.
"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE

import quenchbook as qb
from quenchbook.fit.evidence import Synthesis
from quenchbook.fit.random_effects import (
    between_by_likelihood,
    between_for_q,
    further_study,
    random_mean,
    weighted_mean,
)
from quenchbook.records.published_comparisons import Arm, PublishedComparison

FIVE = (np.array([0.35, 0.10, 0.22, 0.48, 0.05]), np.array([0.02, 0.012, 0.03, 0.05, 0.008]))


@pytest.fixture(scope="module")
def bcg() -> tuple[np.ndarray, np.ndarray]:
    frame = pd.read_csv(REFERENCE / "evidence" / "c_bcg_log_rr.csv")
    return frame["yi"].to_numpy(), frame["vi"].to_numpy()


@pytest.fixture(scope="module")
def six_studies() -> Synthesis:
    frame = pd.read_csv(REFERENCE / "evidence" / "c_studies.csv")
    rows = [
        PublishedComparison(
            study=own.study, kind="total", quantity="wear", unit="", effect="ratio",
            level="no cold step", against="cold",
            level_arm=Arm(own.wear_none, own.sd_none, own.n_none),
            against_arm=Arm(own.wear_cold, own.sd_cold, own.n_cold),
        )
        for own in frame.itertuples()
    ]  # fmt: skip
    (found,) = qb.syntheses(rows)
    return found


def test_the_bcg_trials_give_the_published_restricted_likelihood(bcg) -> None:
    own = random_mean(*bcg, floor=False)
    assert own.estimate == pytest.approx(-0.714532, abs=5e-7)
    assert own.between == pytest.approx(0.313243, abs=5e-7)
    plain = weighted_mean(*bcg, own.between)[1] ** -0.5
    assert plain == pytest.approx(0.179782, abs=5e-7)
    assert weighted_mean(*bcg, 0.0)[0] == pytest.approx(-0.4303, abs=5e-5)


def test_the_bcg_trials_give_the_published_interval_after_hartung_and_knapp(bcg) -> None:
    from scipy import stats

    own = random_mean(*bcg, floor=False)
    half = stats.t.ppf(0.975, 12) * own.std_error
    assert own.estimate - half == pytest.approx(-1.108444, abs=5e-7)
    assert own.estimate + half == pytest.approx(-0.320621, abs=5e-7)
    assert own.df == 12


def between_by_moments(effects: np.ndarray, variances: np.ndarray) -> float:
    """Paule and Mandel (1982), J. Research NBS 87, 377-385: the weighted squares meet their df."""
    return float(between_for_q(effects, variances, np.array([len(effects) - 1.0]))[0])


def test_five_effects_give_the_variances_of_an_independent_prototype() -> None:
    assert between_by_moments(*FIVE) == pytest.approx(0.008014, abs=5e-7)
    assert between_by_likelihood(*FIVE) == pytest.approx(0.008148, abs=5e-7)


@pytest.mark.parametrize("which", ["five", "bcg"])
def test_the_moment_estimate_agrees_with_statsmodels(which: str, bcg) -> None:
    from statsmodels.stats.meta_analysis import combine_effects

    effects, variances = FIVE if which == "five" else bcg
    theirs = combine_effects(effects, variances, method_re="iterated", use_t=True, atol=1e-12)
    assert between_by_moments(effects, variances) == pytest.approx(theirs.tau2, rel=1e-6)


def test_six_studies_with_a_missing_scatter_give_the_check_numbers(six_studies) -> None:
    own = six_studies.mean
    assert own is not None
    assert six_studies.scatter.sd == pytest.approx(0.181901, abs=5e-7)
    assert own.between == pytest.approx(0.009241, abs=5e-7)
    assert own.estimate == pytest.approx(0.219170, abs=5e-7)
    assert own.std_error == pytest.approx(0.063615, abs=5e-7)
    assert six_studies.conf_low == pytest.approx(0.05564, abs=5e-6)
    assert six_studies.conf_high == pytest.approx(0.38270, abs=5e-6)
    assert between_by_moments(six_studies.effects, six_studies.variances) == pytest.approx(
        0.006791, abs=5e-7
    )


def test_six_studies_give_the_range_of_a_further_one(six_studies) -> None:
    assert six_studies.further_low == pytest.approx(-0.129, abs=0.01)
    assert six_studies.further_high == pytest.approx(0.569, abs=0.01)


def test_the_range_of_a_further_study_agrees_with_numerical_integration(six_studies) -> None:
    # The same distribution by quadrature over chi square and normal, without any draw.
    from scipy import optimize, stats

    effects, variances = six_studies.effects, six_studies.variances
    chances = (np.arange(1500) + 0.5) / 1500
    normal = stats.norm.ppf((np.arange(400) + 0.5) / 400)

    def q_less(between: float, wanted: float) -> float:
        weights = 1 / (variances + between)
        mean = weights @ effects / weights.sum()
        return float((weights * (effects - mean) ** 2).sum() - wanted)

    parts = []
    for wanted in stats.chi2.ppf(chances, 5):
        between = 0.0
        if q_less(0.0, wanted) > 0:
            between = optimize.brentq(q_less, 0, 1e6, args=(wanted,), xtol=1e-12)
        weights = 1 / (variances + between)
        mean = weights @ effects / weights.sum()
        spread = (weights * (effects - mean) ** 2).sum() / 5
        parts.append((mean, math.sqrt(spread / weights.sum()), math.sqrt(between)))
    means, errors, apart = np.array(parts).T

    def share_below(place: float) -> float:
        z = (means[:, None] + normal * apart[:, None] - place) / errors[:, None]
        return float(stats.t.sf(z, 5).mean())

    low, high = further_study(effects, variances, confidence=0.95, seed=7, draws=200_000)
    # one standard error of a share of 2.5 % from 200,000 draws is .0004
    assert share_below(low) == pytest.approx(0.025, abs=0.0015)
    assert share_below(high) == pytest.approx(0.975, abs=0.0015)
