"""Effects of several studies with a variance between them: their mean, and a further study.

Every function takes `effects` and `variances` (within the studies), both of shape (studies,).
Weights are ``1 / (variance + between)``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.study.terms import Array

DRAWS: Final = 40_000  # 10,000 leave .01 on a limit of .57 in the checked example
FEWEST: Final = 3
"""Studies from which a variance between them is estimated; fewer are listed."""

_STEPS: Final = 200
_CLOSE: Final = 1e-12
_GRID: Final = 160


@dataclass(frozen=True)
class RandomMean:
    """Mean of studies with a variance between them.

    Attributes
    ----------
    estimate, std_error, df : float
        Knapp and Hartung: the standard error times a t value with studies - 1 df is the half width.
    between : float
        Variance between studies.
    spread : float
        q of Knapp and Hartung: weighted squares over their df, before any floor.
    floored : bool
        Whether `spread` below one was raised to one.
    """

    estimate: float
    std_error: float
    df: float
    between: float
    spread: float
    floored: bool


def weighted_mean(effects: Array, variances: Array, between: float) -> tuple[float, float]:
    """Mean weighted by precision, and the sum of the weights."""
    weights = 1.0 / (variances + between)
    total = float(weights.sum())
    return float(weights @ effects) / total, total


def generalized_q(effects: Array, variances: Array, between: Array) -> tuple[Array, Array]:
    """Weighted sum of squares about the weighted mean, and minus its slope in `between`.

    Parameters
    ----------
    effects, variances : ndarray, shape (studies,)
    between : ndarray, shape (draws,)

    Returns
    -------
    q, fall : ndarray, shape (draws,)
    """
    weights = 1.0 / (variances + between[:, None])
    means = (weights @ effects) / weights.sum(axis=1)
    parts = weights * (effects - means[:, None]) ** 2
    return parts.sum(axis=1), (weights * parts).sum(axis=1)


def between_for_q(effects: Array, variances: Array, wanted: Array) -> Array:
    """Variance between studies at which the weighted sum of squares is `wanted`; 0 if below it.

    Newton steps on ``1 / q``, which is concave in the variance (``q = y' P y`` with ``P' = -P P``,
    so ``q q'' >= 2 q'^2`` by Cauchy and Schwarz): from the left they never step too far.
    """
    between = np.zeros(len(wanted))
    q, fall = generalized_q(effects, variances, between)
    active = (q > wanted) & (wanted > 0)
    for _ in range(_STEPS):
        if not active.any():
            break
        step = (q[active] - wanted[active]) * q[active] / (wanted[active] * fall[active])
        between[active] += step
        q[active], fall[active] = generalized_q(effects, variances, between[active])
        active[active] = np.abs(q[active] - wanted[active]) > _CLOSE * wanted[active] + 1e-14
        active &= q > wanted
    return between


def between_by_likelihood(effects: Array, variances: Array) -> float:
    """Variance between studies by restricted maximum likelihood, not below zero.

    The best of a grid, then the root of the slope beside it: Fisher steps alone do not settle
    where the likelihood is flat, and stop at a lower hill where it has two.

    References
    ----------
    Viechtbauer (2005), J. Educational and Behavioral Statistics 30, 261-293.
    """
    from scipy import optimize

    # far beyond all squares about the mean, where the likelihood only falls
    highest = 100.0 * float(((effects - effects.mean()) ** 2).sum())
    lowest = 1e-9 * float(variances.min())
    if highest <= lowest:
        return 0.0
    grid = np.concatenate([[0.0], np.geomspace(lowest, highest, _GRID)])
    best = int(restricted_likelihood(effects, variances, grid).argmax())
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, _GRID)]
    ends = [_restricted_slope(effects, variances, place) for place in (low, high)]
    if ends[0] <= 0 or ends[1] >= 0:
        return float(grid[best])
    place = optimize.brentq(
        lambda own: _restricted_slope(effects, variances, own), low, high, xtol=1e-15, rtol=1e-13
    )
    return float(place)


def restricted_likelihood(effects: Array, variances: Array, between: Array) -> Array:
    """Logarithm of the restricted likelihood at each variance between studies.

    Parameters
    ----------
    effects, variances : ndarray, shape (studies,)
    between : ndarray, shape (places,)
    """
    weights = 1.0 / (variances + between[:, None])
    total = weights.sum(axis=1)
    q, _ = generalized_q(effects, variances, between)
    return np.asarray(0.5 * (np.log(weights).sum(axis=1) - np.log(total) - q))


def _restricted_slope(effects: Array, variances: Array, between: float) -> float:
    weights = 1.0 / (variances + between)
    total = weights.sum()
    mean = weights @ effects / total
    trace = total - (weights**2).sum() / total
    return float(0.5 * ((weights**2 * (effects - mean) ** 2).sum() - trace))


def random_mean(effects: Array, variances: Array, *, floor: bool) -> RandomMean:
    """Mean of studies, REML between them, with the standard error of Knapp and Hartung.

    Parameters
    ----------
    effects, variances : ndarray, shape (studies,)
    floor : bool
        Whether a spread of the studies below what chance gives is raised to it (``max(1, q)``).

    Raises
    ------
    EstimabilityError
        With fewer than three studies.

    References
    ----------
    Hartung and Knapp (2001), Statistics in Medicine 20, 3875-3889.
    """
    check_count(len(effects))
    between = between_by_likelihood(effects, variances)
    mean, total = weighted_mean(effects, variances, between)
    df = len(effects) - 1
    spread = float(((effects - mean) ** 2 / (variances + between)).sum()) / df
    used = max(1.0, spread) if floor else spread
    return RandomMean(
        mean, float(np.sqrt(used / total)), float(df), between, spread, floor and spread < 1.0
    )


def further_study(
    effects: Array,
    variances: Array,
    *,
    confidence: float,
    seed: int,
    floor: bool = False,
    draws: int = DRAWS,
) -> tuple[float, float]:
    """Where the true effect of one more study lies, by the confidence distribution.

    For each draw the variance between studies is the one at which the weighted sum of squares is a
    draw of chi square, the mean is drawn from its t distribution at that variance, and the further
    study from a normal distribution about it.

    Parameters
    ----------
    effects, variances : ndarray, shape (studies,)
    confidence : float
    seed : int
        Of ``numpy.random.SeedSequence``; the same seed gives the same limits.
    floor : bool
        As in `random_mean`, for the part of the mean: or a further study could be told more surely
        than the mean itself.
    draws : int

    Returns
    -------
    low, high : float

    References
    ----------
    Nagashima, Noma and Furukawa (2019), Statistical Methods in Medical Research 28, 1689-1702.
    """
    from scipy import special

    check_count(len(effects))
    df = len(effects) - 1
    # only raw bits are drawn: numpy may change how it makes other numbers of them
    bits = np.random.PCG64(np.random.SeedSequence(seed)).random_raw(3 * draws)
    chances = ((np.asarray(bits) >> np.uint64(11)) + 0.5) * 2.0**-53
    first, second, third = chances.reshape(3, draws)
    between = between_for_q(effects, variances, np.asarray(special.chdtri(df, first), dtype=float))
    t_values, z_values = special.stdtrit(df, second), special.ndtri(third)
    weights = 1.0 / (variances + between[:, None])
    total = weights.sum(axis=1)
    means = (weights @ effects) / total
    spread = (weights * (effects - means[:, None]) ** 2).sum(axis=1) / df
    if floor:
        spread = np.maximum(1.0, spread)
    found = means - t_values * np.sqrt(spread / total) + z_values * np.sqrt(between)
    low, high = np.quantile(found, [(1 - confidence) / 2, (1 + confidence) / 2])
    return float(low), float(high)


def check_count(count: int) -> None:
    """Refuse to pool fewer than three studies."""
    if count < FEWEST:
        raise EstimabilityError(
            f"{count} {'study is' if count == 1 else 'studies are'} too few to pool: what lies "
            f"between studies cannot be told from fewer than {FEWEST}. List them."
        )
