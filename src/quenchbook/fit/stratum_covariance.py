"""Covariance of all coefficients as a sum over strata, for functions that mix strata.

A curve has its mean part in the stratum of the furnace load and the part that differs between
routes in that of the coupon (or cold batch), so a slope of one route mixes strata. Its variance is
``sum over strata s of MS_s h'G_s h``, with the mean squares of the strata (never cut at zero) and
shapes ``G_s`` that the plan gives.

What was generalized. The recipe was written for coupons in furnace loads: ``MS_U G_U + s2 G_C``
with ``G_C = S - c_E G_U``. Here ``S_k`` is the covariance of the coefficients for a unit variance
of unit k, and ``E`` the matrix of expected mean squares (stratum by unit); then
``G_s = sum over k of (E^-1)_ks S_k``, which gives the two-strata formula when there are two. Days
as blocks take df from the loads; crossed temper batches and nested cold batches are further strata.
As in the recipe, the part of every ``G_s`` below the coarsest stratum that is negative is clipped
to zero in the metric of the coupon covariance: ``S = L L'``, negative eigenvalues of
``L^-1 G_s L^-T`` set to 0. This depends on no centre, unit or coding; balanced: nothing to clip.

The df are Satterthwaite's over the strata, with Box df of every mean square (``nu*``), without the
step towards the smallest df that `Precision.of` takes: test inversion was measured with the plain
ones.

References
----------
Satterthwaite (1946), Biometrics Bulletin 2:110 (from memory). Levels and coverage were measured in
the project's simulation lane.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.fit.precision import Precision
from quenchbook.fit.stages import CouponStage
from quenchbook.fit.strata import Strata
from quenchbook.study.terms import Array

UNKNOWN_SHARE: Final = 1e-9
"""Variance by a unit without spare df, over that by all units, from which a function is refused."""


@dataclass(frozen=True, eq=False)
class StratumCovariance:
    """Shapes of the covariance of the coefficients, one for each stratum with error df.

    Attributes
    ----------
    units : tuple of str
        Strata with error df, from the coupon up.
    shapes : ndarray, shape (strata, coefficients, coefficients)
        ``G_s``: the covariance is the sum of mean square times shape.
    unknown : mapping of unit to ndarray, shape (coefficients, coefficients)
        What a unit variance of a unit without spare df adds that no mean square carries.
    total : ndarray, shape (units of the strata,)
        Weights of the mean squares in the variance of one new coupon of a new load and batches.
    """

    units: tuple[str, ...]
    shapes: Array
    unknown: Mapping[str, Array]
    total: Array

    def unknown_units(self, rows: Array) -> tuple[str, ...]:
        """Units without spare df whose noise the functions carry beyond their own mean squares.

        Parameters
        ----------
        rows : ndarray, shape (functions, coefficients)
        """
        whole = np.einsum("ij,sjk,ik->i", rows, self.shapes, rows, optimize=True)
        found = []
        for unit, shape in self.unknown.items():
            own = np.einsum("ij,jk,ik->i", rows, shape, rows, optimize=True)
            if (own > UNKNOWN_SHARE * np.maximum(whole, own)).any():
                found.append(unit)
        return tuple(found)

    def of(self, rows: Array) -> Array:
        """Shapes of some functions of the coefficients.

        Parameters
        ----------
        rows : ndarray, shape (functions, coefficients)

        Returns
        -------
        ndarray, shape (strata, functions, functions)
        """
        return np.asarray(rows @ self.shapes @ rows.T)


def stratum_covariance(strata: Strata) -> StratumCovariance:
    """Shapes of the covariance of the coefficients of a plan.

    Parameters
    ----------
    strata : Strata

    Returns
    -------
    StratumCovariance
    """
    weights = np.array([strata.coupon_weights(row) for row in np.eye(strata.coefficient_count)])
    by_unit = {"coupon": weights @ weights.T}
    for unit, codes in strata.codes.items():
        sums = np.zeros((len(weights), int(codes.max()) + 1))
        np.add.at(sums.T, codes, weights.T)
        by_unit[unit] = sums @ sums.T
    stages = [stage for stage in strata.stages if stage.df]
    units = tuple(stage.unit for stage in stages)
    expected = np.zeros((len(units), len(units)))
    blind = {stage.unit: np.zeros(len(units)) for stage in strata.stages if not stage.df}
    for number, stage in enumerate(stages):
        if isinstance(stage, CouponStage):
            expected[number, number] = 1.0
            continue
        for unit, shape in stage.shapes.items():
            weight = float(np.vdot(stage.error, shape)) / stage.df
            if unit in units:
                expected[number, units.index(unit)] = weight
            elif unit in blind:
                blind[unit][number] = weight
    known = np.array([by_unit[unit] for unit in units])
    inverse = np.linalg.inv(expected)
    shapes = np.einsum("ks,kij->sij", inverse, known)
    metric = _Metric(by_unit["coupon"])
    top = len(units) - 1
    for number in range(len(units)):
        if number != top:
            shapes[number] = metric.clipped(shapes[number])
    unknown = {}
    for unit, carriers in blind.items():
        if unit in by_unit:
            carried = np.einsum("s,sij->ij", carriers, shapes)
            unknown[unit] = metric.clipped(by_unit[unit] - carried)
    return StratumCovariance(units, shapes, unknown, np.maximum(inverse.sum(axis=0), 0.0))


class _Metric:
    """Clip a symmetric matrix in the metric of a covariance."""

    def __init__(self, covariance: Array) -> None:
        self._root = np.linalg.cholesky(covariance)

    def clipped(self, shape: Array) -> Array:
        """Set what is negative to zero."""
        half = np.linalg.solve(self._root, shape)
        inner = np.linalg.solve(self._root, half.T)
        values, vectors = np.linalg.eigh((inner + inner.T) / 2)
        if values[0] >= -1e-12 * max(values[-1], 1.0):
            return shape
        back = self._root @ vectors
        return np.asarray((back * np.maximum(values, 0.0)) @ back.T)


@dataclass(frozen=True, eq=False)
class NoisyRows:
    """Some functions of the coefficients with their noise, for one or many responses.

    Attributes
    ----------
    estimates : ndarray, shape (functions, responses)
    shapes : ndarray, shape (strata, functions, functions)
    squares : ndarray, shape (strata, responses)
        Mean squares.
    df : ndarray, shape (strata, responses)
        Box df of the mean squares.
    units : tuple of str
    """

    estimates: Array
    shapes: Array
    squares: Array
    df: Array
    units: tuple[str, ...]

    def of(self, weights: Array) -> tuple[Array, Array, Array]:
        """Estimate, standard error and df of weighted sums of the functions.

        Parameters
        ----------
        weights : ndarray, shape (sums, functions)

        Returns
        -------
        estimate, std_error, df : ndarray, shape (sums, responses)
        """
        lengths = np.einsum("hi,sij,hj->sh", weights, self.shapes, weights, optimize=True)
        parts = lengths[:, :, None] * self.squares[:, None, :]
        variance = parts.sum(axis=0)
        spread = (parts**2 / self.df[:, None, :]).sum(axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = np.where(spread > 0, variance**2 / spread, self.df.max(axis=0))
        return weights @ self.estimates, np.sqrt(variance), df

    @property
    def covariance(self) -> Array:
        """Covariance, shape (responses, functions, functions)."""
        return np.asarray(np.einsum("sr,sij->rij", self.squares, self.shapes))

    def one(self, response: int) -> NoisyRows:
        """Take one response."""
        pick = slice(response, response + 1)
        return NoisyRows(
            self.estimates[:, pick], self.shapes, self.squares[:, pick], self.df[:, pick],
            self.units,
        )  # fmt: skip

    def joint_q(self, rows: Array, targets: Array) -> tuple[Array, Array]:
        """Joint distance of pairs of functions from their targets, and its df.

        Parameters
        ----------
        rows : ndarray, shape (..., 2, functions)
        targets : ndarray, shape (..., 2)

        Returns
        -------
        q, df : ndarray, shape (...)
            ``Q = u'V^-1 u`` and the df of the combination of the two that is farthest away. Of the
            first response.
        """
        count = rows.shape[-1]
        pairs = rows.reshape(-1, 2, count)
        away = (pairs @ self.estimates[:, 0]) - targets.reshape(-1, 2)
        strata = len(self.shapes)
        flat = self.shapes.transpose(1, 0, 2).reshape(count, strata * count)
        spread = (pairs.reshape(-1, count) @ flat).reshape(-1, 2, strata, count)
        spread = spread * self.squares[:, 0][:, None]
        first = np.einsum("nsk,nk->ns", spread[:, 0], pairs[:, 0])
        cross = np.einsum("nsk,nk->ns", spread[:, 0], pairs[:, 1])
        second = np.einsum("nsk,nk->ns", spread[:, 1], pairs[:, 1])
        one, both, two = first.sum(axis=1), cross.sum(axis=1), second.sum(axis=1)
        determinant = one * two - both**2
        pull_one = (two * away[:, 0] - both * away[:, 1]) / determinant
        pull_two = (one * away[:, 1] - both * away[:, 0]) / determinant
        q = pull_one * away[:, 0] + pull_two * away[:, 1]
        weights = [pull_one**2, 2 * pull_one * pull_two, pull_two**2]
        parts = sum(
            w[:, None] * own for w, own in zip(weights, (first, cross, second), strict=True)
        )
        squared = (parts**2 / self.df[:, 0]).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            own = np.where(squared > 0, parts.sum(axis=1) ** 2 / squared, self.df[:, 0].max())
        shape = rows.shape[:-2]
        return q.reshape(shape), own.reshape(shape)


def noisy_rows(covariance: StratumCovariance, precision: Precision, rows: Array) -> NoisyRows:
    """Functions of the coefficients with their noise.

    Parameters
    ----------
    covariance : StratumCovariance
    precision : Precision
        Of the same strata.
    rows : ndarray, shape (functions, coefficients)

    Returns
    -------
    NoisyRows
    """
    squares = np.array([precision.mean_squares[unit] for unit in covariance.units])
    df = np.array([precision.df_error[unit] for unit in covariance.units])
    return NoisyRows(
        rows @ precision.coefficients, covariance.of(rows), squares, df, covariance.units
    )
