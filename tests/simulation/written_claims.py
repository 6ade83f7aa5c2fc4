"""What a sentence of a report claims, read from its words and printed numbers as a reader would."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

Span = tuple[float, float]

_NUMBER = r"[+-]?\d+(?:\.\d+)?"
_DURATION = r"(\d+(?:\.\d+)?) (min|h|days|day)"
_MINUTES = {"min": 1.0, "h": 60.0, "day": 1440.0, "days": 1440.0}


def plain(sentence: str) -> str:
    """Sentence with plain spaces and minus signs."""
    return sentence.replace("\u00a0", " ").replace("\u2212", "-")


# --- differences ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Difference:
    """What is claimed of a difference.

    Attributes
    ----------
    real, beyond, smaller : bool
        That there is one; that it is more than the margin; that it is smaller.
    sign : int
        Of the printed estimate or of the side that is named; 0 where none is.
    limits : (float, float)
        Printed interval at the confidence of the question, in the printed unit (per cent for
        ratios); nan where only another is printed.
    """

    real: bool
    beyond: bool
    smaller: bool
    sign: int = 0
    limits: Span = (math.nan, math.nan)


def claimed_difference(sentence: str) -> Difference:
    """Read the sentence about a comparison, a change for each decade or equal hardness."""
    text = plain(sentence)
    own = text.partition("at the same hardness ")[2] or text
    beyond = re.search(r"(?<!whether it is )more than the margin", own) is not None
    real = beyond or re.search(r"a real (difference|change|shift)", own) is not None
    smaller = "smaller than the margin" in own
    sign = _sign(own)
    limits = (math.nan, math.nan)
    if "a difference" not in own.partition("any ")[2] and (
        found := re.search(rf"% interval ({_NUMBER})(?: %)? to ({_NUMBER})", own)
    ):
        first, last = float(found[1]), float(found[2])
        if re.search(r" (costs|adds) ", own):
            limits = (-last, -first) if sign < 0 else (first, last)
        else:
            limits = (first, last)
    if re.search(r"any (difference|change) is smaller", own):
        limits = (math.nan, math.nan)  # the inner interval is printed
    return Difference(real, beyond, smaller, sign, limits)


def _sign(text: str) -> int:
    if " costs " in text or "less tough" in text:
        return -1
    if " adds " in text or "tougher" in text:
        return 1
    found = re.search(rf"({_NUMBER}) ?(?:HRC|J|%)", text)
    return 0 if found is None else (1 if float(found[1]) > 0 else -1 if float(found[1]) < 0 else 0)


def claimed_term(sentence: str) -> Difference:
    """Read the sentence about a whole term."""
    text = plain(sentence)
    real = "was not shown" not in text and (
        "differs between its levels" in text or "the effect of one depends on the other" in text
    )
    return Difference(real, beyond=False, smaller=False)


def total_limits(sentence: str) -> Span:
    """Interval of the total effect in a sentence about equal hardness."""
    return _first(
        rf"in total \(\d[\d.]* % interval ({_NUMBER})(?: %)? to ({_NUMBER})", plain(sentence)
    )


def claimed_ends(sentence: str) -> list[Span]:
    """Intervals at both ends of the common hardness, where no single number is given."""
    text = plain(sentence).partition("no single number is given")[2]
    found = re.findall(rf"at [\d.]+ HRC \(({_NUMBER})(?: %)? to ({_NUMBER})", text)
    return [(float(low), float(high)) for low, high in found]


def _first(pattern: str, text: str) -> Span:
    found = re.search(pattern, text)
    return (math.nan, math.nan) if found is None else (float(found[1]), float(found[2]))


# --- places ---------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """What is claimed of a place: inside these limits; and a side that is named.

    Attributes
    ----------
    limits : (float, float)
        Infinite where nothing is claimed.
    rises_at, falls_from : float
        Where the response is said still to rise or to fall from; nan for neither.
    inside : (float, float)
        Range that the peak is said to lie in, beside its interval; infinite for no such claim.
    nowhere : bool
        That no place inside the tested range has it.
    """

    limits: Span = (-math.inf, math.inf)
    rises_at: float = math.nan
    falls_from: float = math.nan
    inside: Span = (-math.inf, math.inf)
    nowhere: bool = False

    @property
    def says_something(self) -> bool:
        return self != Place()


def _limits(text: str) -> Span:
    """``980 to 996 °C``, ``1010 °C or higher``, ``970 °C or lower``."""
    if found := re.match(rf"({_NUMBER})(?: °C)? or (?:higher|hotter|longer)", text):
        return float(found[1]), math.inf
    if found := re.match(rf"({_NUMBER})(?: °C)? or (?:lower|cooler|shorter)", text):
        return -math.inf, float(found[1])
    if found := re.match(rf"({_NUMBER}) to ({_NUMBER})", text):
        return float(found[1]), float(found[2])
    return -math.inf, math.inf


def claimed_peak(sentence: str) -> Place:
    """Read where a peak is said to be."""
    text = plain(sentence).partition("With a common cubic")[0].partition(" Highest ")[0]
    rises = re.search(rf"still rises at ({_NUMBER}) °C", text)
    falls = re.search(rf"falls from ({_NUMBER}) °C on", text)
    up = float(rises[1]) if rises else math.nan
    down = float(falls[1]) if falls else math.nan
    limits = (-math.inf, math.inf)
    inside = (-math.inf, math.inf)
    if re.search(r"no peak inside", text, re.IGNORECASE):
        limits = (up, math.inf) if rises else (-math.inf, down)
    elif (found := re.search(r"[Pp]eak at [^,(]*, \S+ % interval (.*)", text)) or (
        found := re.search(r"[Pp]eak at (.*)", text)
    ):
        limits = _limits(found[1])
    if "lies below a peak inside it" in text:
        tested = re.search(rf"inside the tested ({_NUMBER}) °C to ({_NUMBER}) °C", text)
        assert tested is not None
        inside = (float(tested[1]), float(tested[2]))
    return Place(limits, up, down, inside)


def claimed_height(sentence: str) -> Span:
    """Interval of the highest value inside the range."""
    return _first(rf"inside the range: {_NUMBER} HRC, ({_NUMBER}) to ({_NUMBER})", plain(sentence))


@dataclass(frozen=True)
class Shift:
    """What is claimed of a shift: verdict and interval, and the interval with own curvatures."""

    verdict: Difference
    limits: Span
    free: Span


def claimed_shift(sentence: str) -> Shift:
    """Read how far a peak is said to move."""
    text, _, second = plain(sentence).partition(" This takes one curvature for all")
    beyond = re.search(r"(?<!whether it is )more than the margin", text) is not None
    up, down = " moves up" in text, " moves down" in text
    real = "a real shift" in text or up or down
    smaller = re.search(r"(?<!more )smaller than the margin", text) is not None
    limits = (-math.inf, math.inf)
    if found := re.search(rf"moves (up|down) by at least ({_NUMBER}) °C", text):
        least = float(found[2])
        limits = (least, math.inf) if found[1] == "up" else (-math.inf, -least)
    elif found := re.search(r"% interval (.*)", text):
        limits = _shift_limits(found[1])
    sign = 1 if limits[0] > 0 or up else -1 if limits[1] < 0 or down else 0
    free = _shift_limits(second.rpartition("flat): ")[2].rpartition("°C, ")[2])
    return Shift(Difference(real, beyond, smaller, sign), limits, free)


def _shift_limits(text: str) -> Span:
    if found := re.match(rf"at least ({_NUMBER}) °C", text):
        return float(found[1]), math.inf
    if found := re.match(rf"at most ({_NUMBER}) °C", text):
        return -math.inf, float(found[1])
    if found := re.match(rf"({_NUMBER}) to ({_NUMBER})", text):
        return float(found[1]), float(found[2])
    return -math.inf, math.inf


@dataclass(frozen=True)
class Window:
    """Stretches that are said to be surely inside, and the one outside of which nothing is.

    Attributes
    ----------
    certain : tuple of (float, float)
    possible : (float, float)
        Empty (nan) where no setting is possible.
    """

    certain: tuple[Span, ...]
    possible: Span


def claimed_window(sentence: str) -> Window:
    """Read a working window or a target window."""
    text = plain(sentence).partition(" Over an even mix")[0]
    spans = rf"{_NUMBER} to {_NUMBER} °C"
    several = rf"{spans}(?:(?:, | and ){spans})*"
    sure = re.search(rf"certainly from ({several})", text)
    maybe = re.search(rf"(?:possibly from|possible is) ({_NUMBER}) to ({_NUMBER}) °C", text)
    certain = (
        tuple(
            (float(low), float(high))
            for low, high in re.findall(rf"({_NUMBER}) to ({_NUMBER}) °C", sure[1])
        )
        if sure
        else ()
    )
    possible = (float(maybe[1]), float(maybe[2])) if maybe else (math.nan, math.nan)
    return Window(certain, possible)


def _minutes(found: tuple[str, str]) -> float:
    return float(found[0]) * _MINUTES[found[1]]


def claimed_half_loss(sentence: str) -> tuple[Span, Span]:
    """Read when half of a gain is said to be lost: with the shape, and without any [min]."""
    text, _, free = plain(sentence).partition(" Without assuming a shape: ")
    return _times(text), _times(free.partition(". ")[0])


def _times(text: str) -> Span:
    text = text.partition(" After ")[0]
    if found := re.search(rf"is lost after {_DURATION} to {_DURATION}", text):
        return _minutes((found[1], found[2])), _minutes((found[3], found[4]))
    if found := re.search(rf"between {_DURATION} and {_DURATION}", text):
        return _minutes((found[1], found[2])), _minutes((found[3], found[4]))
    if found := re.search(
        rf"(?:is lost after|before) {_DURATION}(?: at the latest|, no lower)", text
    ):
        return -math.inf, _minutes((found[1], found[2]))
    if found := re.search(rf"(?:lost after(?: more than)?|later than) {_DURATION}", text):
        return _minutes((found[1], found[2])), math.inf
    return -math.inf, math.inf


def claimed_temper(sentence: str) -> Place:
    """Read which temper is said to give a value."""
    text = plain(sentence)
    if re.match(r"No temper inside", text):
        return Place(nowhere=True)
    if found := re.search(r"gives? [^(]*\(\S+ % interval (.*)", text):
        return Place(_limits(found[1]))
    if found := re.search(r"°C, but (.*) cannot be excluded", text):
        return Place(_limits(found[1]))
    return Place()
