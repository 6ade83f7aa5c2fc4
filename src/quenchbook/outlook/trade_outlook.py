"""What a plan can tell of the declared questions about curves: peaks, delays and tempers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.fitted_curve import LEAST_DF, one_curvature, polynomial_rows
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.made_by import made_from
from quenchbook.outlook.delay_questions import decade_prospect, half_loss_prospect
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.peak import middle_and_half, peak_numbers
from quenchbook.outlook.peak_chances import PlannedNoise, planned_noise, shift_chances
from quenchbook.outlook.power import PlannedPrecision
from quenchbook.outlook.prepared import planned_precision_of, prepared
from quenchbook.outlook.temper_questions import equal_hardness_prospect, temper_prospect
from quenchbook.outlook.wording import chance_text
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import ExpectedPeak, Noise, Study
from quenchbook.study.factors import Factor
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import capital, number_text, with_unit

ABOUT_PEAKS: Final = ("peak", "working_window", "peak_shift", "curve_shift")
_NUMBERS: Final = (
    "half_width", "bounded", "detectable_shift", "detectable_difference", "equivalence_power",
)  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class TradeOutlook(ShowsItself):
    """What a plan can tell of questions about curves.

    Attributes
    ----------
    table : DataFrame
        ``key, question, asks, half_width, bounded, detectable_shift, detectable_difference,
        equivalence_power, sentence``: approximate half width of the interval (of the place, the
        shift or the change), chance that it has two ends (of a peak: inside the range), the shift
        or the change that 80 % of such studies tell from none, and the chance of showing that a
        change is inside the margin; nan where it is not asked or not told.
    notes : tuple of str
    """

    table: pd.DataFrame
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def sentences(self) -> list[str]:
        """One sentence for each question."""
        return [
            f"{words} {sentence}".strip()
            for words, sentence in zip(self.table["question"], self.table["sentence"], strict=True)
        ]

    def summary(self) -> str:
        """All sentences and notes."""
        return "\n".join([*self.sentences(), *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Questions": self.to_frame()}

    def __repr__(self) -> str:
        return f"<TradeOutlook: {len(self.table)} questions>"


def trade_outlook(
    matrix: CouponMatrix, *, noise: Mapping[str, Noise] | None = None
) -> TradeOutlook:
    """What a plan can tell of its declared questions about curves.

    Parameters
    ----------
    matrix : CouponMatrix
    noise : mapping of response to Noise, optional
        That of the study file, or assumed, when left out.

    Returns
    -------
    TradeOutlook
        One row for each question, in the order of the study file; what cannot be told has the
        reason in place of numbers. Without such a question its table is empty.
    """
    study = matrix.study
    rows = []
    known: dict[str, PlannedNoise] = {}
    for question in study.trade_questions:
        numbers = dict.fromkeys(_NUMBERS, math.nan)
        try:
            found, sentence = _prospect(matrix, question, noise or {}, known)
            numbers |= found
        except EstimabilityError as error:
            sentence = f"Not told: {error}"
        own = {"key": question.key, "question": question.words, "asks": question.asks}
        rows.append({**own, **numbers, "sentence": sentence})
    names = ["key", "question", "asks", *_NUMBERS, "sentence"]
    notes = []
    about_peaks = any(row["asks"] in ABOUT_PEAKS for row in rows)
    for own_response in study.responses:
        if (peak := own_response.expected_peak) is not None and about_peaks:
            at = study.factor(peak.factor).word(peak.place)
            notes.append(f"Expected, not known: a peak of {own_response.quantity} at {at}.")
    return made_from(TradeOutlook(pd.DataFrame(rows, columns=names), tuple(notes)), matrix)


def _prospect(
    matrix: CouponMatrix,
    question: TradeQuestion,
    noise: Mapping[str, Noise],
    known: dict[str, PlannedNoise],
) -> tuple[Mapping[str, float], str]:
    """Numbers and a sentence about one question."""
    told = noise.get(question.response)
    if question.asks == "per_decade":
        return decade_prospect(matrix, question, told)
    if question.asks == "half_loss":
        return half_loss_prospect(matrix, question, told)
    if question.asks == "temper_for":
        return temper_prospect(matrix, question, told)
    if question.asks == "equal_hardness":
        return equal_hardness_prospect(matrix, question, noise)
    if question.asks == "target_window":
        raise EstimabilityError(
            "a window where a value is reached is not planned for; it depends on the level of the "
            "curve, which no plan knows."
        )
    return _outlook(matrix, question, told, known)


def _outlook(
    matrix: CouponMatrix,
    question: TradeQuestion,
    noise: Noise | None,
    known: dict[str, PlannedNoise],
) -> tuple[dict[str, float], str]:
    study = matrix.study
    response = study.response(question.response)
    peak = response.expected_peak
    if peak is None or peak.factor != question.along:
        raise EstimabilityError(
            f"no peak of {response.quantity} along {study.factor(question.along).title} is "
            f"expected in the study file. Write [responses.{response.name}.expected_peak]."
        )
    factor = study.factor(peak.factor)
    strata = prepared(matrix).strata[response.name]
    if factor.shape != "quadratic" or factor.name not in strata.terms.names:
        raise EstimabilityError(f"{factor.title} is not analysed as a quadratic curve.")
    precision, _ = planned_precision_of(matrix, response.name, noise)
    if question.asks in ("peak", "working_window"):
        if response.name not in known:
            known[response.name] = planned_noise(strata, precision)
        return _of_peak(study, strata, known[response.name], peak, factor, question)
    return _of_shift(matrix, strata, precision, peak, factor, question)


def _of_peak(
    study: Study,
    strata: Strata,
    ready: PlannedNoise,
    peak: ExpectedPeak,
    factor: Factor,
    question: TradeQuestion,
) -> tuple[dict[str, float], str]:
    own = peak_numbers(
        strata, ready, peak, factor, question.at, confidence=study.question_confidence
    )
    if not own["df_error"]:
        raise EstimabilityError("no spare units to judge by.")
    width = _width(own["half_width"], factor)
    place = factor.word(peak.place)
    sentence = (
        f"A peak near {place} is located within ±{width}: both ends of the interval inside the "
        f"range in {chance_text(own['bounded'])} of such studies, one end in "
        f"{chance_text(own['one_ended'])}, not located in {chance_text(own['not_located'])}."
    )
    return {"half_width": own["half_width"], "bounded": own["bounded"]}, sentence


def _of_shift(
    matrix: CouponMatrix,
    strata: Strata,
    precision: PlannedPrecision,
    peak: ExpectedPeak,
    factor: Factor,
    question: TradeQuestion,
) -> tuple[dict[str, float], str]:
    study = matrix.study
    pair = {factor.name, question.factor}
    if not any(pair <= set(name.split(":")) for name in strata.terms.names):
        raise EstimabilityError(
            f'"{factor.name}:{question.factor}" is not analysed, so curves are parallel by '
            "assumption."
        )
    mix = strata.terms
    coded = one_curvature(mix, factor.name, question.factor)
    shared = strata_of(tested_coupons(matrix, question.response), coded, tuple(strata.codes))
    variances = {unit: float(own[0]) for unit, own in precision.components.items()}
    planned = PlannedPrecision(shared, variances)
    centre, half = middle_and_half(factor)
    first, second = (
        polynomial_rows(mix, factor.name, {question.factor: level}, centre, half, 2, coded)
        for level in (question.level, question.against)
    )
    rows = np.array([first[1] - second[1], (first[2] + second[2]) / 2])
    ready = planned_noise(shared, planned)
    spare = shared.stage(shared.term_stage[factor.name]).df
    if spare < LEAST_DF or ready.covariance.unknown_units(rows):
        raise EstimabilityError("no spare units to judge by.")
    own = shift_chances(
        ready, rows, -peak.lower_by * (half / peak.away) ** 2, confidence=study.question_confidence,
    )  # fmt: skip
    found = own.detectable * half
    told = (
        f"a shift of {_width(found, factor)} is told from none in 80\u00a0% of such studies"
        if math.isfinite(found)
        else "hardly any shift is told from none"
    )
    sentence = (
        f"{capital(told)}; its interval is about ±{_width(own.half_width * half, factor)}, with "
        f"two ends in {chance_text(own.bounded)} of them."
    )
    numbers = {
        "half_width": own.half_width * half, "bounded": own.bounded, "detectable_shift": found,
    }  # fmt: skip
    return numbers, sentence


def _width(width: float, factor: Factor) -> str:
    return with_unit(number_text(width, 0 if width >= 10 else 1), f"delta_{factor.unit}")
