"""Sentences from numbers: number, unit, interval, verdict; never more than the verdict says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.findings.verdicts import INNER_VERDICTS, Finding
from quenchbook.study.factors import plural
from quenchbook.units import NO_BREAK, capital, difference_unit, listed, number_text

if TYPE_CHECKING:
    from quenchbook.findings.verdicts import TermFinding

POWER: Final = 0.8
_HOPELESS: Final = 20.0  # times the units from which no larger study of this layout is sensible
_ENOUGH: Final = 1.1


def percent_text(log_ratio: float, *, sign: bool = True) -> str:
    """Write a log ratio as a change in per cent: ``+12 %``."""
    if math.isinf(log_ratio):
        return "no limit"
    change = math.expm1(log_ratio) * 100
    decimals = 0 if abs(change) >= 9.5 else 1
    return f"{number_text(change, decimals, sign=sign)}{NO_BREAK}%"


def percent_size(log_ratio: float) -> str:
    """Size of a change in per cent, without sign and unit: ``12``."""
    size = abs(math.expm1(log_ratio)) * 100
    return number_text(size, 0 if size >= 9.5 else 1)


def change_text(
    value: float,
    std_error: float,
    *,
    is_ratio: bool,
    unit: str,
    units: PrintedUnits = "metric",
) -> str:
    """Difference with sign and unit, two digits of its standard error; a ratio in per cent."""
    if is_ratio:
        return percent_text(value)
    printed = Printed(difference_unit(unit), units)
    return printed.difference(value, std_error=std_error, sign=True)


def change_limits(
    low: float,
    high: float,
    std_error: float,
    *,
    is_ratio: bool,
    unit: str,
    units: PrintedUnits = "metric",
) -> str:
    """Limits of a difference, signed where they differ in it; of a ratio ``−27 % to +20 %``."""
    if math.isnan(low) or math.isnan(high):
        return "limits not known"
    if is_ratio:
        return f"{percent_text(low)} to {percent_text(high)}"
    printed = Printed(difference_unit(unit), units)
    return printed.limits(low, high, std_error=std_error, sign=low < 0 < high)


def estimate_text(own: Finding) -> str:
    """Estimate with sign and unit, two digits of its standard error."""
    ratio = own.scale == "log"
    return change_text(own.estimate, own.std_error, is_ratio=ratio, unit=own.unit, units=own.units)


def limits_text(own: Finding, *, inner: bool = False) -> str:
    """Limits of the interval, ``0.69 to 1.19`` or ``−3 % to +12 %``."""
    low, high = (own.inner_low, own.inner_high) if inner else (own.conf_low, own.conf_high)
    ratio = own.scale == "log"
    return change_limits(low, high, own.std_error, is_ratio=ratio, unit=own.unit, units=own.units)


def both_limits_text(own: Finding) -> str:
    """Both intervals with their levels, ``95 % −0.16 to +0.18; 90 % −0.13 to +0.15``.

    For the verdicts that are judged on the inner interval: `slight` and `equivalent`.
    """
    alone = own.scale == "log" or own.printed.other is None  # else a line breaks between units
    parts = [
        f"{confidence_words(level)}{NO_BREAK}{limits.replace(' ', NO_BREAK) if alone else limits}"
        for level, limits in (
            (own.confidence, limits_text(own)),
            (2 * own.confidence - 1, limits_text(own, inner=True)),
        )
    ]
    return "; ".join(parts)


def shown_limits(own: Finding) -> str:
    """Interval of a finding; both, each with its level, where the inner one decides."""
    if math.isnan(own.conf_low) or math.isnan(own.conf_high):
        return "limits not known"
    return both_limits_text(own) if own.verdict in INNER_VERDICTS else limits_text(own)


def margin_text(own: Finding) -> str:
    """Margin with its unit."""
    if own.margin is None:
        return ""
    if own.scale == "log":
        return percent_text(own.margin, sign=False)
    return own.printed.told(own.margin)


def margin_words(own: Finding) -> str:
    """Margin with its unit; of a ratio both limits: ``15 % either way (−13 % to +15 %)``."""
    text = margin_text(own)
    if own.margin is None or own.scale != "log":
        return text
    return f"{text} either way ({percent_text(-own.margin)} to {percent_text(own.margin)})"


def interval_words(confidence: float) -> str:
    """``95 % interval``."""
    return f"{confidence_words(confidence)} interval"


def confidence_words(confidence: float) -> str:
    """``95 %``, with the digits that a shared level needs: ``99.76 %``."""
    return f"{round(confidence * 100, 2):g}{NO_BREAK}%"


def comparison_title(own: Finding) -> str:
    """Say what was compared: ``dry ice against no cold step``."""
    return f"{own.label} against {own.against}" if own.against else own.label


def comparison_sentence(own: Finding, title: str) -> str:
    """The answer to a comparison.

    Parameters
    ----------
    own : Finding
    title : str
        What was compared, ``dry ice against no cold step``.
    """
    head = f"{capital(title)}: {own.quantity} {estimate_text(own)}"
    outer = f"{interval_words(own.confidence)} {limits_text(own)}"
    inner = f"{interval_words(2 * own.confidence - 1)} {limits_text(own, inner=True)}"
    margin = f"the margin of {margin_words(own)}"
    if math.isnan(own.std_error):
        return f"{capital(title)}: {no_test_words(own)}."
    if own.verdict == "exceeds":
        return f"{head} ({outer}), more than {margin}."
    if own.verdict == "differs" and own.margin is None:
        return f"{head} ({outer}), a real difference; no margin was declared."
    if own.verdict == "differs":
        open_part = f"whether it is more than {margin} is not settled"
        return f"{head} ({outer}), a real difference; {open_part}."
    if own.verdict == "slight":
        return f"{head} ({outer}; {inner}), a real difference, smaller than {margin}."
    if own.verdict == "equivalent":
        return f"{head} ({inner}): any difference is smaller than {margin}."
    told = f"; margin {margin_words(own)}" if own.margin is not None else ""
    return f"{head} ({outer}{told}): neither a difference nor its absence was shown."


def no_test_words(own: Finding) -> str:
    """Why there is no test: the units that the settings use up, in words of the study."""
    units = " or ".join(own.strata) or "unit"
    return f"no test is possible, because there is no spare {units} to judge by"


def what_would_decide(own: Finding) -> str:
    """For an undecided comparison: what a larger study would need.

    Only margin and standard error count, never the estimate: with the units of this study the
    standard error of a study `n` times as large is smaller by the square root of `n`, and a
    difference of the margin is told from none with 80 % power when it is `t(confidence)` plus
    `t(0.80)` standard errors. The df are kept, which asks for a little too much.
    """
    from scipy import special

    margin = own.margin
    if own.verdict == "undecided" and math.isnan(own.std_error) and own.strata:
        return f"More {unit_list(own.strata)} for each level make a test possible."
    if own.verdict != "undecided" or margin is None or not own.std_error > 0 or not own.df > 0:
        return ""
    needed = float(
        special.stdtrit(own.df, (1 + own.confidence) / 2) + special.stdtrit(own.df, POWER)
    )
    times = (needed * own.std_error / margin) ** 2
    if times > _HOPELESS:
        return "The interval is far wider than the margin; this layout cannot answer it."
    if times <= _ENOUGH:
        return (
            "A study of this size finds a difference of the margin about "
            f"{POWER * 10:.0f} times in 10, if there is one; this time it did not tell. Another of "
            "the same size may."
        )
    number = f"{times:.1f}" if times < 10 else f"{times:.0f}"
    return (
        f"To tell a difference of {margin_text(own)} from none with {confidence_words(POWER)} "
        f"power takes about {number} times as many {unit_list(own.strata)}."
    )


def unit_list(words: Sequence[str]) -> str:
    """Units as people list them: ``furnace loads, cold batches and coupons``."""
    return listed([plural(word) for word in words])


def p_text(p_value: float) -> str:
    """Write a p value in a sentence: ``p = .021``, ``p < .001``."""
    if math.isnan(p_value):
        return "no p value"
    text = p_value_text(p_value)
    return f"p{NO_BREAK}{text}" if text.startswith("<") else f"p{NO_BREAK}={NO_BREAK}{text}"


def p_value_text(p_value: float) -> str:
    """A p value alone, for a column that is headed p: ``.021``, ``< .001``."""
    if math.isnan(p_value):
        return "no p value"
    if p_value < 0.001:
        return f"<{NO_BREAK}.001"
    return f"{p_value:.{2 if p_value >= 0.1 else 3}f}".removeprefix("0")


def df_text(df: float) -> str:
    """Degrees of freedom: whole where they are, else with one decimal."""
    return f"{df:.0f}" if abs(df - round(df)) < 0.05 else f"{df:.1f}"


def f_text(statistic: float, df: float, df_error: float) -> str:
    """Write an F value with its degrees of freedom: ``F(2, 3) = 2.75``."""
    return f"F({df_text(df)},{NO_BREAK}{df_text(df_error)}) = {statistic:.2f}"


def term_sentence(own: TermFinding) -> str:
    """The answer to a question about a whole term."""
    if math.isnan(own.p_value):
        return (
            f"{capital(own.label)}: no test is possible, because every {own.stratum} is needed to "
            f"estimate the levels. Two {plural(own.stratum)} for each level make a test possible."
        )
    test = f_text(own.statistic, own.df, own.df_error)
    numbers = f"{test}, {p_text(own.p_value)}, judged on {plural(own.stratum)}"
    interaction = ":" in own.term
    if own.verdict == "differs":
        what = (
            "the effect of one depends on the other"
            if interaction
            else f"{own.quantity} differs between its levels"
        )
        return f"{capital(own.label)}: {what} ({numbers})."
    what = (
        "that the effect of one depends on the other"
        if interaction
        else f"a difference in {own.quantity} between its levels"
    )
    head = f"{capital(own.label)}: {what} was not shown ({numbers})."
    return f"{head} This does not show that there is none."


def term_remedy(own: TermFinding, is_batch: bool) -> str:
    """For an undecided term: which units a larger study needs more of."""
    if own.verdict != "undecided":
        return ""
    units = plural(own.stratum)
    inside = ", not more pieces in each" if is_batch else ""
    return f"Only more {units} can settle it{inside}."
