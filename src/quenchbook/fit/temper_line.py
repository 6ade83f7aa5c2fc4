"""The temper line: how a response moves with hardness when the temper moves it.

Its slope comes from the units that were tempered together: the temper is the instrument, so the
error of the indents and whatever else moves both responses of one coupon do not enter. A contrast
at equal hardness is then the contrast of ``response - slope * hardness``.

References
----------
Two-stage least squares on unit values; Satterthwaite (1946), Biometrics Bulletin 2:110, and Howe
(1974), JASA 69:789, for sums of mean squares (from memory). Coverage was measured in the project's
simulation lane (.937 to .963 of nominal .95 in 24 plans).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.fit.precision import Precision
from quenchbook.fit.stages import CouponStage
from quenchbook.fit.strata import Strata
from quenchbook.study.terms import Array

SMALLEST_DF_OF_ONE_T: Final = 2
"""With fewer error df of the slope, each part gets its own t (Howe); else .915 to .95."""


@dataclass(frozen=True)
class Estimate:
    """A number with its noise.

    Attributes
    ----------
    estimate : float
    parts : mapping of unit to (float, float)
        Variance and df that each stratum gives to it; several strata weighted as one are joined by
        `` + ``.
    howe : bool
        Whether each part gets its own t in the interval.
    variance : float
        Sum of the parts, times what links them where coupons were lost.
    """

    estimate: float
    parts: Mapping[str, tuple[float, float]]
    variance: float
    howe: bool = False

    @property
    def std_error(self) -> float:
        """Standard error."""
        return math.sqrt(self.variance)

    @property
    def df(self) -> float:
        """Degrees of freedom after Satterthwaite."""
        spread = sum(part**2 / df if df > 0 else math.nan for part, df in self.parts.values())
        total = sum(part for part, _ in self.parts.values())
        return total**2 / spread if spread > 0 else math.nan

    def half(self, probability: float) -> float:
        """Half the width of an interval whose upper limit is passed with `probability`.

        Parameters
        ----------
        probability : float
            0.975 for both limits of a 95 % interval.
        """
        from scipy import special

        if not self.howe:
            return float(special.stdtrit(self.df, probability)) * self.std_error
        total = sum(
            part * float(special.stdtrit(df, probability)) ** 2 for part, df in self.parts.values()
        )
        return math.sqrt(total)

    def limits(self, confidence: float) -> tuple[float, float]:
        """Interval at a confidence, both ends."""
        half = self.half((1 + confidence) / 2)
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, eq=False)
class TemperLine:
    """Slope of the temper line, and what is left of the response once it is taken out.

    Attributes
    ----------
    unit : str
        Stratum the temper was set for.
    slope : Estimate
        Change of the response for one unit of hardness.
    moved : float
        Sum of squares of the hardness that the temper made, over the units.
    instrument : ndarray, shape (coefficients,)
        Row that gives the slope when it meets the coefficients of the response.
    rest : ndarray, shape (coupons,)
        Response less slope times hardness.
    precision : Precision
        Mean squares of `rest`.
    spare : int
        Units of the stratum beyond what its settings need: the df of the slope.
    """

    unit: str
    slope: Estimate
    moved: float
    instrument: Array
    rest: Array
    precision: Precision
    spare: int


def temper_line(strata: Strata, term: str, response: Array, hardness: Array) -> TemperLine:
    """Fit the temper line.

    Parameters
    ----------
    strata : Strata
        Of the coupons that carry both.
    term : str
        Term of the temper.
    response, hardness : ndarray, shape (coupons,)

    Returns
    -------
    TemperLine

    Raises
    ------
    EstimabilityError
        If the temper did not move the hardness at all.
    """
    both = Precision(strata, np.column_stack([response, hardness]))
    place = strata.slices[term]
    gram = _gram(strata, term)
    moves, hardens = both.coefficients[place].T
    moved = float(hardens @ gram @ hardens)
    if not moved > 0:
        raise EstimabilityError(f"{term} did not change the hardness at all.")
    slope = float(hardens @ gram @ moves) / moved
    instrument = np.zeros(strata.coefficient_count)
    instrument[place] = hardens @ gram / moved
    rest = response - slope * hardness
    precision = Precision(strata, rest)
    noise = _estimate(precision, instrument)
    unit = strata.term_stage[term]
    own = Estimate(slope, noise.parts, noise.variance)
    return TemperLine(unit, own, moved, instrument, rest, precision, strata.stage(unit).df)


def line_contrast(line: TemperLine, row: Array, hardness_difference: float) -> Estimate:
    """Contrast at equal hardness.

    Parameters
    ----------
    line : TemperLine
    row : ndarray, shape (coefficients,)
        Contrast, or mean, in the coefficients.
    hardness_difference : float
        Difference in hardness that is taken out.

    Returns
    -------
    Estimate
        Contrast of the rest; its noise is that of the contrast and that of the slope. Where both
        lie in one stratum they share its mean square.
    """
    # `instrument` meets the rest in zero, so it adds nothing to the estimate, only its noise.
    return _estimate(
        line.precision,
        row - hardness_difference * line.instrument,
        howe=line.spare < SMALLEST_DF_OF_ONE_T,
    )


def _estimate(precision: Precision, row: Array, *, howe: bool = False) -> Estimate:
    parts = {
        unit: (float(part[0]), float(df[0])) for unit, (part, df) in precision.parts(row).items()
    }
    estimate, std_error, _ = precision.of(row[None, :])
    return Estimate(
        float(estimate[0, 0]), parts, float(std_error[0, 0]) ** 2, howe and len(parts) > 1
    )


def _gram(strata: Strata, term: str) -> Array:
    """Cross-products of the columns of a term, given all else in its stratum."""
    place = strata.slices[term]
    stage = strata.stage(strata.term_stage[term])
    inside = (stage.places >= place.start) & (stage.places < place.stop)
    if isinstance(stage, CouponStage):
        own = stage.inner_places[inside]
        return np.asarray(np.linalg.inv(stage.inverse[np.ix_(own, own)]))
    rows = stage.rows[inside]
    return np.asarray(np.linalg.inv(rows @ rows.T))


def joint_f(strata: Strata, unit: str, precision: Precision, rows: Array) -> tuple[float, int]:
    """F of several linear functions that lie in one stratum, and how many of them are free.

    Parameters
    ----------
    strata : Strata
    unit : str
        The stratum.
    precision : Precision
    rows : ndarray, shape (functions, coefficients)
    """
    stage = strata.stage(unit)
    weights = rows[:, stage.places]
    if isinstance(stage, CouponStage):
        spread = stage.inverse[np.ix_(stage.inner_places, stage.inner_places)]
    else:
        spread = stage.rows @ stage.rows.T
    covariance = weights @ spread @ weights.T
    count = int(np.linalg.matrix_rank(covariance, hermitian=True))
    values = (rows @ precision.coefficients)[:, 0]
    square = float(values @ np.linalg.pinv(covariance, hermitian=True) @ values)
    return square / count / float(precision.mean_squares[unit][0]), count
