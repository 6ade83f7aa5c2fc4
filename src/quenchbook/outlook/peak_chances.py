"""Chances that a planned study locates a peak or a shift, by the tests of the analysis itself.

Noise of coupons, batches and loads is drawn unit by unit, and every drawn study is judged by the
same test inversion as real records (`quenchbook.fit.peaks`, `quenchbook.fit.peak_shift`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.fit.inversion import t_limit
from quenchbook.fit.peaks import fieller_ends, slope_level
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata
from quenchbook.fit.stratum_covariance import (
    NoisyRows,
    StratumCovariance,
    noisy_rows,
    stratum_covariance,
)
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.outlook.simulation import noise_values
from quenchbook.study.terms import Array

STUDIES: Final = 1_000
"""Drawn studies: a chance is known within .03."""

_FOUND: Final = 0.8
_MOST_SHIFT: Final = 6.0  # in x: three ranges


@dataclass(frozen=True)
class PeakChances:
    """What of many such studies locate a peak.

    Attributes
    ----------
    both_ends, one_end, not_located : float
        Shares of studies whose interval has both, one or no end inside the tested range.
    shown_inside : float
        Share that shows the peak to be inside the range, by the two slope tests.
    half_width : float
        Approximate half width of the interval [half ranges].
    df : float
    """

    both_ends: float
    one_end: float
    not_located: float
    shown_inside: float
    half_width: float
    df: float


@dataclass(frozen=True, eq=False)
class PlannedNoise:
    """Noise of a plan: expected mean squares, and those of drawn studies without any effect.

    Attributes
    ----------
    covariance : StratumCovariance
    planned : PlannedPrecision
    drawn : Precision
    """

    covariance: StratumCovariance
    planned: PlannedPrecision
    drawn: Precision


def planned_noise(
    strata: Strata, planned: PlannedPrecision, *, studies: int = STUDIES, seed: int = 1
) -> PlannedNoise:
    """Draw studies of a plan at its planned noise.

    Parameters
    ----------
    strata : Strata
    planned : PlannedPrecision
    studies, seed : int
    """
    variances = {unit: float(own[0]) for unit, own in planned.components.items()}
    noise = noise_values(strata, variances, studies, np.random.default_rng(seed))
    return PlannedNoise(stratum_covariance(strata), planned, Precision(strata, noise))


def peak_chances(
    ready: PlannedNoise,
    rows: Array,
    place: float,
    bend: float,
    *,
    confidence: float,
) -> PeakChances:
    """Chances for one curve.

    Parameters
    ----------
    ready : PlannedNoise
    rows : ndarray, shape (3, coefficients)
        Coefficients of 1, x, x^2; x from -1 to 1 over the tested range.
    place, bend : float
        True peak [x] and coefficient of x^2, below zero.
    confidence : float
    """
    noise = noisy_rows(ready.covariance, ready.drawn, rows)
    truth = np.array([0.0, -2 * bend * place, bend])
    own = NoisyRows(
        noise.estimates + truth[:, None], noise.shapes, noise.squares, noise.df, noise.units
    )
    _, steep, bent = own.estimates
    vertex = -steep / (2 * bent)
    lengths = (
        own.shapes[:, 1, 1][:, None]
        + 4 * own.shapes[:, 1, 2][:, None] * vertex
        + 4 * own.shapes[:, 2, 2][:, None] * vertex**2
    )
    parts = lengths * own.squares
    df = parts.sum(axis=0) ** 2 / (parts**2 / own.df).sum(axis=0)
    limit = t_limit(df, confidence) ** 2
    cov = own.covariance
    a = 4 * (bent**2 - limit * cov[:, 2, 2])
    b = 4 * (steep * bent - limit * cov[:, 1, 2])
    c = steep**2 - limit * cov[:, 1, 1]
    low, high = fieller_ends(a, b, c, steep, bent)
    low_told, high_told = low > -1, high < 1  # neither for a low point, which is nan
    both, any_end = low_told & high_told, low_told | high_told
    ends = np.array([[0.0, 1.0, -2.0], [0.0, 1.0, 2.0]])
    slope, error, slope_df = own.of(ends)
    one_sided = t_limit(slope_df, 1 - 2 * slope_level(confidence)) * error
    inside = (slope[0] > one_sided[0]) & (slope[1] < -one_sided[1])
    expected = noisy_rows(ready.covariance, ready.planned, rows)
    _, std_error, planned_df = expected.of(np.array([[0.0, 1.0, 2 * place]]))
    half = t_limit(planned_df, confidence) * std_error / abs(2 * bend)
    return PeakChances(
        float(both.mean()),
        float((any_end & ~both).mean()),
        float((~any_end).mean()),
        float(inside.mean()),
        float(half[0, 0]),
        float(planned_df[0, 0]),
    )


@dataclass(frozen=True)
class ShiftChances:
    """What of many such studies tell of a shift, with one curvature for both curves.

    Attributes
    ----------
    half_width : float
        Approximate half width of the interval of a small shift [half ranges].
    detectable : float
        Shift that is told from none in 80 % of studies [half ranges]; infinite beyond three ranges.
    bounded : float
        Share of studies that establish the common curvature, so that an interval has two ends.
    df : float
    """

    half_width: float
    detectable: float
    bounded: float
    df: float


def shift_chances(
    ready: PlannedNoise,
    rows: Array,
    bend: float,
    *,
    confidence: float,
) -> ShiftChances:
    """Chances for the shift between two curves.

    Parameters
    ----------
    ready : PlannedNoise
        Of the model with one curvature.
    rows : ndarray, shape (2, coefficients)
        Slope difference and common coefficient of x^2.
    bend : float
        True coefficient of x^2, below zero.
    confidence : float
    """
    noise = noisy_rows(ready.covariance, ready.drawn, rows)
    estimate, error, df = noise.of(np.eye(2))
    limit = t_limit(df, confidence) * error
    curved = estimate[1] + bend < -limit[1]

    def found(shift: float) -> float:
        return float((np.abs(estimate[0] - 2 * bend * shift) > limit[0]).mean())

    low, high = 0.0, _MOST_SHIFT
    detectable = np.inf
    if found(high) >= _FOUND:
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (low, middle) if found(middle) >= _FOUND else (middle, high)
        detectable = high
    _, std_error, planned_df = noisy_rows(ready.covariance, ready.planned, rows).of(np.eye(2)[:1])
    half = t_limit(planned_df, confidence) * std_error / abs(2 * bend)
    return ShiftChances(
        float(half[0, 0]), float(detectable), float(curved.mean()), float(planned_df[0, 0])
    )
