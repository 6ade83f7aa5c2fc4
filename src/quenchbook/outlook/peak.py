"""How well a plan can locate a peak that is expected somewhere along a curve."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, Problem
from quenchbook.fit.coupon_data import random_units
from quenchbook.fit.fitted_curve import LEAST_DF, polynomial_rows
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.strata import Strata
from quenchbook.made_by import made_from
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.noise import noise_words
from quenchbook.outlook.peak_chances import PlannedNoise, peak_chances, planned_noise
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.outlook.wording import chance_text, size_text
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import ExpectedPeak, Noise, Response
from quenchbook.study.factors import Factor, Level
from quenchbook.study.terms import Array, Terms
from quenchbook.units import number_text, with_unit


@dataclass(frozen=True, eq=False, repr=False)
class PeakOutlook(ShowsItself):
    """What a plan can tell about the place of a peak, for each curve.

    Attributes
    ----------
    table : DataFrame
        ``group`` (blank: all together), ``place`` (where the peak is expected), ``half_width``
        (of its interval, if there is one with two ends), ``bounded`` (chance that both lie inside
        the range), ``one_ended`` and ``not_located`` (chance of one and of none),
        ``shown_inside`` (chance that the peak is shown to lie inside the range), ``df_error``.
    factor : Factor
    response : Response
    notes : tuple of str
    """

    table: pd.DataFrame
    factor: Factor
    response: Response
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def sentences(self) -> list[str]:
        """One sentence for each curve."""
        lines = []
        for row in self.table.to_dict("records"):
            who = f"{row['group']}: " if row["group"] else ""
            place = self.factor.word(row["place"])
            if not row["df_error"]:
                lines.append(f"{who}the peak cannot be located: no spare unit to judge by.")
                continue
            width = _width_text(row["half_width"], self.factor)
            lines.append(
                f"{who}a peak near {place} is located within ±{width}, with both ends of the "
                f"interval inside the range in {chance_text(row['bounded'])} of such studies, one "
                f"end in {chance_text(row['one_ended'])}, not located in "
                f"{chance_text(row['not_located'])} ({number_text(row['df_error'], 0)} df)."
            )
        return [line[:1].upper() + line[1:] for line in lines]

    def summary(self) -> str:
        """Say how well the peak can be located."""
        return "\n".join([*self.sentences(), *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Expected peaks": self.table}

    def __repr__(self) -> str:
        return f"<PeakOutlook of {self.response.name} along {self.factor.name}>"


def peak_outlook(
    matrix: CouponMatrix,
    response: str | None = None,
    *,
    by: str = "",
    expected: ExpectedPeak | None = None,
    noise: Noise | None = None,
    confidence: float | None = None,
) -> PeakOutlook:
    """How well a plan can locate an expected peak.

    The peak of a quadratic is where its slope is zero. Its interval is the set of places where
    the slope cannot be told from zero; near the expected peak its half width is the half width of
    the slope over the expected curvature. It has two ends only where the curvature is
    established. The chances of two, one and no end inside the range are those of drawn studies,
    judged by the test inversion of the analysis (`peak_place`).

    Parameters
    ----------
    matrix : CouponMatrix
    response : str, optional
        The first one with an expected peak when left out.
    by : str
        Factor whose levels have a curve each; all together when left out.
    expected : ExpectedPeak, optional
        That of the study file when left out.
    noise : Noise, optional
    confidence : float, optional

    Returns
    -------
    PeakOutlook

    Raises
    ------
    EstimabilityError
        If no peak is expected, or the factor is not analysed as a quadratic.
    """
    study = matrix.study
    own = _with_peak(matrix, response, expected)
    peak = expected or own.expected_peak
    assert peak is not None
    strata = prepared(matrix).strata[own.name]
    factor = study.factor(peak.factor)
    if factor.shape != "quadratic" or factor.name not in strata.terms.names:
        raise EstimabilityError(
            f"{factor.title} is not analysed as a quadratic curve, so no peak can be located. "
            'Write shape = "quadratic" and enough levels and loads.'
        )
    precision, noise = planned_precision_of(matrix, own.name, noise)
    confidence = confidence or study.confidence
    lowest, highest = min(map(float, factor.levels)), max(map(float, factor.levels))
    if not lowest <= peak.place <= highest:
        raise EstimabilityError(
            f"A peak at {factor.word(peak.place)} lies outside the levels, "
            f"{factor.word(lowest)} to {factor.word(highest)}: no plan with these levels can "
            "locate it. Move the levels."
        )
    ready = planned_noise(strata, precision)
    groups: Sequence[Level | None] = study.factor(by).levels if by else (None,)
    rows = [
        {
            "group": study.factor(by).word(level) if level is not None else "",
            "place": peak.place,
            **peak_numbers(
                strata, ready, peak, factor, {by: level} if level is not None else {},
                confidence=confidence,
            ),
        }
        for level in groups
    ]  # fmt: skip
    units = (*random_units(study, tested_coupons(matrix, own.name)), "coupon")
    drop = size_text(own, peak.lower_by)
    away = with_unit(number_text(peak.away, 0), f"delta_{factor.unit}")
    notes = (
        f"Expected, not known: a peak at {factor.word(peak.place)}, {drop} lower {away} away.",
        f"Noise of {own.quantity}: {noise_words(noise, study, own, units)}.",
    )
    return made_from(PeakOutlook(pd.DataFrame(rows), factor, own, notes), matrix)


def _with_peak(
    matrix: CouponMatrix, response: str | None, expected: ExpectedPeak | None
) -> Response:
    study = matrix.study
    if response is not None:
        own = study.response(response)
        if expected is not None or own.expected_peak is not None:
            return own
    elif expected is not None:
        return study.responses[0]
    else:
        for own in study.responses:
            if own.expected_peak is not None:
                return own
    raise EstimabilityError(
        Problem(
            "study.toml",
            "tells no expected peak",
            "Write below the response, such as [responses.hardness.expected_peak] with "
            'factor = "austenitize", at = "985 degC", lower_by = "1 HRC", away = "45 degC".',
        )
    )


def peak_numbers(
    strata: Strata,
    ready: PlannedNoise,
    peak: ExpectedPeak,
    factor: Factor,
    at: Mapping[str, Level],
    *,
    confidence: float,
) -> dict[str, float]:
    """Half width and chances for one curve of a plan.

    Parameters
    ----------
    strata : Strata
    ready : PlannedNoise
    peak : ExpectedPeak
    factor : Factor
        Along which the peak is expected.
    at : mapping of factor to level
        Whose curve.
    confidence : float

    Returns
    -------
    dict
        ``half_width, bounded, one_ended, not_located, shown_inside, df_error``.
    """
    centre, half = middle_and_half(factor)
    rows = polynomial_rows(strata.terms, factor.name, at, centre, half, 2)
    spare = strata.stage(strata.term_stage[factor.name]).df
    if spare < LEAST_DF or ready.covariance.unknown_units(rows):
        nothing = {"bounded": 0.0, "one_ended": 0.0, "not_located": 1.0, "shown_inside": 0.0}
        return {"half_width": np.nan, **nothing, "df_error": 0.0}
    own = peak_chances(
        ready, rows,
        (peak.place - centre) / half, -peak.lower_by * (half / peak.away) ** 2,
        confidence=confidence,
    )  # fmt: skip
    return {
        "half_width": own.half_width * half,
        "bounded": own.both_ends,
        "one_ended": own.one_end,
        "not_located": own.not_located,
        "shown_inside": own.shown_inside,
        "df_error": own.df,
    }


def middle_and_half(factor: Factor) -> tuple[float, float]:
    """Middle and half of the range of a factor's levels."""
    levels = [float(level) for level in factor.levels]
    return (min(levels) + max(levels)) / 2, (max(levels) - min(levels)) / 2


def peak_rows(
    terms: Terms, factor: str, place: float, by: str = "", level: Level | None = None
) -> tuple[Array, Array]:
    """Weights of the coefficients in the slope and in the second derivative of a curve.

    Parameters
    ----------
    terms : Terms
    factor : str
        Analysed as a quadratic.
    place : float
        Where [storage unit of the factor].
    by : str
        Factor whose curve at `level` is meant; the average curve when left out.
    level : float or str, optional

    Returns
    -------
    slope, bend : ndarray, shape (coefficients,)
        Exact for a quadratic: central differences of any step.
    """
    at: dict[str, Sequence[Level]] = {factor: [place - 1.0, place, place + 1.0]}
    if by and level is not None:
        at[by] = [level]
    rows, _ = mean_rows(terms, [factor], at)
    return (rows[2] - rows[0]) / 2, rows[2] - 2 * rows[1] + rows[0]


def peak_compared(first: PeakOutlook, second: PeakOutlook) -> str:
    """Say what a second plan buys: ``peak located within 12 instead of 19 °C``."""
    before, after = (
        _width_text(float(own.table["half_width"].max()), own.factor) for own in (first, second)
    )
    return f"peak located within ±{after} instead of ±{before}"


def _width_text(width: float, factor: Factor) -> str:
    """Half width of an interval along a factor, in print."""
    return with_unit(number_text(width, 0 if width >= 10 else 1), f"delta_{factor.unit}")
