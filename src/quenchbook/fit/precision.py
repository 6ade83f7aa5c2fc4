"""Tests of terms and standard errors of contrasts from the mean squares of the strata.

Everything here works on many responses of one plan at once (simulations), shape (coupons,
responses).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from quenchbook.fit.strata import Stage, Strata
from quenchbook.fit.terms import Array


@dataclass(frozen=True, eq=False)
class TermTest:
    """F test of one term; arrays have shape (responses,)."""

    term: str
    unit: str
    df: int
    df_error: Array
    statistic: Array
    p_value: Array
    safety: Array


class Precision:
    """Mean squares of all strata, and what follows from them.

    Parameters
    ----------
    strata : Strata
    y : ndarray, shape (coupons,) or (coupons, responses)
        One value for each coupon.

    Attributes
    ----------
    coefficients : ndarray, shape (coefficients, responses)
    mean_squares : mapping of unit to ndarray, shape (responses,)
    components : mapping of unit to ndarray, shape (responses,)
        Variance of each unit from the mean squares, not below zero. The denominator of a test is
        never made from these; they only set the safety factor and the error df.
    """

    def __init__(self, strata: Strata, y: Array) -> None:
        y = np.asarray(y, dtype=float)
        y = y[:, None] if y.ndim == 1 else y
        self.strata = strata
        self.coefficients = np.zeros((strata.coefficient_count, y.shape[1]))
        self.mean_squares: dict[str, Array] = {}
        self.components: dict[str, Array] = {}
        centre = y.mean(axis=0)
        for stage in strata.stages:
            unit_values = stage.values @ (y - centre)
            self.coefficients[stage.places] = stage.rows @ unit_values
            residuals = stage.error @ unit_values
            square = np.einsum("ur,ur->r", residuals, residuals)
            self.mean_squares[stage.unit] = (
                square / stage.df if stage.df else np.full(y.shape[1], np.nan)
            )
            self.components[stage.unit] = self._component(stage)
        self.coefficients[0] += centre

    def _component(self, stage: Stage) -> Array:
        """Own variance of a unit: its mean square less what finer units explain."""
        if not stage.df:
            return np.zeros_like(self.mean_squares[stage.unit])
        rest = self.mean_squares[stage.unit].copy()
        for unit, shape in stage.shapes.items():
            if unit != stage.unit and unit in self.components:
                rest -= self.components[unit] * (np.vdot(stage.error, shape) / stage.df)
        own = np.vdot(stage.error, stage.shapes[stage.unit]) / stage.df
        return np.maximum(rest / own, 0.0)

    def _expected(self, stage: Stage, weights: Mapping[str, float]) -> Array:
        total: Array = np.zeros_like(self.mean_squares[stage.unit])
        for unit, weight in weights.items():
            if weight and unit in self.components:
                total = total + weight * self.components[unit]
        return total

    @functools.cached_property
    def df_error(self) -> dict[str, Array]:
        """Error df of each stratum after Box, at most the number of residual dimensions."""
        found = {}
        for stage in self.strata.stages:
            found[stage.unit] = (
                self._box_df(stage) if stage.df else np.zeros_like(self.mean_squares[stage.unit])
            )
        return found

    def _box_df(self, stage: Stage) -> Array:
        units = [unit for unit in stage.shapes if unit in self.components]
        seen = {unit: stage.error @ stage.shapes[unit] for unit in units}
        expected = self._expected(stage, {unit: float(np.trace(seen[unit])) for unit in units})
        spread: Array = np.zeros_like(expected)
        for first in units:
            for second in units:
                cross = float(np.vdot(seen[first].T, seen[second]))
                spread = spread + self.components[first] * self.components[second] * cross
        with np.errstate(divide="ignore", invalid="ignore"):
            df = expected**2 / spread
        return np.where(spread > 0, np.minimum(df, stage.df), float(stage.df))

    def expected_mean_square(self, stage: Stage) -> Array:
        """Expected mean square of a stratum at the estimated components."""
        weights = {u: float(np.vdot(stage.error, s)) / stage.df for u, s in stage.shapes.items()}
        return self._expected(stage, weights)

    def test(self, term: str) -> TermTest | None:
        """F test of one term; None when its stratum has no error df."""
        from scipy import special

        stage = self.strata.stage(self.strata.term_stage[term])
        if not stage.df:
            return None
        rows = self._rows_of(stage, term)
        gram = np.linalg.inv(rows @ rows.T)
        tested = rows.T @ gram @ rows
        df = len(rows)
        place = self.strata.slices[term]
        effect = self.coefficients[place]
        square = np.einsum("ir,ij,jr->r", effect, gram, effect) / df
        expected = self._expected(
            stage, {u: float(np.vdot(tested, s)) / df for u, s in stage.shapes.items()}
        )
        safety = self._safety(stage, expected)
        df_error = self.df_error[stage.unit]
        with np.errstate(divide="ignore", invalid="ignore"):
            statistic = square / (safety * self.mean_squares[stage.unit])
        p_value = special.fdtrc(df, df_error, statistic)
        return TermTest(term, stage.unit, df, df_error, statistic, np.asarray(p_value), safety)

    def _rows_of(self, stage: Stage, term: str) -> Array:
        place = self.strata.slices[term]
        inside = (stage.places >= place.start) & (stage.places < place.stop)
        rows: Array = stage.rows[inside]
        return rows

    def _safety(self, stage: Stage, expected: Array) -> Array:
        base = self.expected_mean_square(stage)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = expected / base
        return np.where(base > 0, np.maximum(ratio, 1.0), 1.0)

    def of(self, rows: Array) -> tuple[Array, Array, Array]:
        """Estimate, standard error and df of linear functions of the coefficients.

        A function that lies in one stratum uses that stratum's mean square. A function that mixes
        strata (a cell mean, one route at two temperatures) adds the parts, each with its own mean
        square, and takes its df after Satterthwaite.

        Parameters
        ----------
        rows : ndarray, shape (functions, coefficients)

        Returns
        -------
        estimate, std_error, df : ndarray, shape (functions, responses)
            nan where a stratum that is needed has no error df.
        """
        rows = np.atleast_2d(np.asarray(rows, dtype=float))
        estimate = rows @ self.coefficients
        variance = np.zeros_like(estimate)
        spread = np.zeros_like(estimate)
        for number, row in enumerate(rows):
            for stage in self.strata.stages:
                weights = row[stage.places]
                if not np.any(np.abs(weights) > 1e-12):
                    continue
                part, df = self._part(stage, weights @ stage.rows)
                variance[number] += part
                spread[number] += part**2 / np.where(df > 0, df, np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            df = np.where(spread > 0, variance**2 / spread, np.nan)
        return estimate, np.sqrt(variance), df

    def _part(self, stage: Stage, row: Array) -> tuple[Array, Array]:
        """Variance and df of one function of the values of one stratum."""
        length = float(row @ row)
        expected = self._expected(
            stage, {u: float(row @ s @ row) / length for u, s in stage.shapes.items()}
        )
        if not stage.df:
            nothing = np.full_like(expected, np.nan)
            return nothing, nothing
        safety = self._safety(stage, expected)
        return safety * self.mean_squares[stage.unit] * length, self.df_error[stage.unit]

    def strata_of_row(self, row: Array) -> tuple[str, ...]:
        """Units whose noise a linear function carries."""
        return tuple(
            stage.unit for stage in self.strata.stages if np.any(np.abs(row[stage.places]) > 1e-12)
        )
