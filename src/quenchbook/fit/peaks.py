"""Where a fitted curve is highest: a test-inversion set over the strata, with honest open ends.

In the set is every place whose slope cannot be told from zero. Its form decides its coverage: an
estimate with a standard error of a ratio covers .57 to .97 of nominal .95 and is not offered; the
set covers .93 to .96 (.91 to .94 with two spare loads).

References
----------
Fieller (1954), Journal of the Royal Statistical Society B 16:175 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import CUBIC_FROM, FittedCurve, common_cubic, curve_of
from quenchbook.fit.inversion import Piece, accepted_runs, hull, t_limit
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.stratum_covariance import NoisyRows
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array

Outcome = Literal[
    "inside", "still rising", "falling throughout", "low point", "no upper limit",
    "no lower limit", "not located",
]  # fmt: skip

_GRID: Final = 241
_DF_ROUNDS: Final = 12  # each is far closer than the last: df hardly depend on the place


def slope_level(confidence: float) -> float:
    """Level of each one-sided slope test: 5 % at 95 %, less where questions share a level.

    Both slopes must reject, so no correction is due.
    """
    return 1.0 - confidence


@dataclass(frozen=True)
class Tested:
    """One function of the coefficients, tested against zero [response unit per half range]."""

    estimate: float
    std_error: float
    df: float

    @property
    def p_above(self) -> float:
        """One-sided p value that it is above zero."""
        from scipy import special

        return float(special.stdtr(self.df, -self.estimate / self.std_error))

    @property
    def p_below(self) -> float:
        """One-sided p value that it is below zero."""
        return 1.0 - self.p_above


def tested(noise: NoisyRows, row: np.ndarray) -> Tested:
    """One function of the coefficients with its standard error and df (first response)."""
    estimate, std_error, df = noise.of(row[None, :])
    return Tested(float(estimate[0, 0]), float(std_error[0, 0]), float(df[0, 0]))


@dataclass(frozen=True, eq=False, repr=False)
class PeakPlace(ShowsItself):
    """Where one curve is highest.

    Attributes
    ----------
    curve : FittedCurve
    vertex : float
        Place where the fitted slope is zero and falls; nan for a low point. It may lie outside
        the range.
    pieces : tuple of (float, float)
        The set after the direction rule, not yet cut to the tested range; ends may be infinite.
    conf_low, conf_high : float
        The set cut to the tested range; infinite where the data set no limit inside it.
    outcome : str
        One of `Outcome`.
    p_inside, p_rising, p_falling : float
        Each the larger of two one-sided p values of the slopes at the ends of the range.
    slope_low, slope_high, bend : Tested
        Slopes at the ends and coefficient of x^2; x from -1 to 1 over the tested range.
    cubic : PeakPlace or None
        The same with a common cubic, where five or more settings were used.
    notes : tuple of str
    """

    curve: FittedCurve
    vertex: float
    pieces: tuple[Piece, ...]
    conf_low: float
    conf_high: float
    outcome: Outcome
    p_inside: float
    p_rising: float
    p_falling: float
    slope_low: Tested
    slope_high: Tested
    bend: Tested
    cubic: PeakPlace | None = None
    notes: tuple[str, ...] = ()

    @property
    def estimate(self) -> float:
        """The peak, where it lies inside the tested range; else nan."""
        inside = self.curve.low <= self.vertex <= self.curve.high
        return self.vertex if inside else math.nan

    @property
    def is_outside(self) -> bool:
        """Whether the whole set lies at or beyond one end of the tested range."""
        return self.conf_low >= self.curve.high or self.conf_high <= self.curve.low

    @property
    def is_bent(self) -> bool:
        """Whether a curvature downward is established (one-sided 2.5 % at 95 %)."""
        limit = float(t_limit(self.bend.df, self.curve.confidence))
        return self.bend.estimate < -limit * self.bend.std_error

    def to_frame(self) -> pd.DataFrame:
        """Return the answer of each fitted form at full precision.

        Returns
        -------
        DataFrame
            ``curve_shape, estimate, conf_low, conf_high, answer, p_inside, p_rising, p_falling,
            df``.
        """
        rows = [("quadratic" if self.curve.degree == 2 else "cubic", self)]
        if self.cubic is not None:
            rows.append(("cubic", self.cubic))
        return pd.DataFrame(
            [
                {
                    "curve_shape": name,
                    "estimate": own.estimate,
                    "conf_low": own.conf_low,
                    "conf_high": own.conf_high,
                    "answer": own.outcome,
                    "p_inside": own.p_inside,
                    "p_rising": own.p_rising,
                    "p_falling": own.p_falling,
                    "df": own.bend.df,
                }
                for name, own in rows
            ]
        )

    def shown(self) -> Shown:
        """Where the peak is, or why that is not told; then the answer of each fitted form."""
        curve = self.curve
        inside = f"inside {curve.range_word(curve.low, curve.high)}"
        what = curve.model.quantity_word if curve.model is not None else "The response"
        low, high = curve.place_word(self.conf_low), curve.place_word(self.conf_high)
        words = {
            "inside": f"is highest at {curve.place_word(self.estimate)} ({low} to {high})",
            "still rising": f"still rises at the end of what was tried: no peak {inside}",
            "falling throughout": f"falls from the start of what was tried: no peak {inside}",
            "low point": f"has a low point, not a peak, {inside}",
            "no upper limit": f"has its peak at {low} or above; no upper limit {inside}",
            "no lower limit": f"has its peak at {high} or below; no lower limit {inside}",
            "not located": f"has no peak that can be located {inside}",
        }[self.outcome]
        return Shown(
            f"{what} {words}.", self.to_frame(), self.notes,
            (f"Places whose slope is not told from zero; judged on {curve.unit_word}.",),
            confidence=curve.confidence,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<PeakPlace along {self.curve.along}: {self.outcome}>"


def peak_place(
    model: MixedModel,
    along: str,
    *,
    at: Mapping[str, Level] | None = None,
    confidence: float | None = None,
) -> PeakPlace:
    """Where the response is highest along a factor.

    Parameters
    ----------
    model : MixedModel
    along : str
        Numeric factor with shape ``quadratic``.
    at : mapping of factor to level, optional
        Whose curve: ``{"cold_route": "dry_ice"}``. Other factors are averaged evenly.
    confidence : float, optional

    Returns
    -------
    PeakPlace

    Raises
    ------
    EstimabilityError
        With fewer than two spare furnace loads, or no quadratic.
    """
    places = [dict(at or {})]
    curve = curve_of(model, along, places, confidence=confidence)
    cubic, notes = None, []
    if curve.settings >= CUBIC_FROM:
        try:
            other = common_cubic(model, along)
            cubic = place_of_curve(curve_of(model, along, places, curves=other,
                                            confidence=confidence))  # fmt: skip
        except EstimabilityError as error:
            notes.append(f"No second curve with a cubic: {error}")
    return place_of_curve(curve, cubic=cubic, notes=tuple(notes))


def place_of_curve(
    curve: FittedCurve, *, cubic: PeakPlace | None = None, notes: tuple[str, ...] = ()
) -> PeakPlace:
    """Where one fitted curve is highest.

    Parameters
    ----------
    curve : FittedCurve
        Quadratic or cubic.
    cubic : PeakPlace, optional
        Kept beside the answer.
    notes : tuple of str
    """
    low, high = (tested(curve.noise, curve.slope_rows(np.array(x))) for x in (-1.0, 1.0))
    bend = tested(curve.noise, curve.bend_row()[0])
    if curve.degree == 2:
        x, pieces = quadratic_peak(curve.noise, curve.confidence)
    else:
        x, pieces = _cubic_peak(curve)
    kept = tuple(
        (curve.centre + curve.half * first, curve.centre + curve.half * last)
        for first, last in pieces
    )
    level = slope_level(curve.confidence)
    p_inside = max(low.p_above, high.p_below)
    p_rising = max(low.p_above, high.p_above)
    p_falling = max(low.p_below, high.p_below)
    first, last = _cut(hull(list(kept)), curve.low, curve.high)
    outcome: Outcome
    if p_inside <= level:
        outcome = "inside"
    elif p_rising <= level:
        outcome = "still rising"
    elif p_falling <= level:
        outcome = "falling throughout"
    elif not kept:
        outcome = "low point"
    elif math.isinf(first) and math.isinf(last):
        outcome = "not located"
    else:
        outcome = "no upper limit" if math.isinf(last) else "no lower limit"
    if outcome == "still rising" and math.isnan(first):
        first, last = curve.high, math.inf
    if outcome == "falling throughout" and math.isnan(first):
        first, last = -math.inf, curve.low
    return PeakPlace(
        curve, curve.centre + curve.half * x, kept, first, last, outcome,
        p_inside, p_rising, p_falling, low, high, bend, cubic, notes,
    )  # fmt: skip


def _cut(piece: Piece, low: float, high: float) -> Piece:
    """Cut a set to the tested range: an end at or beyond it is open, never a number.

    A set wholly above the range starts at its upper end, which is a limit the data do set.
    """
    first, last = piece
    if math.isnan(first):
        return piece
    if first >= high:
        return high, math.inf
    if last <= low:
        return -math.inf, low
    return (-math.inf if first <= low else first), (math.inf if last >= high else last)


def quadratic_peak(noise: NoisyRows, confidence: float) -> tuple[float, list[Piece]]:
    """Vertex and set of places whose slope cannot be told from zero, for the first response.

    Parameters
    ----------
    noise : NoisyRows
        Coefficients of 1, x, x^2.
    confidence : float

    Returns
    -------
    vertex : float
        nan for a low point.
    pieces : list of (float, float)
        In x; df taken at the vertex, then at each end itself. With the direction rule: the curve
        rises in the excluded stretch to the left of a
        piece and falls in the one to its right. Ends may be infinite.
    """
    _, steep, bent = noise.estimates[:3, 0]
    vertex = -steep / (2 * bent) if bent else math.inf
    cov = noise.covariance[0]

    def pieces_at(x: float) -> list[Piece]:
        row = np.array([[0.0, 1.0, 2 * x]]) if math.isfinite(x) else np.eye(3)[1:2]
        limit = float(t_limit(noise.of(row)[2][0, 0], confidence)) ** 2
        a = 4 * (bent**2 - limit * cov[2, 2])
        b = 4 * (steep * bent - limit * cov[1, 2])
        c = steep**2 - limit * cov[1, 1]
        return fieller_pieces(a, b, c, steep, bent)

    def refined(end: float, side: int) -> float:
        """The end with the df that hold there."""
        for _ in range(_DF_ROUNDS):
            if not math.isfinite(end):
                break
            other = pieces_at(end)
            if not other or not math.isfinite(other[0][side]):
                break
            before, end = end, other[0][side]
            if abs(end - before) <= 1e-13 * (1 + abs(end)):
                break
        return end

    pieces = [(refined(first, 0), refined(last, 1)) for first, last in pieces_at(vertex)]
    return (vertex if bent < 0 else math.nan), pieces


def fieller_pieces(a: float, b: float, c: float, steep: float, bent: float) -> list[Piece]:
    """Places where ``a t^2 + b t + c <= 0``, less what is a low point by the direction rule.

    Parameters
    ----------
    a, b, c : float
    steep, bent : float
        Slope at 0 and half its change for one unit: the curve rises where
        ``steep + 2 bent t > 0``.

    Examples
    --------
    >>> fieller_pieces(1.0, 0.0, -4.0, 0.0, -1.0)
    [(-2.0, 2.0)]
    >>> fieller_pieces(-1.0, 0.0, 4.0, 1.0, -0.1)
    [(2.0, inf)]
    """
    low, high = fieller_ends(*np.atleast_2d(np.array([a, b, c, steep, bent])).T)
    return [] if np.isnan(low[0]) else [(float(low[0]), float(high[0]))]


def fieller_ends(a: Array, b: Array, c: Array, steep: Array, bent: Array) -> tuple[Array, Array]:
    """Ends of the set of `fieller_pieces` for many curves; nan for a low point.

    Parameters
    ----------
    a, b, c, steep, bent : ndarray, shape (curves,)

    Returns
    -------
    low, high : ndarray, shape (curves,)
    """
    inner = b * b - 4 * a * c
    root = np.sqrt(np.maximum(inner, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        both = np.array([(-b - root) / (2 * a), (-b + root) / (2 * a)])
    first, last = both.min(axis=0), both.max(axis=0)
    bounded, ray = a > 0, (a < 0) & (inner > 0)
    with np.errstate(invalid="ignore"):
        rises = steep + bent * (first + last) > 0  # in the excluded stretch between the roots
    low = np.where(bounded, first, np.where(ray & rises, last, -np.inf))
    high = np.where(bounded, last, np.where(ray & ~rises, first, np.inf))
    trough = bounded & (bent > 0)
    return np.where(trough, np.nan, low), np.where(trough, np.nan, high)


def _cubic_peak(curve: FittedCurve) -> tuple[float, list[Piece]]:
    """Highest point inside the range where the slope is zero and falls, and the set there.

    Beyond the tested range a cubic says nothing, so the set is looked for inside it; a piece that
    reaches its edge is open there.
    """
    noise = curve.noise

    def accepts(x: np.ndarray) -> np.ndarray:
        estimate, std_error, df = (own[:, 0] for own in noise.of(curve.slope_rows(x)))
        return np.asarray(np.abs(estimate) <= t_limit(df, curve.confidence) * std_error)

    def slope(x: float) -> float:
        return float(curve.slope_rows(np.array([x]))[0] @ noise.estimates[:, 0])

    runs = accepted_runs(accepts, np.linspace(-1.0, 1.0, _GRID))
    kept = []
    for number, (first, last) in enumerate(runs):
        before = runs[number - 1][1] if number else -1.0
        after = runs[number + 1][0] if number + 1 < len(runs) else 1.0
        from_left = first <= -1.0 or slope((before + first) / 2) > 0
        to_right = last >= 1.0 or slope((last + after) / 2) < 0
        if from_left and to_right:
            kept.append((-math.inf if first <= -1 else first, math.inf if last >= 1 else last))
    _, steep, bent, cube = noise.estimates[:, 0]
    roots = np.roots([3 * cube, 2 * bent, steep])
    real = [
        float(x.real) for x in roots if abs(x.imag) < 1e-12 and 2 * bent + 6 * cube * x.real < 0
    ]
    return (real[0] if real else math.nan), kept
