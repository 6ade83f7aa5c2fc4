"""Settings at which a coupon reaches a value nine times in ten.

For a new coupon of a new load (and new batches) at a setting, the value that 90 % of such coupons
reach is the mean less 1.28 standard deviations of the total noise. Its one-sided limits are those
of a tolerance interval: the noncentral t with the Satterthwaite df of the total variance and the
effective sample size ``n_e = total variance / variance of the mean``. A setting is *certain* where
the lower limit reaches the target, *excluded* where the upper one does not, *possible* between.
Each limit holds at its own setting at the stated confidence; they are not joint over all settings.
Measured coverage stands in the simulation lane.

References
----------
Mee and Owen (1983), Journal of the American Statistical Association 78:901, and Mee (1984),
Technometrics 26:251, tolerance limits with a variance between batches (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import FittedCurve, curve_of
from quenchbook.fit.inversion import Mask, Piece, Rule, accepted_runs
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.stratum_covariance import stratum_covariance
from quenchbook.fit.zones import Zones
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array

SHARE: Final = 0.9
"""Share of the coupons that must reach the target."""

_GRID: Final = 121
_HALVINGS: Final = 20
_NODES: Final = 400
_NEWTON_STEPS: Final = 60
_LEAST_SLOPE: Final = 1e-12
_FARTHEST: Final = 2.0
_CLOSE: Final = 1e-12


@dataclass(frozen=True, eq=False, repr=False)
class TargetWindow(Zones):
    """Where a coupon reaches a value nine times in ten.

    Attributes
    ----------
    curve : FittedCurve
    target : float
        [unit of the response].
    share : float
    reached : tuple of (float, float)
        Stretches of the tested range where the estimates say so, without their uncertainty.
    certain, possible, excluded : tuple of (float, float)
        Stretches of the tested range.
    total_sd, total_df : float
        Standard deviation of a new coupon about its mean curve on the analysed scale.
    """

    curve: FittedCurve
    target: float
    share: float
    reached: tuple[Piece, ...]
    certain: tuple[Piece, ...]
    possible: tuple[Piece, ...]
    excluded: tuple[Piece, ...]
    total_sd: float
    total_df: float
    notes: tuple[str, ...] = ()

    def what(self) -> str:
        """What the zones are about, as a sentence begins with it."""
        return f"{self.target:g} or more in {self.share:.0%} of coupons, along {self.curve.along}"

    def __repr__(self) -> str:
        return f"<TargetWindow {self.target:g} along {self.curve.along}>"


def target_window(
    model: MixedModel,
    along: str,
    target: float,
    *,
    at: Mapping[str, Level] | None = None,
    share: float = SHARE,
    confidence: float | None = None,
) -> TargetWindow:
    """Where a coupon of a new load reaches a value with a probability of 90 %.

    Parameters
    ----------
    model : MixedModel
    along : str
        Numeric factor with shape ``quadratic``.
    target : float
        [unit of the response].
    at : mapping of factor to level, optional
    share : float
    confidence : float, optional
        Of each one-sided limit.

    Returns
    -------
    TargetWindow

    Raises
    ------
    EstimabilityError
        As for a peak; or if the noise of a unit that a new coupon carries cannot be told.
    """
    covariance = stratum_covariance(model.strata)
    if covariance.unknown:
        units = " and ".join(model.unit_word(unit, 2) for unit in covariance.unknown)
        raise EstimabilityError(f"The noise of {units} cannot be told, so no chance can be told.")
    if model.scale == "log" and not target > 0:
        raise EstimabilityError(f"A target of {target:g} has no logarithm.")
    curve = curve_of(model, along, [dict(at or {})], confidence=confidence)
    noise = curve.noise
    parts = covariance.total * noise.squares[:, 0]
    total = float(parts.sum())
    df = float(total**2 / (parts**2 / noise.df[:, 0]).sum())
    aim = float(np.log(target)) if model.scale == "log" else target

    def quantile(x: Array, level: float) -> Array:
        return content_limit(curve, x, total, df, share, level)

    def reached(x: Array) -> Mask:
        from scipy import special

        mean = curve.value_rows(x) @ noise.estimates[:, 0]
        return np.asarray(mean - special.ndtri(share) * total**0.5 >= aim)

    def certain(x: Array) -> Mask:
        return np.asarray(quantile(x, curve.confidence) >= aim)

    def excluded(x: Array) -> Mask:
        return np.asarray(quantile(x, 1 - curve.confidence) < aim)

    def possible(x: Array) -> Mask:
        return np.asarray(~certain(x) & ~excluded(x))

    def stretches(rule: Rule) -> tuple[Piece, ...]:
        runs = accepted_runs(rule, np.linspace(-1.0, 1.0, _GRID), halvings=_HALVINGS)
        return tuple(
            (curve.centre + curve.half * first, curve.centre + curve.half * last)
            for first, last in runs
        )

    return TargetWindow(
        curve, target, share, stretches(reached), stretches(certain), stretches(possible),
        stretches(excluded), total**0.5, df,
    )  # fmt: skip


def content_limit(
    curve: FittedCurve, x: Array, total: float, df: float, share: float, level: float
) -> Array:
    """One-sided limit of the value that a share of coupons reaches.

    Parameters
    ----------
    curve : FittedCurve
    x : ndarray, shape (places,)
    total, df : float
        Variance of a new coupon, and its Satterthwaite df.
    share : float
    level : float
        Confidence of a lower limit; one less it for an upper one.

    Returns
    -------
    ndarray, shape (places,)
    """
    from scipy import special

    mean, std_error, _ = (own[:, 0] for own in curve.noise.of(curve.value_rows(x)))
    root = std_error / total**0.5  # one over the square root of the effective sample size
    shift = special.ndtri(share) / root
    return np.asarray(mean - noncentral_t_quantile(level, df, shift) * root * total**0.5)


def noncentral_t_quantile(level: float, df: float, shift: Array) -> Array:
    """Quantile of the noncentral t, by Newton steps on its distribution.

    Parameters
    ----------
    level, df : float
    shift : ndarray
        Noncentrality.

    Returns
    -------
    ndarray
        The distribution is integrated over that of the standard deviation, since the noncentral
        distributions of scipy 1.17 are wrong in places.
    """
    from scipy import special

    chance = (np.arange(_NODES) + 0.5) / _NODES
    ratio = np.sqrt(special.chdtri(df, 1 - chance) / df)  # of the estimated to the true sd
    shift = np.atleast_1d(np.asarray(shift, dtype=float))
    # Newton from the normal approximation; the distribution is smooth and the start is near
    place = shift + special.ndtri(level) * np.sqrt(1 + shift**2 / (2 * df))
    for _ in range(_NEWTON_STEPS):
        z = place[:, None] * ratio - shift[:, None]
        slope = (ratio * np.exp(-(z**2) / 2)).mean(axis=1) / np.sqrt(2 * np.pi)
        step = (special.ndtr(z).mean(axis=1) - level) / np.maximum(slope, _LEAST_SLOPE)
        place = place - np.clip(step, -_FARTHEST, _FARTHEST)
        if np.abs(step).max() < _CLOSE:
            break
    return np.asarray(place)
