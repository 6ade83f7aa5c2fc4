"""The highest value of a curve inside the tested range, with its interval.

Its lower limit is that of the value at the fitted peak, cut to the range; its upper limit is the
largest upper limit along the range. Where no curvature is established this is too narrow (a
maximum is biased upward: .90 to .92), and the wider set by test inversion is used (.97 to .99);
switching by that test covers .94 to .99.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import FittedCurve, curve_of
from quenchbook.fit.inversion import golden_minimum, t_limit
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peaks import PeakPlace, place_of_curve
from quenchbook.made_by import made_from
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array
from quenchbook.units import decimals_for, interval_text, number_text

_POINTS: Final = 40
_WIDE_POINTS: Final = 121
_DF_ROUNDS: Final = 8


@dataclass(frozen=True, eq=False, repr=False)
class PeakHeight(ShowsItself):
    """Highest value of one curve inside the tested range.

    Attributes
    ----------
    estimate, conf_low, conf_high : float
        On the analysed scale (logarithms where the response is).
    place : float
        Where the fitted curve is highest inside the range.
    is_wide : bool
        Whether the wider set was used, since no curvature is established.
    simple_low, simple_high : float
        Limits by the narrower rule.
    confidence : float
    """

    estimate: float
    conf_low: float
    conf_high: float
    place: float
    is_wide: bool
    simple_low: float
    simple_high: float
    confidence: float

    def to_frame(self) -> pd.DataFrame:
        """Return one row: ``estimate, conf_low, conf_high, peak_place``."""
        names = ("estimate", "conf_low", "conf_high")
        numbers = {name: getattr(self, name) for name in names}
        return pd.DataFrame([{**numbers, "peak_place": self.place}])

    def shown(self) -> Shown:
        """The height with its limits."""
        decimals = decimals_for((self.conf_high - self.conf_low) / 4)
        limits = interval_text(self.conf_low, self.conf_high, decimals)
        wide = ("No curvature is established, so the wider limits are given.",)
        return Shown(
            f"Highest value {number_text(self.estimate, decimals)} ({limits}).", self.to_frame(),
            wide if self.is_wide else (), confidence=self.confidence,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<PeakHeight {self.estimate:.4g}>"


def peak_height(
    model: MixedModel,
    along: str,
    *,
    at: Mapping[str, Level] | None = None,
    confidence: float | None = None,
) -> PeakHeight:
    """Highest value of a curve inside the tested range.

    Parameters
    ----------
    model : MixedModel
    along : str
    at : mapping of factor to level, optional
    confidence : float, optional

    Returns
    -------
    PeakHeight
    """
    curve = curve_of(model, along, [dict(at or {})], confidence=confidence)
    return height_of(place_of_curve(curve))


def height_of(place: PeakPlace) -> PeakHeight:
    """Highest value of the curve of a peak.

    Parameters
    ----------
    place : PeakPlace
        Of a quadratic.
    """
    curve = place.curve
    if curve.untold:
        words = " and ".join(curve.untold)
        raise EstimabilityError(
            f"The height cannot be told: it carries the noise of {words}, and none is to spare."
        )
    vertex = (place.vertex - curve.centre) / curve.half
    if math.isnan(vertex):
        ends = curve.value_rows(np.array([-1.0, 1.0])) @ curve.noise.estimates[:, 0]
        vertex = -1.0 if ends[0] > ends[1] else 1.0
    vertex = min(max(vertex, -1.0), 1.0)
    value, half = _value(curve, np.array([vertex]))
    low, high = float(value[0] - half[0]), _highest_limit(curve)
    limits = (low, high)
    if not place.is_bent:
        wide = _wide_set(curve)
        limits = (min(wide[0], low), max(wide[1], high))
    made = PeakHeight(
        float(value[0]), *limits, curve.centre + curve.half * vertex, not place.is_bent,
        low, high, curve.confidence,
    )  # fmt: skip
    return made_from(made, curve)


def _highest_limit(curve: FittedCurve) -> float:
    """Largest upper limit of the value along the range."""

    def below(x: Array) -> Array:
        value, half = _value(curve, x)
        return np.asarray(-value - half)

    x = np.linspace(-1.0, 1.0, _POINTS)
    start = x[[int(below(x).argmin())]]
    step = x[1] - x[0]
    left, right = np.maximum(start - step, -1.0), np.minimum(start + step, 1.0)
    best = golden_minimum(below, left, right)
    return float(-min(below(best)[0], below(start)[0]))


def _value(curve: FittedCurve, x: Array) -> tuple[Array, Array]:
    estimate, std_error, df = (own[:, 0] for own in curve.noise.of(curve.value_rows(x)))
    return estimate, t_limit(df, curve.confidence) * std_error


def _wide_set(curve: FittedCurve) -> tuple[float, float]:
    """Heights that some peak inside the range, or an end of it, does not exclude."""
    x = np.linspace(-1.0, 1.0, _WIDE_POINTS)
    value_rows, slope_rows = curve.value_rows(x), curve.slope_rows(x)
    rows = np.stack([value_rows, slope_rows], axis=-2)
    noise = curve.noise
    cov = np.einsum("nai,ij,nbj->nab", rows, noise.covariance[0], rows)
    value, slope = value_rows @ noise.estimates[:, 0], slope_rows @ noise.estimates[:, 0]
    tilt = cov[:, 0, 1] / cov[:, 1, 1]
    middle = value - tilt * slope
    spread = cov[:, 0, 0] - tilt * cov[:, 0, 1]
    found = []
    for sign in (-1.0, 1.0):
        limit = middle
        for _ in range(_DF_ROUNDS):  # the df hold at the limit itself
            targets = np.stack([limit, np.zeros_like(limit)], axis=-1)
            _, df = noise.joint_q(rows, targets)
            rest = t_limit(df, curve.confidence) ** 2 - slope**2 / cov[:, 1, 1]
            limit = middle + sign * np.sqrt(np.maximum(spread * rest, 0.0))
        found.append(np.where(rest >= 0, limit, np.nan))
    for end, sign in ((0, 1.0), (-1, -1.0)):
        slope_at, error, df = (own[:, 0] for own in noise.of(slope_rows[[end]]))
        if sign * slope_at[0] <= t_limit(df, curve.confidence)[0] * error[0]:
            own, half = _value(curve, x[[end]])
            found.append(np.concatenate([own - half, own + half]))
    known = np.concatenate(found)
    if np.isnan(known).all():
        return math.inf, -math.inf
    return float(np.nanmin(known)), float(np.nanmax(known))
