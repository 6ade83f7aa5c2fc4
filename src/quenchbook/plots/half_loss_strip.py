"""Strip below a panel of delays: when half of a gain is lost, with its interval."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from quenchbook.findings.half_loss_words import NO_GAIN_SHOWN, NO_GAIN_TO_LOSE
from quenchbook.plots.sheet import Panel, Sheet, text_width
from quenchbook.plots.style import INK, PAPER, SMALL_PT, VALUE_PT, MarkStyle, draw_marks
from quenchbook.study.duration_words import duration_text
from quenchbook.study.factors import Level

if TYPE_CHECKING:
    from quenchbook.fit.half_loss import HalfLoss

STRIP_HEIGHT: Final = 40.0
_INTERVAL_PT: Final = 2.6
_ARROW: Final = 6.0
_HOLLOW: Final = MarkStyle(INK, "o", 5.0, PAPER)


@dataclass(frozen=True)
class HalfLossMark:
    """What the strip of one route shows; all times until cold [min].

    Attributes
    ----------
    words : tuple of str
        Estimate, then interval.
    estimate : float
        nan where there is none within the tested delays.
    low, high : float
        Interval; infinite where open, nan where there is no gain to lose.
    shortest, longest : float
        Tested delays.
    over : str
        Level that the gain is over, in print.
    """

    words: tuple[str, str]
    estimate: float
    low: float
    high: float
    shortest: float
    longest: float
    over: str


def half_loss_mark(own: Any) -> HalfLossMark:
    """What a strip shows of a finding about a half-loss time.

    Parameters
    ----------
    own : TradeFinding
        With a `HalfLoss` as its result.
    """
    result: HalfLoss = own.result
    factor = result.model.study.factor(result.factor) if result.model.study else None
    level = result.against if result.level in result.delays.routes else result.level
    over = factor.word(level) if factor is not None else str(level)
    shortest, longest = result.shortest, result.longest
    if own.outcome in (NO_GAIN_SHOWN, NO_GAIN_TO_LOSE):
        words = (own.outcome, "")
        return HalfLossMark(words, math.nan, math.nan, math.nan, shortest, longest, over)
    told = shortest <= own.estimate <= longest
    first = f"half lost: {own.estimate_words}"
    if math.isinf(own.conf_low) and math.isinf(own.conf_high):
        first, second = "half lost: not located", ""
    elif math.isinf(own.conf_high):
        second = f"longer than {duration_text(own.conf_low)}"
    elif math.isinf(own.conf_low):
        second = f"less than {duration_text(own.conf_high)}"
    else:
        second = f"{duration_text(own.conf_low)} to {duration_text(own.conf_high)}"
    estimate = own.estimate if told else math.nan
    return HalfLossMark(
        (first, second), estimate, own.conf_low, own.conf_high, shortest, longest, over
    )


def draw_half_loss(sheet: Sheet, panel: Panel, mark: HalfLossMark) -> None:
    """Draw the strip at the foot of a panel.

    Parameters
    ----------
    sheet : Sheet
    panel : Panel
        Along the decimal logarithm of minutes, with room of `STRIP_HEIGHT` at its foot.
    mark : HalfLossMark
    """
    foot = panel.top + panel.height
    middle = foot - 8.0
    for number, words in enumerate(mark.words):
        size = VALUE_PT if text_width(words, VALUE_PT) <= panel.width else SMALL_PT
        sheet.text(panel.left + 1.0, foot - 28.0 + 11.0 * number, words, size=size)
    if math.isnan(mark.low):
        return
    low, high = (
        panel.x_place(math.log10(min(max(value, mark.shortest), mark.longest)))
        for value in (mark.low, mark.high)
    )
    if mark.low < mark.shortest:
        sheet.arrow(low - _ARROW - 1.0, middle, -1, size=_ARROW)
        low -= _ARROW
    if mark.high > mark.longest:
        sheet.arrow(high + _ARROW + 1.0, middle, 1, size=_ARROW)
        high += _ARROW
    sheet.line((low, high), (middle, middle), INK, _INTERVAL_PT, zorder=4)
    if math.isfinite(mark.estimate):
        x = panel.x_place(math.log10(mark.estimate))
        draw_marks(sheet.ground, [x], [middle], _HOLLOW, scale=1.0)


def half_loss_reading(marks: Mapping[Level, HalfLossMark]) -> str:
    """How to read the strips."""
    if not marks:
        return ""
    over = " or ".join(dict.fromkeys(mark.over for mark in marks.values()))
    return (
        f" Thick line below: interval of the time until half of the gain over {over} is lost, "
        "with an arrow where the data set no limit within the delays that were run."
    )
