"""How far the peak of one level lies from that of another: one curvature for all levels.

With one curvature for all, the shift is a ratio of a slope difference (coupon stratum) and a
curvature (load stratum); its set is found by test inversion, with df that follow the shift. Any
vertical offset is allowed. Beside it stand the answer without that assumption (about twice as
wide; timid where curves are flat) and the rule of slope differences, which assumes nothing of the
curvature. Which is primary is decided here, not by a test of the data.

A curve that is moved along the factor has its peak moved by the same amount, so the shift of a
whole curve (lot against lot) is the same number.

References
----------
Fieller (1954), JRSS B 16:175; Topkis (1978), Operations Research 26:305 (slope differences);
Guggenberger et al. (2012), Econometrica 80:2649 (why a minimized Q is timid) (all from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import FittedCurve, common_curvature, curve_of
from quenchbook.fit.inversion import (
    Piece,
    excess_runs,
    golden_minimum,
    hull,
    t_limit,
    with_open_ends,
)
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peaks import Tested, slope_level, tested
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level
from quenchbook.units import interval_text, listed, number_text, with_unit

REACH: Final = 3.0
"""Ranges on either side within which a shift is looked for; beyond it a set is open."""

_GRID: Final = 1201
_WIDE_GRID: Final = 121
_DIRECTIONS: Final = 240
_HALVINGS: Final = 26  # of a grid step: below 1e-9 of the range


@dataclass(frozen=True, eq=False, repr=False)
class PeakShift(ShowsItself):
    """Shift of the peak between two levels: that of the first less that of the second.

    Attributes
    ----------
    curve : FittedCurve
        Slope difference and common curvature; gives range and words.
    factor : str
    level, against : float or str
    estimate : float
        nan where the common curvature is not downward.
    conf_low, conf_high : float
        At `confidence`; infinite where the data set no limit.
    inner_low, inner_high : float
        At 1 - 2 (1 - confidence), for the margin.
    slope_difference : Tested
        Tells whether the peak moves at all; the load noise is not in it where both levels are in
        every load.
    curvature : Tested
    free_estimate, free_low, free_high : float
        Without one curvature for all (hull of the set).
    difference_low, difference_high : Tested
        Slope differences at the ends of the range, without one curvature.
    inside_loads : bool
        Whether the slope difference is free of the noise of loads.
    strata : tuple of str
    """

    curve: FittedCurve
    factor: str
    level: Level
    against: Level
    estimate: float
    conf_low: float
    conf_high: float
    inner_low: float
    inner_high: float
    slope_difference: Tested
    curvature: Tested
    free_estimate: float
    free_low: float
    free_high: float
    difference_low: Tested
    difference_high: Tested
    inside_loads: bool
    strata: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def is_bent(self) -> bool:
        """Whether a common downward curvature is established."""
        limit = float(t_limit(self.curvature.df, self.curve.confidence))
        return self.curvature.estimate < -limit * self.curvature.std_error

    @property
    def p_value(self) -> float:
        """Two-sided p value that the peak does not move."""
        own = self.slope_difference
        return 2 * min(own.p_above, own.p_below)

    @property
    def order(self) -> int:
        """1 or -1 where the best setting of the first level is surely not below (above); else 0.

        Holds for the best setting inside the tested range, whatever the curvatures.
        """
        ends, level = (
            (self.difference_low, self.difference_high),
            slope_level(self.curve.confidence),
        )
        if max(own.p_above for own in ends) <= level:
            return 1
        return -1 if max(own.p_below for own in ends) <= level else 0

    def to_frame(self) -> pd.DataFrame:
        """Return both answers at full precision.

        Returns
        -------
        DataFrame
            ``curve_shape, estimate, conf_low, conf_high, p_value``.
        """
        return pd.DataFrame(
            {
                "curve_shape": ["one curvature", "own curvatures"],
                "estimate": [self.estimate, self.free_estimate],
                "conf_low": [self.conf_low, self.free_low],
                "conf_high": [self.conf_high, self.free_high],
                "p_value": [self.p_value, np.nan],
            }
        )

    def shown(self) -> Shown:
        """How far the peak moves, with both answers."""
        curve = self.curve
        unit = curve.factor.unit if curve.factor is not None else ""
        ends = interval_text(self.conf_low, self.conf_high, 0 if curve.half >= 5 else 2, sign=True)
        place = with_unit(number_text(self.estimate, 0 if curve.half >= 5 else 2, sign=True), unit)
        who = f"{self.level} against {self.against}".replace("_", " ")
        words = (
            f"is not told along {curve.along}: the data set no limit"
            if math.isinf(self.conf_low) and math.isinf(self.conf_high)
            else f"along {curve.along}: {place} ({ends})"
        )
        return Shown(
            f"Shift of the peak, {who}, {words}.", self.to_frame(), self.notes,
            (f"Judged on the noise of {listed(list(self.strata))}.",), confidence=curve.confidence,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<PeakShift {self.level} - {self.against}: {self.estimate:.4g}>"


def peak_shift(
    model: MixedModel,
    along: str,
    factor: str,
    level: Level,
    against: Level,
    *,
    confidence: float | None = None,
) -> PeakShift:
    """How far the peak of one level lies above that of another along a factor.

    Parameters
    ----------
    model : MixedModel
    along : str
        Numeric factor with shape ``quadratic``.
    factor : str
        Factor of the two levels: a cold route, a heat lot, a furnace.
    level, against : float or str
    confidence : float, optional

    Returns
    -------
    PeakShift
        Peak of `level` less that of `against`.

    Raises
    ------
    EstimabilityError
        If the two were not analysed together, or too few loads are to spare.
    """
    pair: list[dict[str, Level]] = [{factor: level}, {factor: against}]
    shared = common_curvature(model, along, factor)
    two = curve_of(model, along, pair, curves=shared, confidence=confidence)
    # slope difference; curvature, which both curves share
    weights = np.array([[0.0, 1, 0, 0, -1, 0], [0, 0, 0.5, 0, 0, 0.5]])
    curve = curve_of(model, along, pair, curves=shared, weights=weights, confidence=confidence)
    apart = np.array([0.0, 0, 1, 0, 0, -1]) @ two.noise.shapes.sum(axis=0)
    if np.abs(apart).max() > 1e-6 * np.abs(two.noise.shapes).max():
        raise EstimabilityError(f"{factor} has no curvature in common along {along}.")
    slope, bend = (tested(curve.noise, row) for row in np.eye(2))
    own = curve_of(model, along, pair, confidence=confidence)
    free, free_estimate = free_shift_set(own), _free_estimate(own)
    difference = [np.concatenate([rows, -rows]) for rows in own.slope_rows(np.array([-1.0, 1.0]))]
    ends = [tested(own.noise, row) for row in difference]
    wide = curve.confidence
    outer, inner = (hull(shift_set(curve, level)) for level in (wide, 2 * wide - 1))
    strata = tuple(
        unit
        for unit, shape in zip(curve.noise.units, curve.noise.shapes, strict=True)
        if shape[0, 0] > 1e-9 * curve.noise.shapes[:, 0, 0].sum()
    )
    top = model.strata.term_stage[along]
    return PeakShift(
        curve, factor, level, against,
        _per_range(curve, -slope.estimate / (2 * bend.estimate))
        if bend.estimate < 0 else math.nan,
        *outer, *inner, slope, bend, free_estimate, *hull(free), ends[0], ends[1],
        top not in strata, strata,
    )  # fmt: skip


def _per_range(curve: FittedCurve, x: float) -> float:
    return curve.half * x


def _free_estimate(own: FittedCurve) -> float:
    bends = own.noise.estimates[[2, 5], 0]
    return math.nan if (bends >= 0).any() else _per_range(own, _vertex_difference(own))


def _vertex_difference(own: FittedCurve) -> float:
    """Shift between the places where the two fitted slopes are zero [half ranges]."""
    _, a1, a2, _, b1, b2 = own.noise.estimates[:, 0]
    return -a1 / (2 * a2) + b1 / (2 * b2) if a2 and b2 else math.nan


def shift_set(curve: FittedCurve, confidence: float) -> list[Piece]:
    """Set of shifts that the data do not exclude, with one curvature for both.

    Parameters
    ----------
    curve : FittedCurve
        Its two functions are the slope difference and the common curvature.
    confidence : float

    Returns
    -------
    list of (float, float)
        [storage unit of the factor]; infinite beyond three ranges. Where no shift is excluded,
        only the side with the sign of the slope difference: a peak bends down.
    """
    noise = curve.noise

    def excess(x: np.ndarray) -> np.ndarray:
        rows = np.stack([np.ones_like(x), 2 * x], axis=-1)
        estimate, std_error, df = (own[:, 0] for own in noise.of(rows))
        return np.asarray(np.abs(estimate) - t_limit(df, confidence) * std_error)

    reach = 2 * REACH  # x spans two half ranges
    steep, bent = noise.estimates[:, 0]
    known = [0.0, -steep / (2 * bent) if bent else math.nan]
    runs = excess_runs(excess, np.linspace(-reach, reach, _GRID), known=known)
    if excess(np.zeros(1))[0] > 0:
        rises = steep > 0
        runs = [run for run in runs if (run[0] > 0) == rises]
    runs = with_open_ends(runs, -reach, reach)
    return [(_per_range(curve, first), _per_range(curve, last)) for first, last in runs]


def free_shift_set(own: FittedCurve) -> list[Piece]:
    """Set of shifts without one curvature for both: two slopes zero at places that far apart.

    Parameters
    ----------
    own : FittedCurve
        Coefficients of the first, then of the second curve.

    Returns
    -------
    list of (float, float)
        First less second [storage unit of the factor].
    """

    def excess(shift: np.ndarray) -> np.ndarray:
        q, df = smallest_over_places(own, shift)
        return np.asarray(q - t_limit(df, own.confidence) ** 2)

    reach = 2 * REACH
    known = [_vertex_difference(own)]  # there Q is 0
    grid = np.linspace(-reach, reach, _WIDE_GRID)
    runs = excess_runs(excess, grid, known=known, halvings=_HALVINGS)
    runs = with_open_ends(runs, -reach, reach)
    return [(_per_range(own, first), _per_range(own, last)) for first, last in runs]


def smallest_over_places(own: FittedCurve, shift: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Smallest joint Q over the place of the peak, and its df.

    Parameters
    ----------
    own : FittedCurve
        Coefficients of the first, then of the second curve.
    shift : ndarray, shape (shifts,)
        [half ranges]. The place t of the second peak is searched as the direction
        ``(cos, sin)`` with ``t = tan``, so that places far away are among them.

    Returns
    -------
    q, df : ndarray, shape (shifts,)
    """

    def q_of(shift: np.ndarray, angle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        rows = np.zeros((*angle.shape, 2, 6))
        cos, sin = np.cos(angle), np.sin(angle)
        rows[..., 0, 4], rows[..., 0, 5] = cos, 2 * sin
        rows[..., 1, 1], rows[..., 1, 2] = cos, 2 * shift * cos + 2 * sin
        return own.noise.joint_q(rows, np.zeros((*angle.shape, 2)))

    step = math.pi / _DIRECTIONS
    angles = -math.pi / 2 + step * np.arange(_DIRECTIONS)
    whole = np.broadcast_to(angles, (len(shift), _DIRECTIONS))
    q, _ = q_of(np.broadcast_to(shift[:, None], whole.shape), whole)
    best = angles[q.argmin(axis=1)]
    best = golden_minimum(lambda angle: q_of(shift, angle)[0], best - step, best + step)
    return q_of(shift, best)
