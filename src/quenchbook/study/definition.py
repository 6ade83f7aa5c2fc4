"""A study as it was declared before any steel was cut."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import StudyError, with_suggestion
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import UNIT_WORDS, Factor, Level, plural
from quenchbook.study.publishing import Publishing
from quenchbook.study.room import Room
from quenchbook.study.stock import Stock
from quenchbook.study.trade_questions import TradeQuestion
from quenchbook.units import (
    MINUS,
    NO_BREAK,
    interval_text,
    number_text,
    parse_quantity,
    with_unit,
)

if TYPE_CHECKING:
    import pandas as pd

ResponseKind = Literal["hardness", "impact", "other"]
Scale = Literal["linear", "log"]
PlanKind = Literal["crossed", "fraction", "best"]
Criterion = Literal["D", "I"]
Multiplicity = Literal["each", "together"]


@dataclass(frozen=True)
class Noise:
    """Standard deviations that a plan is judged with, before there are data.

    Attributes
    ----------
    sds : mapping of unit to float
        ``furnace_load``, ``cold_batch``, ``temper_batch``, ``bar``, ``coupon``, ``indent``, on the
        analysed scale (on the log scale the share, 0.1 for 10 %). A unit that is missing is not
        told.
    source : str
        Where the numbers come from, as printed.
    """

    sds: Mapping[str, float]
    source: str = "study.toml"


@dataclass(frozen=True)
class ExpectedPeak:
    """Where the highest value is expected along a factor, and how sharp it is.

    Attributes
    ----------
    factor : str
    place : float
        Where the peak is expected [storage unit of the factor].
    lower_by : float
        How much lower the response is ... [unit of the response]
    away : float
        ... this far from the peak [storage unit of the factor].
    """

    factor: str
    place: float
    lower_by: float
    away: float


@dataclass(frozen=True)
class ForbiddenTreatment:
    """A combination of levels that no coupon may get.

    Attributes
    ----------
    levels : mapping of factor name to level
        Every treatment that has all of these levels is forbidden.
    reason : str
    """

    levels: Mapping[str, Level]
    reason: str = ""


@dataclass(frozen=True)
class ExtraCoupons:
    """Coupons beside those the plan chooses.

    Attributes
    ----------
    key : str
    words : str
        What they are, in print: ``as quenched``.
    coupons : int
        How many, in all.
    levels : mapping of factor name to level
        Fixed levels. With a level for every factor they are a treatment like others and are
        analysed; where a factor is left out they are references: shown, never analysed.
    """

    key: str
    words: str
    coupons: int
    levels: Mapping[str, Level]


@dataclass(frozen=True)
class PlanWish:
    """How the coupon matrix is to be chosen.

    Attributes
    ----------
    kind : str
        ``crossed``: all combinations, spread evenly where they do not fit. ``fraction``: a
        regular fraction of two-level factors. ``best``: chosen by coordinate exchange.
    criterion : str
        For ``best``: ``I`` (average variance of a prediction; curves and peaks) or ``D``
        (all coefficients together; screening).
    response : str
        For ``best``: response whose terms are to be estimated; empty: the first.
    treatments : int
        For ``fraction``: number of treatments, a power of two.
    spare_level : bool
        For ``best``: keep at least one level of each curve more than the curve needs, so that
        a lack of fit can be seen.
    noise_ratios : mapping of unit to float
        For ``best``: variance of a unit over that of a coupon; `USUAL_RATIOS` where left out.
    starts : int
        For ``best``: random starts of the exchange; 0: as many as usual.
    """

    kind: PlanKind = "crossed"
    criterion: Criterion = "I"
    response: str = ""
    treatments: int = 0
    spare_level: bool = True
    noise_ratios: Mapping[str, float] = field(default_factory=dict)
    starts: int = 0


@dataclass(frozen=True)
class Response:
    """One thing that is measured on coupons.

    Attributes
    ----------
    name : str
        Column name, with its unit: ``hardness_hrc``, ``impact_j``.
    quantity : str
        What it is in print: ``hardness``.
    unit : str
        Unit in print: ``HRC``, ``J``, or empty.
    kind : str
        ``hardness``, ``impact`` or ``other``; decides which values are plausible.
    readings : int
        Readings for each coupon (indents for hardness).
    coupons : int
        Number of coupons tested; 0 means all.
    scale : str
        ``linear`` (differences) or ``log`` (ratios).
    equivalence_margin : float or None
        Difference too small to matter [unit]; on the log scale a fraction (0.15 for 15 %).
    combinations : tuple of str or None
        Combinations of factors that are analysed, such as ``austenitize:cold_route``; None for all
        pairs. With few coupons fewer combinations leave more df for noise.
    noise : Noise or None
        Noise told in the study file; None where it is not told.
    expected_peak : ExpectedPeak or None
    units : str
        Units in print, as the study publishes them: ``metric`` or ``both``.
    """

    name: str
    quantity: str
    unit: str = ""
    kind: ResponseKind = "other"
    readings: int = 1
    coupons: int = 0
    scale: Scale = "linear"
    equivalence_margin: float | None = None
    combinations: tuple[str, ...] | None = None
    noise: Noise | None = None
    expected_peak: ExpectedPeak | None = None
    units: PrintedUnits = "metric"

    @property
    def printed(self) -> Printed:
        """How values and differences of the response stand in print."""
        return Printed(self.unit, self.units)

    @property
    def axis_title(self) -> str:
        """Title of an axis: ``Hardness, HRC``."""
        title = self.quantity[:1].upper() + self.quantity[1:]
        return f"{title}, {self.unit}" if self.unit else title


@dataclass(frozen=True)
class Question:
    """A question declared before the data, bound to a comparison or to a test.

    Attributes
    ----------
    key : str
        Short name.
    words : str
        The question as a reader would ask it.
    response : str
        Name of the response.
    factor : str
        Factor whose levels are compared; empty for a question about terms.
    level, against : float or str
        The two levels: the answer is level minus against.
    at : mapping
        Factor name to level where the comparison is made; others are averaged.
    change : mapping
        Factor name to two levels: how the comparison differs between them (first minus second).
    term : str
        Term to be tested, such as ``furnace_temp:coating``; empty for a comparison.
    """

    key: str
    words: str
    response: str
    factor: str = ""
    level: Level = ""
    against: Level = ""
    at: Mapping[str, Level] = field(default_factory=dict)
    change: Mapping[str, tuple[Level, Level]] = field(default_factory=dict)
    term: str = ""


@dataclass(frozen=True)
class Layout:
    """How many units there are and how coupons share them.

    Attributes
    ----------
    furnace_loads, coupons_per_load : int
        Number of loads, coupons in each.
    loads_per_day : int
        Furnace loads on one day; days are blocks. 0: one block.
    coupons_per_temper_batch : int
        Room of the temper oven; 0 when temper batches are not used.
    bars, coupons_per_bar : int
        Bars of steel and coupons cut from each; 0 when not recorded.
    bar_ends : int
        Places at each end of a bar that count as end pieces, to be balanced over treatments;
        0: bars and places are allotted without balance.
    cold_batches_per_load : int
        Groups of a furnace load that go into the cold apart; 0: as the levels need.
    furnace_places : int
        Marked places in the furnace, drawn for each coupon; 0: not recorded.
    """

    furnace_loads: int
    coupons_per_load: int
    loads_per_day: int = 0
    coupons_per_temper_batch: int = 0
    bars: int = 0
    coupons_per_bar: int = 0
    bar_ends: int = 0
    cold_batches_per_load: int = 0
    furnace_places: int = 0


# a temperature, or a range of them, inside a value of an author: 50 degC, -18 °C, 60-70 degF
_NUMBER = rf"[-{MINUS}]?\d+(?:\.\d+)?"
_DEGREES = re.compile(
    rf"(?<![\w.])(?:({_NUMBER})\s*(?:to|[-\u2013])\s*)?({_NUMBER})\s*(?:°|deg)\s?([CF])\b"
)


def _in_both(match: re.Match[str]) -> str:
    """The temperature of the author with the other scale beside it."""
    first, last, letter = match.groups()
    decimals = len(last.partition(".")[2])
    low, high = (parse_quantity(own, "temperature", unit=letter) for own in (first or last, last))
    if letter == "C":
        printed = Printed("degC", "both")
        return printed.place_range(low, high, decimals) if first else printed.place(high, decimals)
    written = f"{first} to {last}" if first else last
    celsius = interval_text(low, high, decimals) if first else number_text(high, decimals)
    return f"{with_unit(written, 'degF')} ({with_unit(celsius, 'degC')})"


def held_words(held: Mapping[str, str], units: PrintedUnits = "metric") -> str:
    r"""What is held constant, in one line.

    >>> held_words({"soak": "15 min", "temper_cycles": "2"})
    'soak 15\xa0min; temper cycles 2'
    """
    parts = (f"{key.replace('_', ' ')} {held_value(text, units)}" for key, text in held.items())
    return "; ".join(parts)


def held_value(text: str, units: PrintedUnits = "metric") -> str:
    r"""Value as it is printed: ``oil, 50 degC`` with the degree sign, number and unit together.

    >>> held_value("oil, 50 degC")
    'oil, 50\xa0°C'
    >>> held_value("oil, 50 degC", "both")
    'oil, 50\xa0°C (122\xa0°F)'
    """
    if units == "both":
        text = _DEGREES.sub(_in_both, text)
    text = re.sub(r"(?<=\d)\s*deg\s?([CF])\b", rf"{NO_BREAK}°\1", text)
    return re.sub(r"(?<=\d) (?=(?:s|min|h|days?|mm)\b)", NO_BREAK, text)


@dataclass(frozen=True, repr=False)
class Study(ShowsItself):
    """The question, the factors, the responses, and what was fixed before the data.

    Attributes
    ----------
    key : str
        Short name, used in file names.
    title, question, author, date, licence : str
        As in the study file; `date` is ISO 8601.
    invented : bool
        Whether the data are simulated.
    factors : tuple of Factor
    responses : tuple of Response
    questions : tuple of Question
    trade_questions : tuple of TradeQuestion
        About curves: peaks, shifts, delays, tempers, equal hardness.
    question_keys : tuple of str
        Keys of all questions in the order of the file, which mixes both kinds.
    layout : Layout
    plan : PlanWish
    forbidden : tuple of ForbiddenTreatment
    extra_coupons : tuple of ExtraCoupons
    steel, equipment, costs : mapping
        Tables of the study file, for reports.
    tester : mapping
        Limits of the testers and how the indents were set, see `study.tester.told_tester`. It is no
        part of the declaration or of the plan.
    stock : Stock or None
        Bars, saw and labels, for the bench; no part of the declaration. None: not told.
    timetable : mapping
        Working hours and times at the bench, see `quenchbook.study.reading_hours`; no part of the
        plan.
    held_constant : mapping
        What is the same for all coupons, in words: ``soak`` to ``15 min``. It stands on the bench
        sheets and is no part of the declaration or of the plan.
    notes : tuple of str
        Sentences for the report, such as the source of published data.
    confidence : float
        Confidence level of intervals.
    multiplicity : str
        ``each``: every question is judged on its own. ``together``: all questions of the study
        share the chance of a false answer (Bonferroni).
    published : bool
        Whether the order of the coupons comes from a publication and not from our randomization.
    order_told : bool
        Whether the publication tells the order of the work; if not, the order of the coupons is
        that of its table and no drift is looked for.
    unit_names : mapping
        Words of this study for units, such as ``furnace_load`` to ``furnace heat``.
    room : Room or None
        Where the cold work is done; None: not told.
    publishing : Publishing
        What reports take from the study file; no part of the declaration or of the plan.
    folder : Path
        Where the study lives.
    """

    key: str
    title: str
    question: str
    author: str
    date: str
    licence: str
    factors: tuple[Factor, ...]
    responses: tuple[Response, ...]
    questions: tuple[Question, ...]
    layout: Layout
    plan: PlanWish = field(default_factory=PlanWish)
    forbidden: tuple[ForbiddenTreatment, ...] = ()
    extra_coupons: tuple[ExtraCoupons, ...] = ()
    invented: bool = False
    steel: Mapping[str, object] = field(default_factory=dict)
    equipment: Mapping[str, object] = field(default_factory=dict)
    costs: Mapping[str, object] = field(default_factory=dict)
    tester: Mapping[str, object] = field(default_factory=dict)
    stock: Stock | None = None
    timetable: Mapping[str, object] = field(default_factory=dict)
    held_constant: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    confidence: float = 0.95
    multiplicity: Multiplicity = "each"
    published: bool = False
    unit_names: Mapping[str, str] = field(default_factory=dict)
    room: Room | None = None
    publishing: Publishing = field(default_factory=Publishing)
    trade_questions: tuple[TradeQuestion, ...] = ()
    order_told: bool = True
    question_keys: tuple[str, ...] = ()
    folder: Path = Path()

    def __post_init__(self) -> None:
        """Let factors and responses print their numbers as the study publishes them."""
        units = self.publishing.units
        factors = tuple(replace(own, units=units) for own in self.factors)
        responses = tuple(replace(own, units=units) for own in self.responses)
        if factors != self.factors:  # frozen: this is part of making the study
            object.__setattr__(self, "factors", factors)
        if responses != self.responses:
            object.__setattr__(self, "responses", responses)

    def factor(self, name: str) -> Factor:
        """Return the factor with this name."""
        for factor in self.factors:
            if factor.name == name:
                return factor
        names = ", ".join(factor.name for factor in self.factors)
        words = f"'{name}' is not a factor of this study. Its factors are {names}."
        raise StudyError(with_suggestion(words, name, [own.name for own in self.factors]))

    def response(self, name: str) -> Response:
        """Return the response with this name."""
        for response in self.responses:
            if response.name == name:
                return response
        names = ", ".join(response.name for response in self.responses)
        words = f"'{name}' is not a response of this study. Its responses are {names}."
        raise StudyError(with_suggestion(words, name, [own.name for own in self.responses]))

    def question_of(self, key: str) -> Question:
        """Return the declared question with this key."""
        for question in self.questions:
            if question.key == key:
                return question
        keys = ", ".join(question.key for question in self.questions) or "none"
        if any(question.key == key for question in self.trade_questions):
            raise StudyError(
                f"'{key}' asks about a curve; here only comparisons and terms can be named: "
                f"{keys}. What the plan can tell of it stands with the plan."
            )
        words = f"There is no question '{key}'. There are {keys}."
        raise StudyError(with_suggestion(words, key, [own.key for own in self.questions]))

    def equivalence_margin(self, response: str) -> float | None:
        """Difference too small to matter, as declared; None when none was declared."""
        return self.response(response).equivalence_margin

    @property
    def order_words(self) -> str:
        """The order that coupons and loads stand in: ``time order``, or that of a table."""
        return "time order" if self.order_told else "the order of the table"

    @property
    def question_confidence(self) -> float:
        """Confidence level at which a single question is judged."""
        count = len(self.questions) + len(self.trade_questions)
        if self.multiplicity == "each" or not count:
            return self.confidence
        return 1 - (1 - self.confidence) / count

    @property
    def references(self) -> tuple[ExtraCoupons, ...]:
        """Extra coupons that are shown and never analysed: some factor is left out for them."""
        return tuple(own for own in self.extra_coupons if self.is_reference(own))

    def is_reference(self, extra: ExtraCoupons) -> bool:
        """Whether extra coupons have no level of a factor that exists for them."""
        return any(
            factor.name not in extra.levels
            for factor in self.factors
            if not factor.nested_in or extra.levels.get(factor.nested_in) in factor.exists_for
        )

    def has(self, name: str) -> bool:
        """Whether the study varies a factor of this name."""
        return any(factor.name == name for factor in self.factors)

    def unit_word(self, unit: str, count: int = 1) -> str:
        """Word of this study for a unit: ``furnace load``, ``furnace heats``."""
        word = self.unit_names.get(unit) or UNIT_WORDS.get(unit) or unit.replace("_", " ")
        return word if count == 1 else plural(word)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each level: ``factor, column, level, unit, set_for``."""
        import pandas as pd

        rows = [
            (own.name, own.column, own.word(level), own.unit, own.set_for)
            for own in self.factors
            for level in own.levels
        ]
        return pd.DataFrame(rows, columns=["factor", "column", "level", "unit", "set_for"])

    def summary(self) -> str:
        """Say the study in words."""
        lines = [self.title, self.question]
        for factor in self.factors:
            levels = ", ".join(factor.word(level) for level in factor.levels)
            often = f", used {' : '.join(map(str, factor.repeats))}" if factor.repeats else ""
            unit = self.unit_word(factor.set_for)
            lines.append(f"{factor.title}: {levels}{often}; set for each {unit}")
        for entry in self.forbidden:
            levels = " with ".join(
                f"{self.factor(name).title} {self.factor(name).word(level)}"
                for name, level in entry.levels.items()
            )
            lines.append(f"never {levels}" + (f": {entry.reason}" if entry.reason else ""))
        for extra in self.extra_coupons:
            kind = "references" if self.is_reference(extra) else "analysed like the others"
            count = f"{extra.coupons} {self.unit_word('coupon', extra.coupons)}"
            lines.append(f"beside the plan: {count} {extra.words} ({kind})")
        if self.held_constant:
            lines.append(f"held constant: {held_words(self.held_constant)}")
        for response in self.responses:
            margin = response.equivalence_margin
            shown = (
                f"{margin:.0%}"
                if margin and response.scale == "log"
                else f"{margin} {response.unit}"
            )
            lines.append(f"{response.quantity}: margin {shown if margin else 'not declared'}")
        return "\n".join([*lines, *(f"Question: {question.words}" for question in self.questions)])

    def shown(self) -> Shown:
        """Title, what of it is still the example of the template, then the study in words."""
        from quenchbook.study.left_from_template import template_words

        words = super().shown()
        return replace(words, notes=(*template_words(self), *words.notes))

    def __repr__(self) -> str:
        return f"<Study {self.key}: {len(self.factors)} factors, {len(self.questions)} questions>"
