"""Tests of terms and standard errors of contrasts from the mean squares of the strata.

The denominator of a test is the stratum's own mean square: never truncated at zero, never pooled.
Where units have unequal sizes, a safety factor f and an error df after Box keep the level; in
balanced plans f = 1 and the test is the classical F of that stratum. Everything here works on many
responses of one plan at once (simulations), shape (coupons, responses).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.fit.stages import BatchStage, CouponStage
from quenchbook.fit.strata import Strata
from quenchbook.study.terms import Array

UPPER_LIMIT: Final = 0.75
"""Confidence of the upper limit of a unit's variance where a safety factor would fall below one."""

MIXED_DF_POWER: Final = 0.85
"""How far the df of a contrast that mixes strata go from the smallest df to Satterthwaite's."""

NEGLIGIBLE: Final = 1e-24
"""Squared length below which a linear function does not touch a stratum."""

IN_COMMON: Final = 1e-12
"""Share of a squared length below which crossed batches have no part in it.

Where they have none, the form comes out at some 1e-17 of the length, with the sign of the rounding.
"""

WORTH_RECOVERING: Final = 0.95
"""A safety factor is only let below one where it is below this."""


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


@dataclass(frozen=True, eq=False)
class _Piece:
    """Part of a linear function: its stratum, squared length, safety factor, expected variance."""

    unit: str
    length: float
    safety: Array
    expected: Array


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
        centre = y.mean(axis=0)
        self.strata = strata
        self.responses = y.shape[1]
        self.coefficients = np.zeros((strata.coefficient_count, y.shape[1]))
        self.mean_squares: dict[str, Array] = {}
        self.components: dict[str, Array] = {}
        coupon = strata.coupon
        inner, base, square = coupon.solve(y - centre)
        self.coefficients[coupon.places] = inner[coupon.inner_places]
        if not strata.batches:
            self.coefficients[0] = base[0]
        self._keep("coupon", square, coupon.df)
        self.components["coupon"] = np.nan_to_num(self.mean_squares["coupon"])
        for stage in strata.batches:
            values = coupon.crossed_values(stage.unit, inner) if stage.crossed else base
            values = stage.parent_map @ values
            self.coefficients[stage.places] = stage.rows @ values
            residuals = stage.error @ values
            self._keep(stage.unit, np.einsum("ur,ur->r", residuals, residuals), stage.df)
            self.components[stage.unit] = self._component(stage)
        self.coefficients[0] += centre

    def _keep(self, unit: str, square: Array, df: int) -> None:
        self.mean_squares[unit] = square / df if df else np.full(self.responses, np.nan)

    def _component(self, stage: BatchStage) -> Array:
        """Own variance of a unit: its mean square less what finer units explain."""
        if not stage.df:
            return np.zeros(self.responses)
        rest = self.mean_squares[stage.unit].copy()
        for unit, shape in stage.shapes.items():
            if unit != stage.unit and unit in self.components:
                rest -= self.components[unit] * (np.vdot(stage.error, shape) / stage.df)
        own = np.vdot(stage.error, stage.shapes[stage.unit]) / stage.df
        return np.maximum(rest / own, 0.0)

    def _expected(self, weights: Mapping[str, float]) -> Array:
        total = np.zeros(self.responses)
        for unit, weight in weights.items():
            if weight and unit in self.components:
                total = total + weight * self.components[unit]
        return total

    @functools.cached_property
    def df_error(self) -> dict[str, Array]:
        """Error df of each stratum after Box, at most the number of residual dimensions."""
        found = {"coupon": np.full(self.responses, float(self.strata.coupon.df))}
        for stage in self.strata.batches:
            found[stage.unit] = self._box_df(stage) if stage.df else np.zeros(self.responses)
        return found

    def _box_df(self, stage: BatchStage) -> Array:
        units = [unit for unit in stage.shapes if unit in self.components]
        seen = {unit: stage.error @ stage.shapes[unit] for unit in units}
        expected = self._expected({unit: float(np.trace(seen[unit])) for unit in units})
        spread = np.zeros(self.responses)
        for first in units:
            for second in units:
                cross = float(np.vdot(seen[first].T, seen[second]))
                spread = spread + self.components[first] * self.components[second] * cross
        with np.errstate(divide="ignore", invalid="ignore"):
            df = expected**2 / spread
        return np.where(spread > 0, np.minimum(df, stage.df), float(stage.df))

    def expected_weights(self, stage: BatchStage) -> dict[str, float]:
        """Weight of each variance component in the expected mean square of a stratum."""
        return {u: float(np.vdot(stage.error, s)) / stage.df for u, s in stage.shapes.items()}

    def test(self, term: str) -> TermTest | None:
        """F test of one term; None when its stratum has no error df."""
        from scipy import special

        unit = self.strata.term_stage[term]
        stage = self.strata.stage(unit)
        if not stage.df:
            return None
        place = self.strata.slices[term]
        inside = (stage.places >= place.start) & (stage.places < place.stop)
        effect = self.coefficients[place]
        df = len(effect)
        if isinstance(stage, CouponStage):
            own = stage.inner_places[inside]
            gram = np.linalg.inv(stage.inverse[np.ix_(own, own)])
            safety = np.ones(self.responses)
        else:
            rows = stage.rows[inside]
            gram = np.linalg.inv(rows @ rows.T)
            tested = rows.T @ gram @ rows
            weights = {u: float(np.vdot(tested, s)) / df for u, s in stage.shapes.items()}
            safety = self._safety(stage, weights)
        square = np.einsum("ir,ij,jr->r", effect, gram, effect, optimize=True) / df
        df_error = self.df_error[unit]
        with np.errstate(divide="ignore", invalid="ignore"):
            statistic = square / (safety * self.mean_squares[unit])
        p_value = np.asarray(special.fdtrc(df, df_error, statistic))
        return TermTest(term, unit, df, df_error, statistic, p_value, safety)

    def efficiency(self, term: str) -> float:
        """Share of the information on a coupon-level term that lies inside the finest batches.

        1 when every batch holds every level equally; 2/3 for balanced pairs of four levels.
        """
        stage = self.strata.coupon
        place = self.strata.slices[term]
        own = stage.inner_places[(stage.places >= place.start) & (stage.places < place.stop)]
        others = [p for p in stage.inner_places if p not in set(own)]
        raw = stage.columns + (stage.raw_means)[stage.finest]
        raw = raw - raw.mean(axis=0)
        whole, rest = raw[:, own], raw[:, others]
        if others:
            whole = whole - rest @ np.linalg.lstsq(rest, whole, rcond=None)[0]
        inside = np.linalg.inv(stage.inverse[np.ix_(own, own)])
        return float(np.trace(np.linalg.solve(whole.T @ whole, inside)) / len(own))

    def stratum_factor(self, stage: BatchStage | CouponStage, rows: Array) -> Array:
        """Mean expected variance of functions of one stratum over its expected mean square.

        Parameters
        ----------
        stage : BatchStage or CouponStage
        rows : ndarray, shape (functions, units)
            Weights of the unit values; not looked at for coupons, where the factor is one.

        Returns
        -------
        ndarray, shape (responses,)
            One in balanced plans.
        """
        if isinstance(stage, CouponStage):
            return np.ones(self.responses)
        tested = np.linalg.pinv(rows) @ rows
        weights = {u: float(np.vdot(tested, s)) / len(rows) for u, s in stage.shapes.items()}
        return self._safety(stage, weights)

    def _safety(self, stage: BatchStage, weights: Mapping[str, float]) -> Array:
        """Expected square of a term or contrast over the expected mean square of its stratum.

        Above one, it keeps the level where units of a term are less precise than those of its
        error. Well below one, it gives back what would be lost where they are more precise: there
        the own variance of the unit is set to its upper 75 % limit, since its estimate and the mean
        square in the denominator are low together (measured in the demonstration's plan: levels
        .041 to .053 in place of .013 to .050 with a factor that is never below one, and of .044 to
        .066 with the plain ratio). Between 0.95 and 1 it is 1.
        """
        base = self.expected_weights(stage)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = self._expected(weights) / self._expected(base)
        ratio = np.where(np.isfinite(ratio), ratio, 1.0)
        recover = ratio < WORTH_RECOVERING
        ratio = np.where(recover, ratio, np.maximum(ratio, 1.0))
        if not recover.any():
            return ratio
        own = self._upper_component(stage, base)
        low = self._expected(weights) + weights[stage.unit] * (own - self.components[stage.unit])
        high = self._expected(base) + base[stage.unit] * (own - self.components[stage.unit])
        return np.where(recover, low / np.where(high > 0, high, 1.0), ratio)

    def _upper_component(self, stage: BatchStage, base: Mapping[str, float]) -> Array:
        """Upper limit of the own variance of a unit, from its mean square."""
        from scipy import special

        square = stage.df * self.mean_squares[stage.unit] / special.chdtri(stage.df, UPPER_LIMIT)
        finer = self._expected({u: w for u, w in base.items() if u != stage.unit})
        limit: Array = np.maximum((square - finer) / base[stage.unit], 0.0)
        return np.maximum(limit, self.components[stage.unit])

    def of(self, rows: Array) -> tuple[Array, Array, Array]:
        """Estimate, standard error and df of linear functions of the coefficients.

        A function that lies in one stratum uses that stratum's mean square. A function that mixes
        strata (a cell mean, one route at two temperatures) adds the parts, each with its own mean
        square; its df are those of Satterthwaite, drawn a little of the way (in logarithms) to the
        smallest df among the parts. Satterthwaite alone covers .936 to .957 of nominal .95 with
        three or four load df, this .939 to .962 (simulation lane).

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
        df = np.full_like(estimate, np.nan)
        for number, row in enumerate(rows):
            parts = self.parts(row)
            for part, own_df in parts.values():
                variance[number] += part
                spread[number] += part**2 / np.where(own_df > 0, own_df, np.nan)
            with np.errstate(divide="ignore", invalid="ignore"):
                df[number] = np.where(
                    spread[number] > 0, variance[number] ** 2 / spread[number], np.nan
                )
            if len(parts) > 1:
                smallest = np.min([own_df for _, own_df in parts.values()], axis=0)
                df[number] = smallest * (df[number] / smallest) ** MIXED_DF_POWER
                variance[number] *= self._covariance_factor(row)
        return estimate, np.sqrt(variance), df

    def _covariance_factor(self, row: Array) -> Array:
        """Variance of a function at the components, over the sum of the parts of its strata.

        One in balanced plans. Where loads and coupons were lost, the parts of a function that
        mixes strata are correlated.
        """
        weights = self.strata.coupon_weights(row)
        total = float(weights @ weights) * self.components["coupon"]
        for unit, codes in self.strata.codes.items():
            sums = np.bincount(codes, weights)
            total = total + float(sums @ sums) * self.components[unit]
        apart = np.sum([piece.expected for piece in self._pieces(row)], axis=0)
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(apart > 0, total / apart, 1.0)

    def parts(self, row: Array) -> dict[str, tuple[Array, Array]]:
        """Variance and df that each stratum gives to one linear function."""
        found: dict[str, tuple[Array, Array]] = {}
        for piece in self._pieces(row):
            part = piece.safety * self.mean_squares[piece.unit] * piece.length
            if piece.unit in found:
                part = part + found[piece.unit][0]
            found[piece.unit] = (part, self.df_error[piece.unit])
        return found

    def _pieces(self, row: Array) -> list[_Piece]:
        """Parts of one linear function, each with the stratum whose mean square stands for it.

        A mean also carries what the crossed batches of its loads have in common; that part goes
        with the mean square of those batches, not with that of the loads.
        """
        pieces = []
        ones = np.ones(self.responses)
        crossed = [stage.unit for stage in self.strata.batches if stage.crossed]
        for stage in self.strata.stages:
            weights = row[stage.places]
            if isinstance(stage, CouponStage):
                mean = 0.0 if self.strata.batches else float(row[0])
                length = _coupon_length(stage, weights, mean)
                if length > NEGLIGIBLE:
                    expected = length * self.components["coupon"]
                    pieces.append(_Piece(stage.unit, length, ones, expected))
                continue
            combined = weights @ stage.rows
            length = float(combined @ combined)
            if length <= NEGLIGIBLE:
                continue
            carried = {u: float(combined @ s @ combined) for u, s in stage.shapes.items()}
            for unit in [] if stage.crossed else crossed:
                common = carried.pop(unit)
                other = self.strata.stage(unit)
                if common > IN_COMMON * length and isinstance(other, BatchStage) and other.df:
                    expected = common * self._expected(self.expected_weights(other))
                    pieces.append(_Piece(unit, common, ones, expected))
            shares = {u: value / length for u, value in carried.items()}
            safety = self._safety(stage, shares) if stage.df else ones
            pieces.append(_Piece(stage.unit, length, safety, self._expected(carried)))
        return pieces

    def strata_of_row(self, row: Array) -> tuple[str, ...]:
        """Units whose noise a linear function carries."""
        return tuple(self.parts(row))


def _coupon_length(stage: CouponStage, weights: Array, mean: float) -> float:
    """Variance of a function of the coupon stratum for a unit variance of a coupon."""
    inner = np.zeros(len(stage.inverse))
    inner[stage.inner_places] = weights
    inner = inner - mean * stage.carried[0]
    return float(inner @ stage.inverse @ inner) + mean**2 / stage.count
