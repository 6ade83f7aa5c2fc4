"""Which temper gives a wanted value: the answer in words, open where the data set no limit."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError, UnitError
from quenchbook.findings.statements import interval_words
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.tempering import TemperCurve, TemperSet, cubic_beside, temper_curve, temper_set
from quenchbook.metallurgy.tempering import equivalent_temper_c, tempering_parameter
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, plural
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import NO_BREAK, capital, listed, parse_quantity

_TIME_KEYS: Final = ("temper_time", "temper_hold", "temper_hours", "temper_soak")
_MIX: Final = "Over an even mix"
_COUNT_KEYS: Final = ("temper_cycles", "tempers")


@dataclass(frozen=True, eq=False, repr=False)
class _Asked:
    """The question with what words need."""

    study: Study
    question: TradeQuestion
    factor: Factor
    found: TemperSet

    @property
    def curve(self) -> TemperCurve:
        return self.found.curve

    @property
    def wanted(self) -> str:
        """Wanted value: ``60.5 HRC``."""
        return self.study.response(self.question.response).printed.told(self.question.target or 0.0)

    @property
    def range_words(self) -> str:
        """Tempers that were tried: ``150 to 175 °C``."""
        return self.ends(*self.curve.limits)

    @property
    def word(self) -> str:
        """``temper``; a hold keeps its own name."""
        return self.factor.title

    @property
    def where(self) -> str:
        """Where it was asked: ``with dry ice``; empty for the whole study."""
        parts = []
        for name, level in self.question.at.items():
            other = self.study.factor(name)
            route = name == "cold_route"
            parts.append(other.word(level) if route else f"{other.title} {other.word(level)}")
        return f"with {listed(parts)}" if parts else ""

    def place(self, x: float) -> str:
        """A temper in print, whole degrees."""
        if self.factor.dimension == "time":
            return self.factor.word(round(x))
        return self.factor.printed.place(x)

    def ends(self, low: float, high: float) -> str:
        """Two tempers in print, the unit once."""
        if self.factor.dimension == "time":
            return f"{self.place(low)} to {self.place(high)}"
        return self.factor.printed.place_range(low, high)

    def hotter(self) -> str:
        return "longer" if self.factor.dimension == "time" else "hotter"

    def cooler(self) -> str:
        return "shorter" if self.factor.dimension == "time" else "cooler"


def temper_answer(models: Mapping[str, MixedModel], question: TradeQuestion) -> TradeFinding:
    """Answer which temper gives a value.

    Parameters
    ----------
    models : mapping of response to MixedModel
    question : TradeQuestion
        With ``along`` and ``target``.

    Returns
    -------
    TradeFinding
        Its `result` is the `TemperSet`.

    Raises
    ------
    EstimabilityError
        If the study has one temper only, or the noise cannot be told.
    """
    model = models[question.response]
    study, target = model.study, question.target
    if study is None or target is None:
        raise EstimabilityError("Which temper gives a value needs a study and a target.")
    factor = study.factor(question.along)
    judged = replace(model, data=replace(model.data, confidence=study.question_confidence))
    curve = temper_curve(judged, question.along, at=question.at)
    log = model.scale == "log"
    found = temper_set(curve, math.log(target) if log else target)
    asked = _Asked(study, question, factor, found)
    outcome = _outcome(asked)
    settled = found.is_empty or (len(found.pieces) == 1 and np.isfinite(found.pieces[0]).all())
    low, high = _hull(found)
    row = curve.rows([found.estimates[0] if found.estimates else found.nearest])[0]
    units = curve.model.precision.strata_of_row(row)
    return TradeFinding(
        key=question.key,
        question=question.words,
        response=question.response,
        quantity=study.response(question.response).quantity,
        asks=question.asks,
        label=f"{asked.word} for {asked.wanted} {asked.where}".strip(),
        verdict="differs" if settled else "undecided",
        outcome=outcome,
        unit=factor.unit,
        estimate=found.estimates[0] if len(found.estimates) == 1 else math.nan,
        conf_low=low,
        conf_high=high,
        confidence=study.question_confidence,
        df=found.df,
        strata=tuple(curve.model.unit_word(unit) for unit in units),
        estimate_words=" or ".join(asked.place(x) for x in found.estimates) or "none inside",
        limits_words=_limits(asked),
        sentence=f"{_sentence(asked)}{_mix(asked)}",
        remedy="" if settled and not found.is_empty else _remedy(asked),
        notes=_notes(asked),
        result=found,
    )


def _hull(found: TemperSet) -> tuple[float, float]:
    if found.is_empty:
        return math.nan, math.nan
    return found.pieces[0][0], found.pieces[-1][1]


def _outcome(asked: _Asked) -> str:
    found = asked.found
    if found.is_empty:
        return f"no {asked.word} inside"
    if found.is_everything:
        return "not located"
    low, high = _hull(found)
    if len(found.pieces) > 1:
        return "in pieces"
    if math.isinf(low):
        return "no lower limit"
    return "no upper limit" if math.isinf(high) else "inside the range"


def _piece_words(asked: _Asked, piece: tuple[float, float]) -> str:
    low, high = piece
    if math.isinf(low) and math.isinf(high):
        return f"any of {asked.range_words}"
    if math.isinf(low):
        return f"{asked.place(high)} or {asked.cooler()}"
    if math.isinf(high):
        return f"{asked.place(low)} or {asked.hotter()}"
    return asked.ends(low, high)


def _limits(asked: _Asked) -> str:
    if asked.found.is_empty:
        return f"none inside {asked.range_words}"
    return listed([_piece_words(asked, piece) for piece in asked.found.pieces])


def _sentence(asked: _Asked) -> str:
    found, wanted = asked.found, asked.wanted
    where = f" {asked.where}" if asked.where else ""
    level = interval_words(found.curve.model.confidence)
    if found.is_empty:
        return f"No {asked.word} inside {asked.range_words} gives {wanted}{where}: " + _nearest(
            asked
        )
    if found.is_everything:
        estimate = (
            f" (the fitted mean has it at {' and '.join(asked.place(x) for x in found.estimates)})"
            if found.estimates
            else ""
        )
        return (
            f"Which {asked.word} gives {wanted}{where} was not located: none inside "
            f"{asked.range_words} can be excluded{estimate}."
        )
    if not found.estimates:
        return (
            f"The fitted mean{where} does not reach {wanted} inside {asked.range_words}, but "
            f"{_limits(asked)} cannot be excluded ({level})."
        )
    places = " and ".join(asked.place(x) for x in found.estimates)
    many = len(found.estimates) > 1
    head = (
        f"{capital(plural(asked.word))} of {places}{where} give"
        if many
        else f"A {asked.word} of {places}{where} gives"
    )
    tail = ""
    low, high = _hull(found)
    if math.isinf(low) or math.isinf(high):
        side = "lower" if math.isinf(low) else "upper"
        side = "lower or upper" if math.isinf(low) and math.isinf(high) else side
        tail = f"; the data set no {side} limit inside the tried {asked.range_words}"
    return f"{head} {wanted} ({level} {_limits(asked)}){tail}."


def _mix(asked: _Asked) -> str:
    """What was averaged over, as the end of the sentence."""
    return "".join(f" {note}" for note in asked.curve.notes if note.startswith(_MIX))


def _nearest(asked: _Asked) -> str:
    """What the mean is at the end that comes nearest."""
    found, curve = asked.found, asked.curve
    model = curve.model
    row = curve.to_frame([found.nearest]).iloc[0]
    numbers = row[["estimate", "conf_low", "conf_high"]].to_numpy(dtype=float)
    printed = asked.study.response(asked.question.response).printed
    std_error = None if model.scale == "log" else float(row["std_error"])
    if model.scale == "log":
        numbers = np.exp(numbers)
    mean, low, high = map(float, numbers)
    limits = printed.limits(low, high, 1, std_error=std_error)
    side = "above" if found.mean_less_target > 0 else "below"
    return (
        f"the mean is {side} it throughout, nearest at {asked.place(found.nearest)} with "
        f"{printed.difference(mean, 1, std_error=std_error)} "
        f"({interval_words(model.confidence)} {limits})."
    )


def _remedy(asked: _Asked) -> str:
    if asked.found.is_empty:
        return f"What lies outside {asked.range_words} was not tried."
    low, high = _hull(asked.found)
    tries = []
    if math.isinf(low):
        tries.append(f"{asked.cooler()} than {asked.place(asked.curve.limits[0])}")
    if math.isinf(high):
        tries.append(f"{asked.hotter()} than {asked.place(asked.curve.limits[1])}")
    more = "More temper batches and furnace loads narrow it."
    return f"Try {plural(asked.word)} {' and '.join(tries)}. {more}" if tries else more


def _notes(asked: _Asked) -> tuple[str, ...]:
    curve = asked.curve
    notes = [note for note in curve.notes if not note.startswith(_MIX)]
    cubic = cubic_beside(curve)
    if cubic is not None:
        other = _Asked(
            asked.study, asked.question, asked.factor, temper_set(cubic, asked.found.target)
        )
        notes.append(f"With a cubic in place of the planned quadratic: {_limits(other)}.")
    if words := _same_parameter(asked):
        notes.append(words)
    notes.append(
        f"It is the mean that has this value; single {curve.model.unit_word('coupon', 2)} scatter "
        "about it."
    )
    return tuple(notes)


def _same_parameter(asked: _Asked) -> str:
    """Same tempering parameter for twice the hold, where the study tells its hold."""
    hours = _held_hours(asked.study)
    if asked.factor.dimension != "temperature" or hours is None or len(asked.found.estimates) != 1:
        return ""
    place = asked.found.estimates[0]
    parameter = float(tempering_parameter(place, hours))
    units = asked.factor.units
    other = equivalent_temper_c(place, hours, 2 * hours, units=units)
    number = f"{parameter:,.0f}".replace(",", NO_BREAK)
    text = (
        f"Its tempering parameter is {number}{NO_BREAK}K (Hollomon and Jaffe, constant 20, "
        f"{hours:g}{NO_BREAK}h); {2 * hours:g}{NO_BREAK}h have it at "
        f"{asked.place(float(other.value))}, a computed value"
    )
    return text + (f" used {other.flags[0]}." if other.flags else ".")


def _held_hours(study: Study) -> float | None:
    """Hold of all tempers together [h], where it is held constant and told."""
    times = [study.held_constant[key] for key in _TIME_KEYS if key in study.held_constant]
    counts = [study.held_constant[key] for key in _COUNT_KEYS if key in study.held_constant]
    if not times:
        return None
    try:
        hours = parse_quantity(times[0], "time") / 60
        cycles = float(counts[0]) if counts else 1.0
    except (UnitError, ValueError):
        return None
    return hours * cycles if hours > 0 and cycles > 0 else None
