"""What a plan can tell about each declared question, at a noise that is told or assumed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.coupon_data import random_units
from quenchbook.fit.strata import Strata
from quenchbook.made_by import made_from
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.noise import noise_words
from quenchbook.outlook.power import PlannedContrast, PlannedPrecision, PlannedTerm
from quenchbook.outlook.prepared import (
    PreparedPlan,
    planned_precision_of,
    prepared,
    same_term,
)
from quenchbook.outlook.wording import size_text, times_in
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.terms import Array
from quenchbook.units import number_text


@dataclass(frozen=True, eq=False)
class QuestionOutlook:
    """What to expect of the answer to one question.

    Attributes
    ----------
    question : Question
    response : Response
    planned : PlannedContrast, PlannedTerm or None
        None where no honest answer is possible; `reason` says why.
    pattern : ndarray or None
        For a question about a term: coefficients at which its outer levels differ by one.
    margin : float or None
        Difference too small to matter, on the analysed scale (natural logarithm where it is log).
    confidence : float
        At which the question is judged.
    target : float
        Power that `detectable_difference` is for.
    reason : str
    """

    question: Question
    response: Response
    planned: PlannedContrast | PlannedTerm | None
    pattern: Array | None
    margin: float | None
    confidence: float
    target: float
    reason: str = ""

    @property
    def strata(self) -> tuple[str, ...]:
        """Units whose noise the answer carries."""
        if isinstance(self.planned, PlannedTerm):
            return (self.planned.unit,)
        return self.planned.strata if self.planned is not None else ()

    @property
    def df_error(self) -> float:
        """Error degrees of freedom; 0 where there is no test."""
        if isinstance(self.planned, PlannedTerm):
            return self.planned.df_error
        return self.planned.df if self.planned is not None else 0.0

    def half_width(self) -> float | None:
        """Expected half width of the interval; None for a term."""
        if isinstance(self.planned, PlannedContrast):
            return self.planned.half_width(self.confidence)
        return None

    def power(self, difference: float) -> float | None:
        """Chance of finding a true difference of this size; None where there is no test."""
        if isinstance(self.planned, PlannedContrast):
            return self.planned.power(difference, confidence=self.confidence)
        if isinstance(self.planned, PlannedTerm) and self.pattern is not None:
            return self.planned.power(difference * self.pattern, confidence=self.confidence)
        return None

    def detectable_difference(self) -> float | None:
        """Smallest true difference that is found with the target power; None without a test."""
        if isinstance(self.planned, PlannedContrast):
            return self.planned.detectable_difference(self.target, confidence=self.confidence)
        if isinstance(self.planned, PlannedTerm) and self.pattern is not None:
            return self.planned.detectable_difference(
                self.pattern, self.target, confidence=self.confidence
            )
        return None

    def equivalence_power(self, difference: float = 0.0) -> float | None:
        """Chance of showing that the difference is inside the margin; None without a margin."""
        if self.margin is None or not isinstance(self.planned, PlannedContrast):
            return None
        return self.planned.equivalence_power(
            self.margin, difference=difference, confidence=self.confidence
        )

    def sentence(self, study: Study) -> str:
        """The outlook in words."""
        if self.planned is None:
            return f"{self.question.words} {self.reason}"
        detectable = self.detectable_difference()
        parts = []
        if (half := self.half_width()) is not None:
            parts.append(f"expected interval ±{self.size_text(half)}")
        if detectable is not None:
            found = f"a difference of {self.size_text(detectable)} is found"
            if self.pattern is not None:
                found = f"outer levels that differ by {self.size_text(detectable)} are told apart"
            parts.append(f"{found} {times_in(self.target)}")
        if (equivalent := self.equivalence_power()) is not None:
            margin = self.size_text(self.margin or 0.0)
            parts.append(
                f"if there is no difference, less than {margin} is shown {times_in(equivalent)}"
            )
        judged = " and ".join(study.unit_word(unit, 2) for unit in self.strata)
        parts.append(f"judged on {judged} ({number_text(self.df_error, 0)} df)")
        return f"{self.question.words} {'; '.join(parts)}."

    def size_text(self, size: float) -> str:
        """A difference in print."""
        return size_text(self.response, size)


@dataclass(frozen=True, eq=False, repr=False)
class PlanOutlook(ShowsItself):
    """What a plan can tell about every declared question.

    Attributes
    ----------
    study : Study
    answers : tuple of QuestionOutlook
        In the order of the study file.
    noise : mapping of response to Noise
        What it was judged with.
    target : float
        Power that detectable differences are for.
    notes : tuple of str
        The noise with its source, first.
    """

    study: Study
    answers: tuple[QuestionOutlook, ...]
    noise: Mapping[str, Noise]
    target: float
    notes: tuple[str, ...] = ()

    def answer(self, key: str) -> QuestionOutlook:
        """Return the outlook of the question with this key."""
        for own in self.answers:
            if own.question.key == key:
                return own
        keys = [own.question.key for own in self.answers]
        words = f"There is no question '{key}'. There are {', '.join(keys)}."
        raise EstimabilityError(with_suggestion(words, key, keys))

    def to_frame(self) -> pd.DataFrame:
        """Return the numbers, on the analysed scale.

        Returns
        -------
        DataFrame
            ``key, question, response, strata, df_error, half_width, detectable_difference,
            margin, power_at_margin, equivalence_power, reason``; blank where there is no test.
        """
        rows = []
        for own in self.answers:
            at_margin = own.power(own.margin) if own.margin is not None else None
            rows.append(
                {
                    "key": own.question.key,
                    "question": own.question.words,
                    "response": own.response.name,
                    "strata": " + ".join(own.strata),
                    "df_error": own.df_error,
                    "half_width": own.half_width(),
                    "detectable_difference": own.detectable_difference(),
                    "margin": own.margin,
                    "power_at_margin": at_margin,
                    "equivalence_power": own.equivalence_power(),
                    "reason": own.reason,
                }
            )
        return pd.DataFrame(rows)

    def summary(self) -> str:
        """Say for each question what the plan can tell."""
        return "\n".join([*(own.sentence(self.study) for own in self.answers), *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Questions": self.to_frame()}

    def __repr__(self) -> str:
        told = sum(own.planned is not None for own in self.answers)
        return f"<PlanOutlook of {self.study.key}: {told} of {len(self.answers)} questions>"


def question_outlooks(
    matrix: CouponMatrix,
    *,
    noise: Mapping[str, Noise] | None = None,
    power: float = 0.8,
    indent_correlation: float = 0.0,
) -> PlanOutlook:
    """What a plan can tell about every declared question, if everything goes as planned.

    Parameters
    ----------
    matrix : CouponMatrix
    noise : mapping of response to Noise, optional
        From `measured_noise` of a pilot or of earlier studies; what is left out is taken from
        the study file or assumed, and the notes say so.
    power : float
        Power that the detectable differences are for.
    indent_correlation : float
        Correlation of nearby indents of a coupon.

    Returns
    -------
    PlanOutlook
        A question that the plan cannot answer has a reason in place of numbers.
    """
    study, told = matrix.study, dict(noise or {})
    precisions: dict[str, PlannedPrecision] = {}
    reasons: dict[str, str] = {}
    notes = []
    ready = prepared(matrix)
    if unknown := [name for name in told if name not in {own.name for own in study.responses}]:
        study.response(unknown[0])  # says which responses there are
    for response in study.responses:
        try:
            precision, own = planned_precision_of(
                matrix,
                response.name,
                told.get(response.name),
                indent_correlation=indent_correlation,
            )
        except EstimabilityError as error:
            reasons[response.name] = str(error)
            continue
        precisions[response.name], told[response.name] = precision, own
        units = random_units(study, tested_coupons(matrix, response.name))
        words = noise_words(own, study, response, (*units, "coupon"))
        notes.append(f"Noise of {response.quantity}: {words}.")
    answers = tuple(
        _question_outlook(study, question, ready, precisions, reasons, power)
        for question in study.questions
    )
    rough = [
        own.question.words
        for own in answers
        if isinstance(own.planned, PlannedContrast) and own.planned.is_rough
    ]
    if rough:
        notes.append(
            "Unequal units, or few df of several kinds of unit: by formula only roughly, so count "
            f"in simulated studies: {' '.join(rough)}"
        )
    if not study.questions and not study.trade_questions:
        notes.append("No question is declared in the study file.")
    return made_from(PlanOutlook(study, answers, told, power, tuple(notes)), matrix)


def _question_outlook(
    study: Study,
    question: Question,
    ready: PreparedPlan,
    precisions: Mapping[str, PlannedPrecision],
    reasons: Mapping[str, str],
    target: float,
) -> QuestionOutlook:
    response = study.response(question.response)
    margin = response.equivalence_margin
    if margin is not None and response.scale == "log":
        margin = math.log1p(margin)
    planned: PlannedContrast | PlannedTerm | None = None
    pattern = None
    reason = reasons.get(question.response, "") or ready.lost[question.key]
    if not reason:
        precision, strata = precisions[question.response], ready.strata[question.response]
        if question.term:
            term = same_term(question.term, strata.terms.names)
            planned, pattern = precision.term(term), outer_levels(strata, term)
            margin = None
        else:
            planned = precision.contrast(ready.rows[question.key])
        reason = "" if planned is not None else _no_spare(study, question, strata)
    return QuestionOutlook(
        question, response, planned, pattern, margin, study.question_confidence, target, reason
    )


def _no_spare(study: Study, question: Question, strata: Strata) -> str:
    """Which unit has no error df, and what would help."""
    names = question.term.split(":") if question.term else [question.factor, *question.at]
    units = [
        strata.term_stage[term]
        for term in strata.slices
        if set(term.split(":")) <= set(names) and not strata.stage(strata.term_stage[term]).df
    ]
    unit = study.unit_word(units[0]) if units else "unit"
    return (
        f"No honest answer: every {unit} is needed to estimate the levels, none is spare to "
        f"judge by. More of them make a test possible: two for each level, and one for each day."
    )


def outer_levels(strata: Strata, term: str) -> Array:
    """Coefficients of a term at which its outer levels differ by one and the others lie between.

    For a combination of factors: the difference between outer levels of one changes by one
    between the outer levels of the other.
    """
    pattern: Array = np.ones(1)
    for name in term.split(":"):
        place = strata.slices.get(name)
        variable = strata.terms.variable(name)
        width = place.stop - place.start if place is not None else len(variable.levels) - 1
        own = np.zeros(width)
        own[0] = 0.5
        pattern = np.asarray(np.kron(pattern, own), dtype=np.float64)
    width = strata.slices[term].stop - strata.slices[term].start
    if len(pattern) != width:  # a factor that exists only inside another one
        pattern = np.zeros(width)
        pattern[0] = 0.5
    # A curve runs from -1 to 1 and levels from +0.5 to -0.5 with these weights: both differ by 1.
    return pattern
