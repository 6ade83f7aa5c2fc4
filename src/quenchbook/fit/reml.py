"""Restricted maximum likelihood for many responses of one plan at once.

All work is done on cross-products of the fixed columns and the random units, made once: coupons
with the same number of readings form a group, and coupon and indent variance only weight the
groups. So the cost of an evaluation does not grow with the number of coupons. Variances stay at
zero or above (active set); a fit that is not at its optimum raises.

Shapes: r responses, g groups of coupons, p fixed columns, q random units in all, s = p + q, k
variance components (random units in order, then ``coupon``, then ``indent`` if readings are
repeated).

References
----------
Harville (1977), JASA 72:320; Gilmour, Thompson and Cullis (1995), Biometrics 51:1440, average
information; Kenward and Roger (1997), Biometrics 53:983 (all from memory).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from quenchbook.errors import EstimabilityError
from quenchbook.study.terms import Array

ITERATIONS = 100
TOLERANCE = 1e-9
SLACK = 1e-4

Codes = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class CrossProducts:
    """What a plan and its responses reduce to.

    Attributes
    ----------
    names : tuple of str
        Names of the variance components.
    segments : tuple of slice
        Places of the units of each random component among the s columns.
    fixed : int
        Number of fixed columns p.
    uu : ndarray, shape (g, s, s)
    uy : ndarray, shape (g, s, r)
    yy : ndarray, shape (g, r)
    sizes : ndarray, shape (g,)
        Coupons in each group.
    weights : ndarray, shape (residual components, g)
        Share of the coupon and of the indent variance in the variance of a coupon value.
    within : ndarray, shape (r,)
        Sum of squares of readings about their coupon means.
    within_df : float
    """

    names: tuple[str, ...]
    segments: tuple[slice, ...]
    fixed: int
    uu: Array
    uy: Array
    yy: Array
    sizes: Array
    weights: Array
    within: Array
    within_df: float

    def take(self, responses: Codes) -> CrossProducts:
        """Cross-products of some of the responses."""
        from dataclasses import replace

        return replace(
            self,
            uy=self.uy[:, :, responses],
            yy=self.yy[:, responses],
            within=self.within[responses],
        )


def cross_products(
    y: Array,
    fixed: Array,
    units: Mapping[str, Codes],
    *,
    readings: Codes | None = None,
    within: Array | float = 0.0,
) -> CrossProducts:
    """Reduce a plan and its responses.

    Parameters
    ----------
    y : ndarray, shape (coupons,) or (coupons, r)
        Mean of the readings of each coupon.
    fixed : ndarray, shape (coupons, p)
        Full-rank columns of the fixed part, with the mean.
    units : mapping of unit to ndarray of int, shape (coupons,)
        Random units above the coupon, codes from 0.
    readings : ndarray of int, shape (coupons,), optional
        Readings behind each value.
    within : float or ndarray, shape (r,)
        Sum of squares of the readings about their coupon means.
    """
    from scipy import sparse

    y = np.asarray(y, dtype=float)
    y = y[:, None] if y.ndim == 1 else y
    coupons, p = fixed.shape
    segments, start = [], p
    for codes in units.values():
        segments.append(slice(start, start + int(codes.max()) + 1))
        start = segments[-1].stop
    counts = np.ones(coupons, dtype=np.int64) if readings is None else np.asarray(readings)
    groups = np.unique(counts)
    uu, uy, yy, sizes = [], [], [], []
    for count in groups:
        rows = np.flatnonzero(counts == count)
        ones = np.ones(len(rows))
        parts = [sparse.csr_array(fixed[rows])]
        for codes, place in zip(units.values(), segments, strict=True):
            shape = (len(rows), place.stop - place.start)
            parts.append(sparse.csr_array((ones, (np.arange(len(rows)), codes[rows])), shape=shape))
        u = sparse.hstack(parts).tocsr()
        uu.append((u.T @ u).toarray())
        uy.append(u.T @ y[rows])
        yy.append(np.einsum("nr,nr->r", y[rows], y[rows]))
        sizes.append(float(len(rows)))
    repeated = bool(groups.max() > 1)
    weights = np.vstack([np.ones(len(groups)), *([1.0 / groups] if repeated else [])])
    return CrossProducts(
        names=(*units, "coupon", *(("indent",) if repeated else ())),
        segments=tuple(segments),
        fixed=p,
        uu=np.array(uu),
        uy=np.array(uy),
        yy=np.array(yy),
        sizes=np.array(sizes),
        weights=weights,
        within=np.broadcast_to(np.asarray(within, dtype=float), (y.shape[1],)),
        within_df=float(counts.sum() - coupons) if repeated else 0.0,
    )


class RemlState:
    """Everything the likelihood gives at one set of variances for each response.

    Parameters
    ----------
    data : CrossProducts
    theta : ndarray, shape (r, k)
    """

    def __init__(self, data: CrossProducts, theta: Array) -> None:
        self.data, self.theta = data, theta
        p, s = data.fixed, data.uu.shape[1]
        random = len(data.segments)
        scale = np.ones((len(theta), s))
        for place, segment in enumerate(data.segments):
            scale[:, segment] = np.sqrt(theta[:, place, None])
        self.spread = theta[:, random:] @ data.weights  # variance of a coupon value, (r, g)
        with np.errstate(divide="ignore"):
            self.inverse_spread = 1.0 / self.spread
        self.h = np.einsum("rg,gij->rij", self.inverse_spread, data.uu, optimize=True)
        scaled = self.h * scale[:, :, None] * scale[:, None, :]
        scaled[:, range(p, s), range(p, s)] += 1.0
        self.inverse = np.linalg.inv(scaled) * scale[:, :, None] * scale[:, None, :]
        self._scaled = scaled
        self.hy = np.einsum("rg,gir->ri", self.inverse_spread, data.uy, optimize=True)
        self.effects = np.einsum("rij,rj->ri", self.inverse, self.hy)

    @functools.cached_property
    def criterion(self) -> Array:
        """Minus twice the restricted log likelihood, without constants, shape (r,)."""
        data = self.data
        sign, logdet = np.linalg.slogdet(self._scaled)
        hyy = np.einsum("rg,gr->r", self.inverse_spread, data.yy)
        quadratic = hyy - np.einsum("ri,ri->r", self.hy, self.effects)
        value = np.log(self.spread) @ data.sizes + logdet + quadratic
        if data.within_df:
            noise = self.theta[:, -1]
            with np.errstate(divide="ignore", invalid="ignore"):
                value = value + data.within_df * np.log(noise) + data.within / noise
        return np.where((sign > 0) & np.isfinite(value), value, np.inf)

    @functools.cached_property
    def _residual(self) -> tuple[Array, Array]:
        """Squares of residuals (r, g) and U'r of each group (r, g, s)."""
        data = self.data
        left = np.einsum("gij,rj->rgi", data.uu, self.effects, optimize=True)
        uy = np.transpose(data.uy, (2, 0, 1))
        square = (
            data.yy.T
            - 2 * np.einsum("rgi,ri->rg", uy, self.effects)
            + np.einsum("rgi,ri->rg", left, self.effects)
        )
        return np.maximum(square, 0.0), uy - left

    @functools.cached_property
    def _traces(self) -> Array:
        """Trace of the inverse times the cross-products of each group, shape (r, g)."""
        found: Array = np.einsum("rij,gji->rg", self.inverse, self.data.uu, optimize=True)
        return found

    @functools.cached_property
    def _projected(self) -> Array:
        """U'PU, shape (r, s, s)."""
        found: Array = self.h - self.h @ self.inverse @ self.h
        return found

    def weighted(self, place: int, power: int = 2) -> Array:
        """Cross-products weighted for one residual component, shape (r, s, s)."""
        weight = self.data.weights[place] * self.inverse_spread**power
        found: Array = np.einsum("rg,gij->rij", weight, self.data.uu, optimize=True)
        return found

    @functools.cached_property
    def scores(self) -> Array:
        """U'Py, shape (r, s): zero for the fixed columns."""
        found: Array = self.hy - np.einsum("rij,rj->ri", self.h, self.effects)
        return found

    @functools.cached_property
    def gradient(self) -> Array:
        """Gradient of the restricted log likelihood, shape (r, k)."""
        data = self.data
        square, _ = self._residual
        parts = []
        diagonal = np.einsum("rii->ri", self._projected)
        for segment in data.segments:
            gain = np.einsum("ri,ri->r", self.scores[:, segment], self.scores[:, segment])
            parts.append(0.5 * (gain - diagonal[:, segment].sum(axis=1)))
        for weight in data.weights:
            gain = (square * weight * self.inverse_spread**2).sum(axis=1)
            loss = (
                weight * (data.sizes * self.inverse_spread - self._traces * self.inverse_spread**2)
            ).sum(axis=1)
            parts.append(0.5 * (gain - loss))
        gradient = np.stack(parts, axis=1)
        if data.within_df:
            noise = self.theta[:, -1]
            gradient[:, -1] += 0.5 * (data.within / noise**2 - data.within_df / noise)
        return gradient

    @functools.cached_property
    def expected_information(self) -> Array:
        """Expected information of the variances, shape (r, k, k)."""
        data = self.data
        random, k = len(data.segments), len(data.names)
        information = np.empty((len(self.theta), k, k))
        squares = self._projected**2
        jump = np.eye(self.h.shape[1]) - self.inverse @ self.h
        weighted = [self.weighted(place) for place in range(len(data.weights))]
        for i, first in enumerate(data.segments):
            for j, second in enumerate(data.segments[: i + 1]):
                information[:, i, j] = information[:, j, i] = 0.5 * squares[:, first, second].sum(
                    axis=(1, 2)
                )
        for i, block in enumerate(weighted):
            diagonal = np.einsum("rji,rjk,rki->ri", jump, block, jump, optimize=True)
            for j, segment in enumerate(data.segments):
                value = 0.5 * diagonal[:, segment].sum(axis=1)
                information[:, random + i, j] = information[:, j, random + i] = value
            for j, other in enumerate(weighted[: i + 1]):
                weight = data.weights[i] * data.weights[j]
                value = (
                    weight
                    * (
                        data.sizes * self.inverse_spread**2
                        - 2 * self._traces * self.inverse_spread**3
                    )
                ).sum(axis=1)
                value = value + np.einsum("rij,rji->r", self.inverse @ block, self.inverse @ other)
                information[:, random + i, random + j] = information[:, random + j, random + i] = (
                    0.5 * value
                )
        if data.within_df:
            information[:, -1, -1] += 0.5 * data.within_df / self.theta[:, -1] ** 2
        return information

    @functools.cached_property
    def average_information(self) -> Array:
        """Average of expected and observed information, shape (r, k, k)."""
        data = self.data
        random, k = len(data.segments), len(data.names)
        square, left = self._residual
        information = np.empty((len(self.theta), k, k))
        pushed = [
            np.einsum("rg,rgi->ri", weight * self.inverse_spread**2, left)
            for weight in data.weights
        ]
        for i, first in enumerate(data.segments):
            for j, second in enumerate(data.segments[: i + 1]):
                value = np.einsum(
                    "ri,rij,rj->r",
                    self.scores[:, first],
                    self._projected[:, first, second],
                    self.scores[:, second],
                )
                information[:, i, j] = information[:, j, i] = 0.5 * value
        for i, own in enumerate(pushed):
            through = np.einsum("rij,rj->ri", self.inverse, own)
            seen = own - np.einsum("rij,rj->ri", self.h, through)
            for j, segment in enumerate(data.segments):
                value = 0.5 * np.einsum("ri,ri->r", self.scores[:, segment], seen[:, segment])
                information[:, random + i, j] = information[:, j, random + i] = value
            for j, other in enumerate(pushed[: i + 1]):
                weight = data.weights[i] * data.weights[j]
                value = (square * weight * self.inverse_spread**3).sum(axis=1) - np.einsum(
                    "ri,ri->r", through, other
                )
                information[:, random + i, random + j] = information[:, random + j, random + i] = (
                    0.5 * value
                )
        if data.within_df:
            noise = self.theta[:, -1]
            information[:, -1, -1] += 0.5 * data.within / noise**3
        return information


@dataclass(frozen=True, eq=False)
class RemlFit:
    """Variance components of each response at their optimum.

    Attributes
    ----------
    state : RemlState
    variances : ndarray, shape (r, k)
    """

    state: RemlState

    @property
    def variances(self) -> Array:
        """Variance components, shape (r, k)."""
        return self.state.theta

    @property
    def coefficients(self) -> Array:
        """Generalized least squares coefficients, shape (r, p)."""
        found: Array = self.state.effects[:, : self.state.data.fixed]
        return found

    @functools.cached_property
    def covariance(self) -> Array:
        """Covariance of the coefficients at the estimated variances, shape (r, p, p)."""
        p = self.state.data.fixed
        return self.state.inverse[:, :p, :p]

    def deviations(self) -> dict[str, Array]:
        """Predicted deviation of each unit, shape (r, units): variance times Z'Py."""
        state = self.state
        return {
            name: state.theta[:, place, None] * state.scores[:, segment]
            for place, (name, segment) in enumerate(
                zip(state.data.names, state.data.segments, strict=False)
            )
        }


def reml(data: CrossProducts) -> RemlFit:
    """Fit variance components, all at zero or above.

    Scoring first, then average information; a step that does not lower the criterion is halved.

    Raises
    ------
    EstimabilityError
        If nothing is left to estimate from, or a fit is not at its optimum.
    """
    coupons = float(data.sizes.sum())
    if coupons <= data.fixed:
        raise EstimabilityError(
            f"{coupons:.0f} coupons and {data.fixed} coefficients leave nothing to estimate noise "
            "from. Drop a factor or a combination of factors."
        )
    theta = _start(data)
    scatter = theta.sum(axis=1) * data.sizes.sum()
    if np.any(scatter <= 1e-11 * np.maximum(data.yy.sum(axis=0), 1e-300)):
        raise EstimabilityError(
            "The readings do not scatter about the fitted means, so there is no noise to estimate. "
            "Were they copied or rounded?"
        )
    active = np.arange(len(theta))
    state = RemlState(data, theta)
    for iteration in range(ITERATIONS):
        own = data.take(active)
        step = _step(state, iteration)
        new_theta, new_state = _improved(own, state, step)
        change = np.max(np.abs(new_theta - state.theta), axis=1)
        theta[active] = new_theta
        moving = change > TOLERANCE * new_theta.max(axis=1)
        if not moving.any():
            break
        active = active[moving]
        state = new_state if moving.all() else RemlState(data.take(active), theta[active])
    final = RemlState(data, theta)
    _check_optimum(final)
    return RemlFit(final)


def _start(data: CrossProducts) -> Array:
    """Equal shares of the scatter about the fixed part."""
    p = data.fixed
    uu, uy, yy = data.uu.sum(axis=0), data.uy.sum(axis=0), data.yy.sum(axis=0)
    fitted = np.linalg.solve(uu[:p, :p], uy[:p])
    square = np.maximum(yy - np.einsum("pr,pr->r", uy[:p], fitted), 1e-12 * np.maximum(yy, 1e-300))
    total = square / (data.sizes.sum() - p)
    theta = np.repeat(total[:, None] / len(data.names), len(data.names), axis=1)
    if data.within_df:
        theta[:, -1] = np.maximum(data.within / data.within_df, 1e-8 * total)
    return theta


def _step(state: RemlState, iteration: int) -> Array:
    information = state.expected_information if iteration < 2 else state.average_information
    free = (state.theta > 0) | (state.gradient > 0)
    both = free[:, :, None] & free[:, None, :]
    k = information.shape[1]
    size = np.sqrt(np.maximum(np.einsum("rii->ri", information), 1e-300))
    scaled = np.where(both, information / (size[:, :, None] * size[:, None, :]), np.eye(k))
    scaled = scaled + 1e-12 * np.eye(k)
    slope = np.where(free, state.gradient / size, 0.0)
    step: Array = np.linalg.solve(scaled, slope[:, :, None])[:, :, 0] / size
    return step


def _improved(data: CrossProducts, state: RemlState, step: Array) -> tuple[Array, RemlState]:
    """Take the step, halved for the responses where it does not lower the criterion."""
    shrink = np.ones((len(step), 1))
    best = state.theta.copy()
    for _ in range(30):
        trial = np.maximum(state.theta + shrink * step, 0.0)
        trial = _kept_positive(state.theta, trial)
        new = RemlState(data, trial)
        good = new.criterion <= state.criterion + 1e-10 * np.abs(state.criterion)
        if good.all():
            return trial, new
        best[good] = trial[good]
        shrink = np.where(good[:, None], shrink, 0.5 * shrink)
    trial = np.where(good[:, None], trial, best)
    return trial, RemlState(data, trial)


def _kept_positive(theta: Array, trial: Array) -> Array:
    """Keep the last component above zero, so that every coupon value has some variance."""
    last = trial[:, -1]
    trial[:, -1] = np.where(last > 0, last, 0.1 * theta[:, -1])
    return trial


def _check_optimum(state: RemlState) -> None:
    size = np.sqrt(np.maximum(np.einsum("rii->ri", state.expected_information), 1e-300))
    slack = state.gradient / size
    inside = state.theta > 0
    wrong = np.where(inside, np.abs(slack), slack) > SLACK
    if wrong.any():
        count = int(wrong.any(axis=1).sum())
        raise EstimabilityError(
            f"The variance components of {count} of {len(wrong)} responses did not reach their "
            "optimum. Please keep the records and tell the developers: no number is shown rather "
            "than a wrong one."
        )
