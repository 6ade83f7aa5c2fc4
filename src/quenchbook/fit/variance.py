"""Variance components by restricted maximum likelihood, none below zero.

The likelihood is that of the coupon values; what indents say inside coupons enters through their sum
of squares. Fisher scoring on the variances with an active set at zero; the result is checked for
optimality and a fit that fails the check raises.

References
----------
Patterson and Thompson (1971), Biometrika 58:545; Harville (1977), JASA 72:320 (both from memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from quenchbook.errors import EstimabilityError
from quenchbook.fit.terms import Array

ITERATIONS = 200
TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class Components:
    """Variance of each random unit and the predicted deviation of each single unit.

    Attributes
    ----------
    variances : mapping of unit to float
        Units as given, then ``coupon`` and, with repeated readings, ``indent``.
    deviations : mapping of unit to ndarray
        Shrunken estimate of what each load, batch or coupon did (best linear prediction).
    criterion : float
        Minus twice the restricted log likelihood, without constants.
    """

    variances: Mapping[str, float]
    deviations: Mapping[str, Array]
    criterion: float


def variance_components(
    y: Array,
    fixed: Array,
    units: Mapping[str, npt.NDArray[np.int64]],
    *,
    readings: npt.NDArray[np.int64] | None = None,
    within_square: float = 0.0,
) -> Components:
    """Estimate variance components by REML.

    Parameters
    ----------
    y : ndarray, shape (coupons,)
        Mean of the readings of each coupon.
    fixed : ndarray, shape (coupons, columns)
        Full-rank columns of the fixed part, with the mean.
    units : mapping of unit to ndarray of int, shape (coupons,)
        Random units above the coupon, codes from 0.
    readings : ndarray of int, shape (coupons,), optional
        Readings behind each value; without it, or with one each, indents are not told from coupons.
    within_square : float
        Sum of squares of the readings about their coupon means.

    Returns
    -------
    Components

    Raises
    ------
    EstimabilityError
        If nothing is left to estimate from, or the fit is not at its optimum.
    """
    coupons = len(y)
    if coupons <= fixed.shape[1]:
        raise EstimabilityError(
            f"{coupons} coupons and {fixed.shape[1]} coefficients leave nothing to estimate noise from. "
            "Drop a factor or a combination of factors."
        )
    indicators = {unit: np.eye(int(codes.max()) + 1)[codes] for unit, codes in units.items()}
    shapes = [z @ z.T for z in indicators.values()] + [np.eye(coupons)]
    names = [*units, "coupon"]
    within_df = 0.0
    if readings is not None and int(readings.max()) > 1:
        shapes.append(np.diag(1.0 / readings))
        names.append("indent")
        within_df = float(readings.sum() - coupons)
    scale = float(np.var(y - fixed @ np.linalg.lstsq(fixed, y, rcond=None)[0])) or 1.0
    y_scaled = (y - y.mean()) / np.sqrt(scale)
    within = within_square / scale

    theta = np.full(len(names), 1.0 / len(names))
    if within_df:
        theta[-1] = max(within / within_df, 1e-8)
    state = _evaluate(theta, y_scaled, fixed, shapes, within, within_df)
    for _ in range(ITERATIONS):
        step_from = theta
        free = (theta > 0) | (state.gradient > 0)
        information = state.information[np.ix_(free, free)]
        step = np.zeros_like(theta)
        step[free] = np.linalg.lstsq(information, state.gradient[free], rcond=None)[0]
        for shrink in 0.5 ** np.arange(30):
            trial = np.maximum(theta + shrink * step, 0.0)
            new = _evaluate(trial, y_scaled, fixed, shapes, within, within_df)
            if new is not None and new.criterion <= state.criterion + 1e-12:
                break
        else:
            break
        theta, state = trial, new
        if np.max(np.abs(theta - step_from)) <= TOLERANCE * theta.max():
            break
    slack = state.gradient * np.sqrt(1.0 / np.maximum(np.diag(state.information), 1e-300))
    if np.any(np.abs(slack[theta > 0]) > 1e-4) or np.any(slack[theta == 0] > 1e-4):
        raise EstimabilityError(
            "The variance components did not reach their optimum. Please keep the records and tell "
            "the developers: no number is shown rather than a wrong one."
        )
    deviations = {
        unit: theta[place] * (z.T @ state.weighted) * np.sqrt(scale)
        for place, (unit, z) in enumerate(indicators.items())
    }
    deviations["coupon"] = theta[len(indicators)] * state.weighted * np.sqrt(scale)
    return Components(
        variances=dict(zip(names, (theta * scale).tolist(), strict=True)),
        deviations=deviations,
        criterion=state.criterion,
    )


@dataclass(frozen=True, eq=False)
class _State:
    criterion: float
    gradient: Array
    information: Array
    weighted: Array  # P y


def _evaluate(
    theta: Array,
    y: Array,
    fixed: Array,
    shapes: list[Array],
    within: float,
    within_df: float,
) -> _State | None:
    """Criterion, gradient and expected information (of the log likelihood) at `theta`."""
    covariance = sum(t * shape for t, shape in zip(theta, shapes, strict=True))
    try:
        lower = np.linalg.cholesky(covariance)
    except np.linalg.LinAlgError:
        return None
    inverse = np.linalg.inv(covariance)
    projected = inverse @ fixed
    gram = fixed.T @ projected
    sign, logdet = np.linalg.slogdet(gram)
    if sign <= 0:
        return None
    p = inverse - projected @ np.linalg.solve(gram, projected.T)
    weighted = p @ y
    products = [p @ shape for shape in shapes]
    gradient = np.array(
        [
            0.5 * (weighted @ shape @ weighted - np.trace(product))
            for shape, product in zip(shapes, products, strict=True)
        ]
    )
    information = np.array([[0.5 * np.vdot(a.T, b) for b in products] for a in products])
    criterion = 2.0 * float(np.log(np.diag(lower)).sum()) + logdet + float(y @ weighted)
    if within_df:
        if theta[-1] <= 0:
            return None
        criterion += within_df * float(np.log(theta[-1])) + within / theta[-1]
        gradient[-1] += 0.5 * (within / theta[-1] ** 2 - within_df / theta[-1])
        information[-1, -1] += 0.5 * within_df / theta[-1] ** 2
    return _State(criterion, gradient, information, weighted)
