"""One plain sentence for an answer, as a reader without statistics would want it; hedged."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from quenchbook.findings.equal_hardness_words import TWO_ENDED
from quenchbook.findings.statements import (
    estimate_text,
    f_text,
    interval_words,
    limits_text,
    margin_text,
    no_test_words,
    p_text,
    percent_size,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.units import NO_BREAK, capital, decimals_for, number_text, with_unit

if TYPE_CHECKING:
    from quenchbook.findings.answers import AnyFinding

_NOT_TOLD: Final = ("not located", "no gain shown")
_COULD_NOT: Final = "The study could not tell"
_TAKES: Final = ", and here is what it would take: "


def plain_answer(own: AnyFinding, names: Iterable[str] = ()) -> str:
    """Say an answer in one sentence with number, unit, interval, and no more than its verdict.

    Parameters
    ----------
    own : Finding, TermFinding or TradeFinding
    names : iterable of str
        Words of the study that may hold a full stop, such as names of levels.

    Returns
    -------
    str
        What is equivalent is said as the difference that can be ruled out; what is undecided as
        what the study could not tell, with what it would take.
    """
    if isinstance(own, TermFinding):
        return _of_term(own)
    if isinstance(own, TradeFinding):
        return _of_curve(own, tuple(names))
    if own.asks == "per_decade" and own.verdict not in ("equivalent", "undecided"):
        return first_sentence(own.sentence, names)
    return _of_comparison(own)


def openness(own: AnyFinding) -> int:
    """How much an answer leaves open: nothing (0), a margin or a limit (1), everything (2)."""
    if isinstance(own, TradeFinding):
        if own.verdict == "undecided":
            return 1 if _is_part_told(own) else 2
        return int(own.is_open or (own.verdict == "differs" and own.margin is not None))
    if own.verdict == "undecided":
        return 2
    return int(own.verdict == "differs" and getattr(own, "margin", None) is not None)


def first_sentence(text: str, names: Iterable[str] = ()) -> str:
    """First sentence of a text; a full stop in brackets or inside one of the names ends nothing.

    >>> first_sentence("Peak at 972 °C (sd 1. Of loads). Over a mix.")
    'Peak at 972 °C (sd 1. Of loads).'
    """
    taken = set()
    folded = text.lower()
    for name in {name.lower() for name in names if "." in name}:
        start = folded.find(name)
        while start >= 0:
            taken |= set(range(start, start + len(name)))
            start = folded.find(name, start + 1)
    depth = 0
    for place, letter in enumerate(text[:-2]):
        depth += (letter == "(") - (letter == ")")
        ends = letter == "." and text[place + 1] in " \n" and text[place + 2].isupper()
        if ends and depth == 0 and place not in taken:
            return text[: place + 1]
    return text


def ruled_out_text(own: Finding, *, inner: bool = True) -> str:
    """Smallest difference that an interval rules out, rounded up: ``0.15 HRC``.

    Parameters
    ----------
    own : Finding
        On the linear scale.
    inner : bool
        By the interval of the two one-sided tests (90 %), or by the outer one (95 %).
    """
    low, high = (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)
    decimals = decimals_for(own.std_error, own.unit)
    size = max(abs(low), abs(high))
    # 1e-9: a limit of exactly 0.30 stays 0.30 in binary digits
    size = math.ceil(size * 10**decimals - 1e-9) / 10**decimals
    return with_unit(number_text(size, decimals), own.unit)


def what_it_takes(own: AnyFinding) -> str:
    """What would settle it, as one part of a sentence: to go on after a colon or semicolon."""
    parts, rest = [], own.remedy
    while rest:
        part = first_sentence(rest)
        rest = rest[len(part) :].strip()
        words = part.rstrip(".")
        parts.append(words[:1].lower() + words[1:])
    return "; ".join(parts)


# --- comparisons -------------------------------------------------------------------------------


def _of_comparison(own: Finding) -> str:
    outer = f"{interval_words(own.confidence)} {limits_text(own)}"
    inner = f"{interval_words(2 * own.confidence - 1)} {limits_text(own, inner=True)}"
    size = f"{margin_text(own)} either way" if own.scale == "log" else margin_text(own)
    margin = f"the margin of {size}"
    if math.isnan(own.std_error):
        return f"{_COULD_NOT} {_whether(own)}: {no_test_words(own)}{_remedy_after(own)}."
    if own.verdict == "equivalent":
        return f"We can rule out {_ruled_out(own)} ({inner}; margin {size})."
    if own.verdict == "undecided":
        told = f"; margin {size}" if own.margin is not None else ""
        after = _remedy_after(own)
        if own.margin is None and own.against:
            after = f"; it rules out {_ruled_out(own, inner=False)}"
        return f"{_COULD_NOT} {_whether(own)} ({estimate_text(own)}, {outer}{told}){after}."
    ends = {
        "exceeds": f"({outer}), more than {margin}.",
        "slight": f"({outer}; {inner}), a real difference, smaller than {margin}.",
        "differs": f"({outer}), a real difference; "
        + (
            "no margin was declared."
            if own.margin is None
            else f"whether it is more than {margin} is not settled."
        ),
    }
    return f"{_shown_difference(own)} {ends[own.verdict]}"


def _shown_difference(own: Finding) -> str:
    """``Hardness was 1.27 HRC higher with dry ice than with no cold step``."""
    way = "higher" if own.estimate >= 0 else "lower"
    if own.scale == "log":
        size = f"{percent_size(own.estimate)}{NO_BREAK}%"
    else:
        decimals = decimals_for(own.std_error, own.unit)
        size = with_unit(number_text(abs(own.estimate), decimals), own.unit)
    if not own.against:
        gain, _, levels = own.label.rpartition(", ")
        first, _, second = levels.partition(" compared with ")
        if second and own.label.startswith("gain "):
            way = "larger" if own.estimate >= 0 else "smaller"
            return (
                f"The {gain}, in {own.quantity}, was {size} {way} with {first} than with {second}"
            )
        return f"{capital(own.label)}: {own.quantity} {size} {way}"
    return f"{capital(own.quantity)} was {size} {way} with {own.label} than with {own.against}"


def _ruled_out(own: Finding, *, inner: bool = True) -> str:
    """The difference that is ruled out; of a ratio the loss and the gain."""
    if own.scale != "log":
        size = ruled_out_text(own, inner=inner)
        what = (
            f"{own.quantity} differs by more than {size} between {own.label} and {own.against}"
            if own.against
            else f"the {own.label} is more than {size} of {own.quantity}"
        )
        return f"that {what}"
    loss, gain = _ratio_sides(own, inner=inner)
    if not own.against:
        return f"that the {own.label} is {loss} or {gain} in {own.quantity}"
    return f"that {own.quantity} with {own.label} is {loss} or {gain} than with {own.against}"


def _ratio_sides(own: Finding, *, inner: bool) -> tuple[str, str]:
    """Both sides of a ratio that are ruled out, each rounded away from none."""
    low, high = (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)
    sides = []
    for limit, way in ((min(low, 0.0), "lower"), (max(high, 0.0), "higher")):
        size = abs(math.expm1(limit)) * 100
        decimals = 0 if size >= 9.5 else 1
        size = math.ceil(size * 10**decimals - 1e-9) / 10**decimals
        sides.append(f"more than {number_text(size, decimals)}{NO_BREAK}% {way}")
    return sides[0], sides[1]


def _whether(own: Finding) -> str:
    """What an undecided comparison asked: ``whether hardness differs between A and B``."""
    if not own.against:
        return f"the {own.label}, in {own.quantity}"
    return f"whether {own.quantity} differs between {own.label} and {own.against}"


def _remedy_after(own: AnyFinding) -> str:
    return f"{_TAKES}{what_it_takes(own)}" if own.remedy else ""


# --- terms and curves --------------------------------------------------------------------------


def _of_term(own: TermFinding) -> str:
    parts = own.label.split(" by ")
    pair = ":" in own.term
    if pair and len(parts) == 2:
        said = f"the effect of {parts[0]} on {own.quantity} depends on {parts[1]}"
    elif pair:
        said = f"in {own.quantity}, {own.label}: the effect of one depends on the other"
    else:
        said = f"{own.quantity} differs between levels of {own.label}"
    if math.isnan(own.p_value):
        why = f"no test is possible, because every {own.stratum} is needed to estimate the levels"
        return f"{_COULD_NOT} whether {said}: {why}{_remedy_after(own)}."
    numbers = f"{f_text(own.statistic, own.df, own.df_error)}, {p_text(own.p_value)}"
    if own.verdict == "undecided":
        return f"{_COULD_NOT} whether {said} ({numbers}){_remedy_after(own)}."
    return f"{capital(said)} ({numbers})."


def _of_curve(own: TradeFinding, names: tuple[str, ...]) -> str:
    said = first_sentence(own.sentence, names)
    if own.verdict != "undecided":
        return said
    words = said.rstrip(".")
    if _is_part_told(own):
        return f"{words}; {what_it_takes(own)}." if own.remedy else said
    return f"{_COULD_NOT}: {words[:1].lower() + words[1:]}{_remedy_after(own)}."


def _is_part_told(own: TradeFinding) -> bool:
    """Whether an undecided answer about a curve still sets a limit, or two numbers for one."""
    if own.outcome in _NOT_TOLD:
        return False
    if own.outcome in ("nowhere certain", TWO_ENDED, "in pieces"):
        return True
    return math.isfinite(own.conf_low) != math.isfinite(own.conf_high)
