"""Settings within a difference of the peak: surely inside, possibly inside, surely outside.

The lower end of the window is where the slope s > 0 and the curvature fit together as
``b2 = -s^2/(4 d)``. Each end has a set by test inversion of both (``Q(t) = min over s``), whatever
is known of the peak itself; each covers .92 to .96. The window lies in what is possible with .93
to .98 (.91 to .92 for flat curves); what is certain lies in it with .975 and more. An interval of
an end by a standard error of its formula covers .57 to .96 and is not offered.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import FittedCurve, curve_of
from quenchbook.fit.inversion import (
    Mask,
    Piece,
    Rule,
    accepted_runs,
    excess_runs,
    hull,
    t_limit,
    with_open_ends,
)
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.zones import Zones
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array

_GRID: Final = 361
_REACH: Final = 3.0  # in x: one range beyond either end


@dataclass(frozen=True, eq=False, repr=False)
class WorkingWindow(Zones):
    """Where one curve is within a difference of its peak.

    Attributes
    ----------
    curve : FittedCurve
    within : float
        [unit of the response].
    lower, upper : float
        Ends of the window of the fitted curve; nan for a low point.
    lower_set, upper_set : (float, float)
        Interval of each end, not cut to the range; infinite where open, nan where empty.
    certain, possible, excluded : tuple of (float, float)
        Stretches of the tested range.
    """

    curve: FittedCurve
    within: float
    lower: float
    upper: float
    lower_set: Piece
    upper_set: Piece
    certain: tuple[Piece, ...]
    possible: tuple[Piece, ...]
    excluded: tuple[Piece, ...]
    notes: tuple[str, ...] = ()

    def what(self) -> str:
        """What the zones are about, as a sentence begins with it."""
        return f"Within {self.within:g} of the peak along {self.curve.along}"

    def __repr__(self) -> str:
        return f"<WorkingWindow within {self.within:g} along {self.curve.along}>"


def working_window(
    model: MixedModel,
    along: str,
    within: float,
    *,
    at: Mapping[str, Level] | None = None,
    confidence: float | None = None,
) -> WorkingWindow:
    """Where the response is within a difference of its peak.

    Parameters
    ----------
    model : MixedModel
    along : str
        Numeric factor with shape ``quadratic``.
    within : float
        Difference from the peak, above zero [unit of the response].
    at : mapping of factor to level, optional
    confidence : float, optional

    Returns
    -------
    WorkingWindow
    """
    if not within > 0:
        raise EstimabilityError(f"within is {within:g}; a difference above zero is needed.")
    if model.scale == "log":
        raise EstimabilityError(
            f"{model.response} is analysed as logarithms, where a difference is a ratio: a window "
            "within a difference of its peak is not offered."
        )
    return window_of(curve_of(model, along, [dict(at or {})], confidence=confidence), within)


def window_of(curve: FittedCurve, within: float) -> WorkingWindow:
    """Window of a fitted quadratic.

    Parameters
    ----------
    curve : FittedCurve
    within : float
        [unit of the response].
    """
    noise = curve.noise
    _, steep, bent = noise.estimates[:, 0]

    root = 2 * math.sqrt(within * max(-bent, 0.0))
    ends = {1: math.nan, -1: math.nan}  # of the window of the fitted curve
    if bent < 0:
        vertex, away = -steep / (2 * bent), math.sqrt(within / -bent)
        ends = {1: vertex - away, -1: vertex + away}
    sets, marks = [], list(ends.values())
    for side in (1, -1):
        runs = excess_runs(
            partial(end_excess, curve, within=within, side=side),
            np.linspace(-_REACH, _REACH, _GRID),
            known=[ends[side]],
        )
        marks += [end for run in runs for end in run]
        first, last = hull(with_open_ends(runs, -_REACH, _REACH))
        sets.append((_place(curve, first), _place(curve, last)))

    def zones_at(x: Array) -> tuple[Mask, Mask]:
        """Whether places are certain, and whether they are excluded."""
        free = ~end_accepted(curve, x, within, 1) & ~end_accepted(curve, x, within, -1)
        turn = steep + 2 * bent * x
        inside = (turn - root < 0) & (turn + root > 0)
        return np.asarray(free & inside), np.asarray(free & ~inside)

    def possible_at(x: Array) -> Mask:
        certain, excluded = zones_at(x)
        return np.asarray(~certain & ~excluded)

    # with the sets, however narrow
    grid = np.unique([*np.linspace(-1.0, 1.0, _GRID), *(x for x in marks if abs(x) < 1)])

    def stretches(rule: Rule) -> tuple[Piece, ...]:
        runs = accepted_runs(rule, grid)
        return tuple((_place(curve, first), _place(curve, last)) for first, last in runs)

    certain, excluded = (
        stretches(lambda x: zones_at(x)[0]), stretches(lambda x: zones_at(x)[1])
    )  # fmt: skip
    return WorkingWindow(
        curve,
        within,
        _place(curve, ends[1]),
        _place(curve, ends[-1]),
        sets[0],
        sets[1],
        certain,
        stretches(possible_at),
        excluded,
    )


def _place(curve: FittedCurve, x: float) -> float:
    return curve.centre + curve.half * x


def end_accepted(curve: FittedCurve, x: Array, within: float, side: int) -> Mask:
    """Whether a place may be the lower (side 1) or upper (side -1) end of the window.

    Parameters
    ----------
    curve : FittedCurve
    x : ndarray, shape (places,)
    within : float
    side : {1, -1}

    Returns
    -------
    ndarray of bool, shape (places,)
    """
    return np.asarray(end_excess(curve, x, within, side) <= 0)


def end_excess(curve: FittedCurve, x: Array, within: float, side: int) -> Array:
    """By how much the joint test of an end of the window lies above its limit; as `end_accepted`.

    Returns
    -------
    ndarray, shape (places,)
        ``Q(x) = min over s of Q{slope(x) = s, b2 = -s^2/(4 d)}`` against t squared; s has the sign
        of `side`. The derivative in s is a cubic, solved in closed form.
    """
    noise = curve.noise
    slope_rows = curve.slope_rows(x)
    bend_rows = np.broadcast_to(curve.bend_row(), slope_rows.shape)
    rows = np.stack([slope_rows, bend_rows], axis=-2)
    cov = np.einsum("nai,ij,nbj->nab", rows, noise.covariance[0], rows)
    weight = np.linalg.inv(cov)
    p11, p12, p22 = weight[:, 0, 0], weight[:, 0, 1], weight[:, 1, 1]
    slope = slope_rows @ noise.estimates[:, 0]
    bent = float(curve.bend_row()[0] @ noise.estimates[:, 0])
    e = 1 / (4 * within)
    cubic = np.stack(
        [
            2 * e**2 * p22,
            -3 * e * p12,
            p11 + 2 * e * slope * p12 + 2 * e * bent * p22,
            -p11 * slope - p12 * bent,
        ],
        axis=-1,
    )
    steps = np.concatenate([_real_roots(cubic), np.zeros((len(x), 1))], axis=1)
    steps = np.where(side * steps >= 0, steps, 0.0)
    one, two = slope[:, None] - steps, bent + e * steps**2
    q = p11[:, None] * one**2 + 2 * p12[:, None] * one * two + p22[:, None] * two**2
    best = steps[np.arange(len(x)), q.argmin(axis=1)]
    smallest, df = noise.joint_q(rows, np.stack([best, -e * best**2], axis=-1))
    return np.asarray(smallest - t_limit(df, curve.confidence) ** 2)


def _real_roots(cubic: Array) -> Array:
    """Real roots of cubics, shape (cubics, 3); 0 in place of complex ones."""
    lead = cubic[:, 1:] / cubic[:, :1]
    companion = np.zeros((len(cubic), 3, 3))
    companion[:, 0] = -lead
    companion[:, 1, 0] = companion[:, 2, 1] = 1.0
    roots = np.linalg.eigvals(companion)
    real = np.abs(roots.imag) <= 1e-7 * (1 + np.abs(roots.real))
    return np.where(real, roots.real, 0.0)
