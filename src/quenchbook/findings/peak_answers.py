"""Answers about curves along a furnace setting: peak, its shift, working and target window."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from quenchbook.both_units import Printed
from quenchbook.errors import EstimabilityError
from quenchbook.findings.level_words import held_levels, study_of
from quenchbook.findings.peak_words import (
    OUTCOME_WORDS,
    cubic_words,
    free_shift_words,
    height_words,
    hull_words,
    limits_words,
    peak_estimate_words,
    peak_remedy,
    peak_sentence,
    shape_note,
    shift_limits,
    shift_notes,
    shift_sentence,
    shift_text,
    stretch_words,
    target_sentence,
    window_sentence,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import verdict_of
from quenchbook.fit.coupon_spread import are_unlike, coupon_sds
from quenchbook.fit.fitted_curve import FittedCurve
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peak_height import height_of
from quenchbook.fit.peak_shift import peak_shift
from quenchbook.fit.peaks import PeakPlace, peak_place
from quenchbook.fit.target_window import TargetWindow, target_window
from quenchbook.fit.working_window import WorkingWindow, working_window
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import listed, number_text, unit_text, with_unit

_MIX: Final = "Over an even mix"

WINDOW_ENDS: Final = 2
"""Ends of a window: its sentence is right where both are, so they share its confidence."""


def peak_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> TradeFinding:
    """Where the response is highest, with the height there.

    Parameters
    ----------
    models : mapping of response to MixedModel
    question : TradeQuestion
        With `along`, and `at` for one curve of several.
    """
    model, study = _model_of(models, question)
    place = peak_place(model, question.along, at=question.at, confidence=study.question_confidence)
    return peak_finding(model, study, question, place)


def peak_finding(
    model: MixedModel, study: Study, question: TradeQuestion, place: PeakPlace
) -> TradeFinding:
    """Finding of a fitted peak."""
    response = study.response(question.response)
    who = held_levels(study, question.at)
    try:
        height = height_words(
            height_of(place), response.quantity, response.printed, log=model.scale == "log"
        )
    except EstimabilityError as error:
        height = str(error)
    notes = [*place.notes, *_notes(model, study, question, place.curve)]
    parts = (peak_sentence(place, who, response.quantity), cubic_words(place), height)
    sentence, notes = _with_mix(" ".join(filter(None, parts)), notes)
    own = _frame(model, study, question, place.curve, f"peak, {who}" if who else "peak")
    located = place.outcome in ("inside", "still rising", "falling throughout", "low point")
    return replace(
        own,
        verdict="differs" if located else "undecided",
        outcome=OUTCOME_WORDS.get(place.outcome, place.outcome),
        estimate=place.estimate,
        conf_low=place.conf_low,
        conf_high=place.conf_high,
        df=place.bend.df,
        estimate_words=peak_estimate_words(place),
        limits_words=limits_words(place.curve, place.conf_low, place.conf_high),
        sentence=sentence,
        remedy=peak_remedy(place),
        notes=tuple(filter(None, notes)),
        result=place,
    )


def shift_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> TradeFinding:
    """How far a peak, or a whole curve, lies from that of another level.

    Parameters
    ----------
    models : mapping of response to MixedModel
    question : TradeQuestion
        With `along`, `factor`, `level` and `against`; ``peak_shift`` or ``curve_shift``.
    """
    model, study = _model_of(models, question)
    shift = peak_shift(
        model, question.along, question.factor, question.level, question.against,
        confidence=study.question_confidence,
    )  # fmt: skip
    factor = study.factor(question.factor)
    level, against = factor.named_word(question.level), factor.named_word(question.against)
    ends = (shift.conf_low, shift.conf_high, shift.inner_low, shift.inner_high)
    verdict = verdict_of(*ends, question.margin)
    curves = question.asks == "curve_shift"
    sentence = shift_sentence(
        shift, level, against, curves=curves, margin=question.margin, verdict=verdict
    )
    sentence = f"{sentence} {free_shift_words(shift)}"
    notes = [
        *shift_notes(shift, level, against),
        *_notes(model, study, question, shift.curve, factor),
    ]
    opened = math.isinf(shift.conf_low) or math.isinf(shift.conf_high)
    remedy = ""
    if verdict == "undecided" and opened:
        remedy = f"More {shift.curve.unit_word}, over a wider range, would show the bend it needs."
    elif verdict == "undecided":
        units = listed([model.unit_word(unit, 2) for unit in shift.strata])
        remedy = f"More {units} would narrow it."
    what = "curve" if curves else "peak"
    own = _frame(model, study, question, shift.curve, f"{what} of {level} against {against}")
    estimate = shift.estimate
    return replace(
        own,
        verdict=verdict,
        outcome=_shift_outcome(shift.conf_low, shift.conf_high),
        unit=unit_text(f"delta_{study.factor(question.along).unit}"),
        estimate=estimate,
        conf_low=shift.conf_low,
        conf_high=shift.conf_high,
        df=shift.slope_difference.df,
        strata=tuple(dict.fromkeys([*(model.unit_word(unit) for unit in shift.strata),
                                    *own.strata])),
        estimate_words=shift_text(shift.curve, estimate) if estimate == estimate else "not told",
        limits_words=shift_limits(shift.curve, shift.conf_low, shift.conf_high),
        sentence=sentence,
        remedy=remedy,
        margin=question.margin,
        notes=tuple(notes),
        result=shift,
    )  # fmt: skip


def _shift_outcome(low: float, high: float) -> str:
    if math.isnan(low) or (math.isinf(low) and math.isinf(high)):
        return "not located"
    if math.isinf(high):
        return "no upper limit"
    return "no lower limit" if math.isinf(low) else ""


def shared_confidence(confidence: float, statements: int) -> float:
    """Confidence of each of several statements that are all right with `confidence` (Bonferroni).

    >>> round(shared_confidence(0.95, 2), 4)
    0.975
    """
    return 1 - (1 - confidence) / statements


def working_window_answer(
    models: Mapping[str, MixedModel], question: TradeQuestion
) -> TradeFinding:
    """Where the response is within a difference of its peak.

    The two ends share the confidence of the question: each at its own would leave one sentence in
    fifteen wrong (6.7 % of 150 simulated studies).
    """
    model, study = _model_of(models, question)
    within = question.within or math.nan
    window = working_window(
        model,
        question.along,
        within,
        at=question.at,
        confidence=shared_confidence(study.question_confidence, WINDOW_ENDS),
    )
    response = study.response(question.response)
    who = held_levels(study, question.at)
    size = response.printed.told(within)
    label = f"within {size} of the peak" + (f", {who}" if who else "")
    sentence = window_sentence(
        window, who, response.quantity, response.printed, study.question_confidence
    )
    remedy = "" if window.certain else f"More {window.curve.unit_word} would narrow it."
    return _window_finding(model, study, question, window, label, sentence, remedy)


def target_window_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> TradeFinding:
    """Where a coupon reaches a value nine times in ten.

    The one-sided limits from both sides of both ends share the confidence of the question: each at
    its own would leave one sentence in eight wrong (12.7 % of 150 simulated studies).
    """
    model, study = _model_of(models, question)
    target = question.target or math.nan
    window = target_window(
        model,
        question.along,
        target,
        at=question.at,
        confidence=shared_confidence(study.question_confidence, 2 * WINDOW_ENDS),
    )
    response = study.response(question.response)
    who = held_levels(study, question.at)
    aim = response.printed.told(target)
    label = f"reaches {aim}" + (f", {who}" if who else "")
    coupon = study.unit_word("coupon")
    sentence = target_sentence(
        window, who, response.quantity, response.printed, coupon, study.question_confidence
    )
    remedy = "" if window.certain or not window.possible else (
        f"More {window.curve.unit_word} would narrow it."
    )  # fmt: skip
    own = _window_finding(model, study, question, window, label, sentence, remedy)
    printed = Printed() if model.scale == "log" else response.printed
    note = (
        f"A tolerance limit: standard deviation of a new {coupon} of a new furnace load "
        f"{printed.difference(window.total_sd, 2)} "
        f"({window.total_df:.0f} df), noise of loads, batches and coupons together."
    )
    return replace(own, notes=(note, *own.notes))


def _window_finding(
    model: MixedModel,
    study: Study,
    question: TradeQuestion,
    window: WorkingWindow | TargetWindow,
    label: str,
    sentence: str,
    remedy: str,
) -> TradeFinding:
    curve = window.curve
    low, high = window.not_excluded
    edge = 1e-6 * curve.half
    nowhere = math.isnan(low)
    certain = f"certainly {stretch_words(curve, window.certain)}" if window.certain else (
        "nowhere" if nowhere else "nowhere certain"
    )  # fmt: skip
    whole = not window.certain and not window.excluded
    outcome = "window found" if window.certain else "nowhere certain"
    outcome = "not located" if whole else "not reached" if nowhere else outcome
    own = _frame(model, study, question, curve, label)
    sentence, notes = _with_mix(sentence, _notes(model, study, question, curve))
    return replace(
        own,
        verdict="differs" if window.certain or nowhere else "undecided",
        confidence=study.question_confidence,
        outcome=outcome,
        conf_low=-math.inf if low <= curve.low + edge else low,
        conf_high=math.inf if high >= curve.high - edge else high,
        estimate_words=certain,
        limits_words=f"possibly {hull_words(curve, window.not_excluded)}" if not nowhere else "",
        sentence=sentence,
        remedy=remedy,
        notes=tuple(notes),
        result=window,
    )


# --- what all have in common -------------------------------------------------------------------


def _model_of(
    models: Mapping[str, MixedModel], question: TradeQuestion
) -> tuple[MixedModel, Study]:
    model = models[question.response]
    return model, study_of(model)


def _frame(
    model: MixedModel, study: Study, question: TradeQuestion, curve: FittedCurve, label: str
) -> TradeFinding:
    """Finding with all that does not depend on the answer."""
    return TradeFinding(
        key=question.key,
        question=question.words,
        response=question.response,
        quantity=study.response(question.response).quantity,
        asks=question.asks,
        label=label,
        verdict="undecided",
        outcome="",
        unit=unit_text(study.factor(question.along).unit),
        estimate=math.nan,
        conf_low=math.nan,
        conf_high=math.nan,
        confidence=curve.confidence,
        df=float(curve.unit_df),
        strata=tuple(model.unit_word(unit) for unit in reversed(curve.noise.units)),
        estimate_words="",
        limits_words="",
        sentence="",
    )


def _mixed_word(
    model: MixedModel, study: Study, name: str, held: Mapping[str, tuple[Level, ...]]
) -> str:
    """Factor that was averaged over; where it exists for some of the levels, with these."""
    word = model.term_word(name)
    own = study.factor(name) if study.has(name) else None
    if own is None or own.nested_in not in held:
        return word
    levels = held[own.nested_in]
    found = [study.factor(own.nested_in).word(x) for x in levels if x in own.exists_for]
    if not found:
        return ""
    return word if len(found) == len(levels) else f"{word} with {listed(found)}"


def _with_mix(sentence: str, notes: list[str]) -> tuple[str, list[str]]:
    """Say in the sentence itself what a height or a window was averaged over."""
    mixed = [note for note in notes if note.startswith(_MIX)]
    return " ".join((sentence, *mixed)), [note for note in notes if note not in mixed]


def _notes(
    model: MixedModel,
    study: Study,
    question: TradeQuestion,
    curve: FittedCurve,
    compared: Factor | None = None,
) -> list[str]:
    """Mix, shape, and scatter of coupons at each level."""
    named = {question.along, *question.at, question.factor}
    held: dict[str, tuple[Level, ...]] = {name: (level,) for name, level in question.at.items()}
    if question.factor:
        held[question.factor] = (question.level, question.against)
    mixed = [
        word
        for variable in model.terms.variables
        if variable.name not in named and variable.name not in model.terms.blocks
        if (word := _mixed_word(model, study, variable.name, held))
    ]
    notes = [f"{_MIX} of {', '.join(mixed)}."] if mixed else []
    notes.append(shape_note(curve))
    factors = [compared] if compared else [study.factor(name) for name in question.at]
    for factor in factors:
        if factor.is_numeric:
            continue
        sds = coupon_sds(model, factor.name)
        if len(sds) < 2:
            continue
        response = study.response(question.response)
        printed = Printed() if model.scale == "log" else response.printed
        alone = printed.other is None
        own = ", ".join(
            f"{factor.word(level)} {number_text(sd, 2) if alone else printed.difference(sd, 2)}"
            for level, sd in sds.items()
        )
        sd_words = with_unit("sd", printed.unit) if alone else "sd"
        notes.append(f"Scatter of one {study.unit_word('coupon')} ({sd_words}): {own}.")
        if are_unlike(sds):
            notes.append(
                "These differ by a factor of two or more, and one common scatter is used: "
                "intervals are too narrow for the noisiest and too wide for the quietest."
            )
    return [note for note in notes if note]
