"""What a plan can tell: power of tests, widths of intervals, chance of `equivalent`.

The noise of each unit must be told (from a pilot, or from the noise budget of an earlier study); no
default is taken for a fact. The formulas are those of the default test, evaluated at these
variances, with the error df of its stratum: never a normal approximation.

References
----------
Noncentral F and t distributions through scipy; checked against simulated studies and tables in the
tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.precision import Precision
from quenchbook.fit.stages import CouponStage
from quenchbook.fit.strata import Strata
from quenchbook.study.terms import Array


@dataclass(frozen=True)
class Outlook:
    """What to expect of one comparison.

    Attributes
    ----------
    std_error, df : float
        Expected standard error and its degrees of freedom.
    half_width : float
        Expected half width of the interval.
    power : float
        Chance that the interval excludes zero at the assumed difference.
    equivalence_power : float
        Chance of showing that the difference is inside the margin, at the assumed difference; nan
        without a margin.
    """

    std_error: float
    df: float
    half_width: float
    power: float
    equivalence_power: float = math.nan


class PlannedPrecision(Precision):
    """Precision of a plan at assumed variances, before there are data.

    Parameters
    ----------
    strata : Strata
        From `planned_strata` of a plan.
    variances : mapping of unit to float
        Variance of each unit, and of ``coupon``: that of a coupon value, coupon plus indent over
        the number of indents.
    """

    def __init__(self, strata: Strata, variances: Mapping[str, float]) -> None:
        self.strata = strata
        self.responses = 1
        self.coefficients = np.zeros((strata.coefficient_count, 1))
        units = [stage.unit for stage in strata.stages]
        if missing := [unit for unit in units if unit not in variances]:
            raise EstimabilityError(
                f"The noise of {', '.join(missing)} is not told. Give a variance for each unit."
            )
        self.components = {unit: np.array([float(variances[unit])]) for unit in units}
        self.mean_squares = {"coupon": self.components["coupon"]}
        for stage in strata.batches:
            expected = (
                self._expected(self.expected_weights(stage)) if stage.df else np.array([np.nan])
            )
            self.mean_squares[stage.unit] = expected

    def term_power(self, term: str, effect: Array, *, confidence: float = 0.95) -> float:
        """Chance that the test of a term finds an assumed effect.

        Parameters
        ----------
        term : str
        effect : ndarray, shape (coefficients of the term,)
            Assumed coefficients, in sum-to-zero coding.
        confidence : float

        Returns
        -------
        float
            1 - `confidence` for no effect; nan when the stratum has no error df.
        """
        from scipy import special

        stage = self.strata.stage(self.strata.term_stage[term])
        if not stage.df:
            return math.nan
        place = self.strata.slices[term]
        inside = (stage.places >= place.start) & (stage.places < place.stop)
        df = int(inside.sum())
        if isinstance(stage, CouponStage):
            own = stage.inner_places[inside]
            gram = np.linalg.inv(stage.inverse[np.ix_(own, own)])
            expected, safety = float(self.components["coupon"][0]), 1.0
        else:
            rows = stage.rows[inside]
            gram = np.linalg.inv(rows @ rows.T)
            tested = rows.T @ gram @ rows
            weights = {u: float(np.vdot(tested, s)) / df for u, s in stage.shapes.items()}
            expected = float(self._expected(weights)[0])
            safety = float(self._safety(stage, weights)[0])
        noise = float(self.mean_squares[stage.unit][0])
        effect = np.asarray(effect, dtype=float)
        shift = float(effect @ gram @ effect) / expected
        df_error = float(self.df_error[stage.unit][0])
        bound = safety * noise / expected * float(special.fdtri(df, df_error, confidence))
        if shift == 0.0:
            return float(special.fdtrc(df, df_error, bound))
        return float(1 - special.ncfdtr(df, df_error, shift, bound))

    def outlook(
        self,
        row: Array,
        difference: float,
        *,
        margin: float | None = None,
        confidence: float = 0.95,
    ) -> Outlook:
        """Expected interval, power and chance of equivalence of one contrast.

        Parameters
        ----------
        row : ndarray, shape (coefficients,)
        difference : float
            Assumed true value of the contrast.
        margin : float, optional
            Equivalence margin.
        confidence : float
        """
        from scipy import special

        _, std_error, df = (float(part[0, 0]) for part in self.of(row[None, :]))
        if math.isnan(std_error) or math.isnan(df):
            return Outlook(math.nan, math.nan, math.nan, math.nan)
        bound = float(special.stdtrit(df, (1 + confidence) / 2))
        truth = self.true_error(row)
        shift, scaled = difference / truth, bound * std_error / truth
        power = float(special.nctdtr(df, shift, -scaled) + 1 - special.nctdtr(df, shift, scaled))
        equivalence = math.nan
        if margin is not None:
            inner = float(special.stdtrit(df, confidence)) * std_error
            equivalence = _equivalence_power(difference, truth, df, margin, inner)
        return Outlook(std_error, df, bound * std_error, power, equivalence)

    def true_error(self, row: Array) -> float:
        """Standard deviation of the estimate of a contrast at the assumed variances."""
        weights = self.strata.coupon_weights(row)
        total = float(weights @ weights) * float(self.components["coupon"][0])
        for unit, codes in self.strata.codes.items():
            sums = np.bincount(codes, weights)
            total += float(sums @ sums) * float(self.components[unit][0])
        return math.sqrt(total)


def _equivalence_power(
    difference: float, truth: float, df: float, margin: float, inner: float
) -> float:
    """Chance that both one-sided tests succeed: integrated over the estimated standard error."""
    from scipy import special

    nodes, weights = np.polynomial.legendre.leggauss(200)
    low = math.sqrt(float(special.chdtri(df, 1 - 1e-12)) / df)
    high = math.sqrt(float(special.chdtri(df, 1e-12)) / df)
    ratio = 0.5 * (high - low) * nodes + 0.5 * (high + low)  # estimated over true standard error
    log_density = (
        (df / 2) * math.log(df)
        - (df / 2 - 1) * math.log(2)
        - float(special.gammaln(df / 2))
        + (df - 1) * np.log(ratio)
        - df * ratio**2 / 2
    )
    room = margin - ratio * inner
    inside = special.ndtr((room - difference) / truth) - special.ndtr((-room - difference) / truth)
    chance = np.where(room > 0, inside, 0.0)
    return float(0.5 * (high - low) * np.sum(weights * np.exp(log_density) * chance))
