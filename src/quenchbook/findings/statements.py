"""Sentences from numbers: number, unit, interval, verdict; never more than the verdict says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from quenchbook.units import NO_BREAK, decimals_for, number_text, with_unit

if TYPE_CHECKING:
    from quenchbook.findings.verdicts import Finding, TermFinding


def percent_text(log_ratio: float, *, sign: bool = True) -> str:
    """Write a log ratio as a change in per cent: ``+12 %``."""
    change = math.expm1(log_ratio) * 100
    decimals = 0 if abs(change) >= 9.5 else 1
    return f"{number_text(change, decimals, sign=sign)}{NO_BREAK}%"


def estimate_text(own: Finding) -> str:
    """Estimate with sign and unit, two digits of its standard error."""
    if own.scale == "log":
        return percent_text(own.estimate)
    return with_unit(number_text(own.estimate, _decimals(own), sign=True), own.unit)


def limits_text(own: Finding, *, inner: bool = False) -> str:
    """Limits of the interval, ``0.69 to 1.19`` or ``−3 % to +12 %``."""
    low, high = (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)
    if own.scale == "log":
        return f"{percent_text(low)} to {percent_text(high)}"
    mixed = low < 0 < high
    texts = [number_text(value, _decimals(own), sign=mixed) for value in (low, high)]
    return f"{texts[0]} to {texts[1]}"


def margin_text(own: Finding) -> str:
    """Margin with its unit."""
    if own.margin is None:
        return ""
    if own.scale == "log":
        return percent_text(own.margin, sign=False)
    return with_unit(f"{own.margin:g}", own.unit)


def interval_words(confidence: float) -> str:
    """``95 % interval``."""
    return f"{confidence * 100:g}{NO_BREAK}% interval"


def _decimals(own: Finding) -> int:
    return decimals_for(own.std_error, own.unit)


def comparison_title(own: Finding) -> str:
    """``dry ice against no cold step``."""
    return f"{own.label} against {own.against}" if own.against else own.label


def comparison_sentence(own: Finding, title: str) -> str:
    """The answer to a comparison.

    Parameters
    ----------
    own : Finding
    title : str
        What was compared, ``dry ice against no cold step``.
    """
    head = f"{_capital(title)}: {own.quantity} {estimate_text(own)}"
    outer = f"{interval_words(own.confidence)} {limits_text(own)}"
    margin = margin_text(own)
    if math.isnan(own.std_error):
        why = "a stratum it needs has no spare units"
        return f"{_capital(title)}: no test is possible, because {why}."
    if own.verdict == "exceeds":
        return f"{head} ({outer}), more than the margin of {margin}."
    if own.verdict == "differs" and own.margin is None:
        return f"{head} ({outer}), a real difference; no margin was declared."
    if own.verdict == "differs":
        open_part = f"whether it is more than the margin of {margin} is not settled"
        return f"{head} ({outer}), a real difference; {open_part}."
    if own.verdict == "slight":
        return f"{head} ({outer}), a real difference, smaller than the margin of {margin}."
    if own.verdict == "equivalent":
        inner = f"{interval_words(2 * own.confidence - 1)} {limits_text(own, inner=True)}"
        return f"{head} ({inner}): any difference is smaller than the margin of {margin}."
    told = f", margin {margin}" if margin else ""
    return f"{head} ({outer}{told}): neither a difference nor its absence was shown."


def what_would_decide(own: Finding) -> str:
    """For an undecided comparison: what a larger study would need."""
    if own.verdict != "undecided" or own.margin is None or math.isnan(own.std_error):
        return ""
    half = (own.inner_high - own.inner_low) / 2
    room = own.margin - abs(own.estimate)
    units = _unit_list(own.strata)
    if room <= 0.15 * own.margin:
        return (
            f"The estimate lies near the margin, so more {units} are needed to tell on which "
            "side of it "
            f"the difference lies."
        )
    times = (half / room) ** 2
    return (
        f"About {_times(times)} as many {units} would settle it if the difference is what it seems."
    )


def _times(factor: float) -> str:
    if factor < 1.15:
        return "1.2 times"
    return f"{factor:.1f} times" if factor < 10 else f"{factor:.0f} times"


def _unit_list(strata: Sequence[str]) -> str:
    words = [word + ("es" if word.endswith("ch") else "s") for word in strata]
    return " and ".join(words) if len(words) < 3 else ", ".join(words[:-1]) + " and " + words[-1]


def p_text(p_value: float) -> str:
    """``p .021``, ``p < .001``."""
    if math.isnan(p_value):
        return "no p value"
    if p_value < 0.001:
        return f"p{NO_BREAK}<{NO_BREAK}.001"
    digits = 2 if p_value >= 0.1 else 3
    return f"p{NO_BREAK}" + f"{p_value:.{digits}f}".removeprefix("0")


def f_text(statistic: float, df: float, df_error: float) -> str:
    """``F(2, 3) 2.75``."""
    error = f"{df_error:.0f}" if abs(df_error - round(df_error)) < 0.05 else f"{df_error:.1f}"
    return f"F({df:.0f},{NO_BREAK}{error}) {statistic:.2f}"


def term_sentence(own: TermFinding) -> str:
    """The answer to a question about a whole term."""
    if math.isnan(own.p_value):
        return (
            f"{_capital(own.label)}: no test is possible, because every {own.stratum} is needed to "
            f"estimate the levels. Two {own.stratum}s for each level make a test possible."
        )
    test = f_text(own.statistic, own.df, own.df_error)
    numbers = f"{test}, {p_text(own.p_value)}, judged on {_unit_list([own.stratum])}"
    interaction = ":" in own.term
    if own.verdict == "differs":
        what = (
            "the effect of one depends on the other"
            if interaction
            else f"{own.quantity} differs between its levels"
        )
        return f"{_capital(own.label)}: {what} ({numbers})."
    what = (
        "that the effect of one depends on the other"
        if interaction
        else f"a difference in {own.quantity} between its levels"
    )
    head = f"{_capital(own.label)}: {what} was not shown ({numbers})."
    return f"{head} This does not show that there is none."


def term_remedy(own: TermFinding, is_batch: bool) -> str:
    """For an undecided term: which units a larger study needs more of."""
    if own.verdict != "undecided":
        return ""
    units = _unit_list([own.stratum])
    inside = ", not more pieces in each" if is_batch else ""
    return f"Only more {units} can settle it{inside}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
