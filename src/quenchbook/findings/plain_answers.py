"""One plain sentence for an answer, as a reader without statistics would want it; hedged."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Final

from quenchbook.both_units import Scale
from quenchbook.findings.equal_hardness_words import TWO_ENDED
from quenchbook.findings.half_loss_words import NO_GAIN_SHOWN, NO_GAIN_TO_LOSE
from quenchbook.findings.statements import (
    df_text,
    estimate_text,
    f_text,
    interval_words,
    limits_text,
    margin_text,
    margin_words,
    no_test_words,
    p_text,
    percent_size,
)
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.study.factors import plural
from quenchbook.units import NO_BREAK, capital, decimals_for, number_text

if TYPE_CHECKING:
    from quenchbook.findings.answers import AnyFinding

_NOT_TOLD: Final = ("not located", NO_GAIN_SHOWN)
_COULD_NOT: Final = "The study could not tell"
_TAKES: Final = ", and here is what it would take: "
_PLAIN_OPENERS: Final = ("A", "Another", "At", "In", "Look", "More", "Only", "The", "To", "Two")
_FEW_SPARE: Final = 2.5  # spare units up to which an answer says how few they are


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
    names = tuple(names)
    if isinstance(own, TermFinding):
        return _of_term(own, names)
    if isinstance(own, TradeFinding):
        return _of_curve(own, names)
    if own.asks == "per_decade" and own.verdict not in ("equivalent", "undecided"):
        return first_sentence(own.sentence, names)
    return _of_comparison(own, names)


def without_preface(sentence: str) -> str:
    """A sentence whose words on what it would take stand there without their preface."""
    return sentence.replace(_TAKES, "; ")


def few_units_words(own: AnyFinding) -> str:
    """``judged on 1 spare run`` where an answer rests on two spare units or fewer; else empty."""
    df = own.df_error if isinstance(own, TermFinding) else own.df
    units = (own.stratum,) if isinstance(own, TermFinding) else own.strata
    if not 0 < df < _FEW_SPARE:
        return ""
    unit = units[0] if len(set(units)) == 1 else "unit"
    about = "" if df_text(df) in ("1", "2") else "about "
    return f"judged on {about}{df_text(df)} spare {unit if df_text(df) == '1' else plural(unit)}"


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
    """Smallest difference that an interval rules out, rounded up in each unit: ``0.15 HRC``.

    Parameters
    ----------
    own : Finding
        On the linear scale.
    inner : bool
        By the interval of the two one-sided tests (90 %), or by the outer one (95 %).
    """
    low, high = _limits(own, inner=inner)
    return _size_up(own, max(abs(low), abs(high)))


def what_it_takes(own: AnyFinding, names: Iterable[str] = ()) -> str:
    """What would settle it, as one part of a sentence: to go on after a colon or semicolon.

    Parameters
    ----------
    own : Finding, TermFinding or TradeFinding
    names : iterable of str
        Words of the study, which keep their capitals and full stops.
    """
    names = tuple(names)
    parts, rest = [], own.remedy
    while rest:
        part = first_sentence(rest, names)
        rest = rest[len(part) :].strip()
        parts.append(_inside_a_sentence(part.rstrip("."), names))
    return "; ".join(parts)


def _inside_a_sentence(words: str, names: Iterable[str]) -> str:
    """A sentence as a part of another: only what has its capital from its place loses it."""
    for name in sorted(filter(None, names), key=len, reverse=True):
        if words.startswith(capital(name)):
            return name + words[len(name) :]
    first = words.split(" ", 1)[0]
    plain = first in _PLAIN_OPENERS or (first.isalpha() and first[1:].islower())
    return words[:1].lower() + words[1:] if plain else words


# --- comparisons -------------------------------------------------------------------------------


def _of_comparison(own: Finding, names: tuple[str, ...]) -> str:
    outer = f"{interval_words(own.confidence)} {limits_text(own)}"
    inner = f"{interval_words(2 * own.confidence - 1)} {limits_text(own, inner=True)}"
    few = f"; {words}" if (words := few_units_words(own)) else ""
    margin = f"the margin of {margin_words(own)}"
    told = f"; margin {_margin_inside(own)}" if own.margin is not None else ""
    if math.isnan(own.std_error):
        return f"{_COULD_NOT} {_whether(own)}: {no_test_words(own)}{_remedy_after(own, names)}."
    if own.verdict == "equivalent":
        up = "rounded up from the " if _is_rounded_up(own) else ""
        return f"We can rule out {_ruled_out(own)} ({up}{inner}{told}{few})."
    if own.verdict == "undecided":
        after = _remedy_after(own, names)
        if own.margin is None and own.against:
            what = _ruled_out(own, inner=False)
            up = " (rounded up)" if _is_rounded_up(own, inner=False) else ""
            after = f"; it rules out {what}{up}" if what else ""
        if math.isnan(own.conf_low) or math.isnan(own.conf_high):
            outer = "limits not known"
        return f"{_COULD_NOT} {_whether(own)} ({estimate_text(own)}, {outer}{told}{few}){after}."
    ends = {
        "exceeds": f"({outer}{few}), more than {margin}.",
        "slight": f"({outer}; {inner}{few}), a real difference, smaller than {margin}.",
        "differs": f"({outer}{few}), a real difference; "
        + (
            "no margin was declared."
            if own.margin is None
            else f"whether it is more than {margin} is not settled."
        ),
    }
    return f"{_shown_difference(own)} {ends[own.verdict]}"


def _margin_inside(own: Finding) -> str:
    """Margin inside brackets: of a ratio its limits follow a comma."""
    return (
        margin_words(own).replace(" (", ", ").rstrip(")")
        if own.scale == "log"
        else (margin_text(own))
    )


def _shown_difference(own: Finding) -> str:
    """``Hardness was 1.27 HRC higher with dry ice than with no cold step``."""
    way = "higher" if own.estimate >= 0 else "lower"
    if own.scale == "log":
        size = f"{percent_size(own.estimate)}{NO_BREAK}%"
    else:
        size = own.printed.difference(abs(own.estimate), std_error=own.std_error)
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


def _limits(own: Finding, *, inner: bool) -> tuple[float, float]:
    return (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)


def _ruled_out(own: Finding, *, inner: bool = True) -> str:
    """The difference that is ruled out; of a ratio the loss and the gain; empty for none."""
    low, high = _limits(own, inner=inner)
    both = math.isfinite(low) and math.isfinite(high)
    if own.scale != "log" and both:
        size = ruled_out_text(own, inner=inner)
        what = (
            f"{own.quantity} differs by more than {size} between {own.label} and {own.against}"
            if own.against
            else f"the {own.label} is more than {size} of {own.quantity}"
        )
        return f"that {what}"
    sides = []
    for limit, way in ((min(low, 0.0), "lower"), (max(high, 0.0), "higher")):
        if math.isfinite(limit):
            size = _percent_up(limit) if own.scale == "log" else _size_up(own, abs(limit))
            sides.append(f"more than {size} {way}")
    if not sides:
        return ""
    told = " or ".join(sides)
    if not own.against:
        return f"that the {own.label} is {told} in {own.quantity}"
    return f"that {own.quantity} with {own.label} is {told} than with {own.against}"


def _size_up(own: Finding, size: float) -> str:
    """Size of a difference in print, rounded up to the digits of its limits in each unit."""
    most = _rounded_up(size, decimals_for(own.std_error, own.unit))

    def words(scale: Scale) -> str:
        decimals = decimals_for(scale.difference(own.std_error), own.unit)
        return number_text(_rounded_up(scale.difference(most), decimals), decimals)

    return own.printed.in_each(words)


def _percent_up(limit: float) -> str:
    """Size of a change in per cent, rounded away from none."""
    size = abs(math.expm1(limit)) * 100
    decimals = 0 if size >= 9.5 else 1
    return f"{number_text(_rounded_up(size, decimals), decimals)}{NO_BREAK}%"


def _rounded_up(size: float, decimals: int) -> float:
    # 1e-9: a limit of exactly 0.30 stays 0.30 in binary digits
    return math.ceil(size * 10.0**decimals - 1e-9) / 10.0**decimals


def _is_rounded_up(own: Finding, *, inner: bool = True) -> bool:
    """Whether a size that is ruled out reads larger, in any unit, than the limit it comes from."""
    low, high = _limits(own, inner=inner)
    if own.scale == "log":
        sides = [side for side in (min(low, 0.0), max(high, 0.0)) if math.isfinite(side)]
        return any(_percent_up(side) != f"{percent_size(side)}{NO_BREAK}%" for side in sides)
    sides = [abs(side) for side in (low, high) if math.isfinite(side)]
    if not sides:
        return False
    nearest = own.printed.difference(max(sides), std_error=own.std_error)
    return _size_up(own, max(sides)) != nearest


def _whether(own: Finding) -> str:
    """What an undecided comparison asked: ``whether hardness differs between A and B``."""
    if not own.against:
        return f"the {own.label}, in {own.quantity}"
    return f"whether {own.quantity} differs between {own.label} and {own.against}"


def _remedy_after(own: AnyFinding, names: tuple[str, ...]) -> str:
    """What would settle it; with a preface where an amount is named."""
    if not own.remedy:
        return ""
    takes = what_it_takes(own, names)
    return f"{_TAKES if 'times as many' in takes else '; '}{takes}"


# --- terms and curves --------------------------------------------------------------------------


def _of_term(own: TermFinding, names: tuple[str, ...]) -> str:
    parts = own.label.split(" by ")
    pair = ":" in own.term
    if pair and len(parts) == 2:
        said = f"the effect of {parts[0]} on {own.quantity} depends on {parts[1]}"
    elif pair:
        said = f"in {own.quantity}, {own.label}: the effect of one depends on the other"
    else:
        said = f"{own.quantity} differs between levels of {own.label}"
    after = _remedy_after(own, names)
    if math.isnan(own.p_value):
        why = f"no test is possible, because every {own.stratum} is needed to estimate the levels"
        return f"{_COULD_NOT} whether {said}: {why}{after}."
    numbers = f"{f_text(own.statistic, own.df, own.df_error)}, {p_text(own.p_value)}"
    numbers += f"; {words}" if (words := few_units_words(own)) else ""
    if own.verdict == "undecided":
        return f"{_COULD_NOT} whether {said} ({numbers}){after}."
    return f"{capital(said)} ({numbers})."


def _of_curve(own: TradeFinding, names: tuple[str, ...]) -> str:
    said = first_sentence(own.sentence, names)
    if own.verdict != "undecided" or own.outcome in (NO_GAIN_SHOWN, NO_GAIN_TO_LOSE):
        return said
    words = said.rstrip(".")
    if _is_part_told(own):
        return f"{words}; {what_it_takes(own, names)}." if own.remedy else said
    inside = _inside_a_sentence(words, names)
    return f"{_COULD_NOT}: {inside}{_remedy_after(own, names)}."


def _is_part_told(own: TradeFinding) -> bool:
    """Whether an undecided answer about a curve still sets a limit, or two numbers for one."""
    if own.outcome in _NOT_TOLD:
        return False
    if own.outcome in ("nowhere certain", TWO_ENDED, "in pieces"):
        return True
    return math.isfinite(own.conf_low) != math.isfinite(own.conf_high)
