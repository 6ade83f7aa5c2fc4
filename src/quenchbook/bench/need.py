"""An amount that a plan needs, as a range, or the reason why it cannot be told."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from quenchbook.units import number_text, with_unit

NOT_TOLD: Final = "not told"


@dataclass(frozen=True)
class Need:
    """One thing that is used up.

    Attributes
    ----------
    item : str
    low, high : float
        Least and most; nan where it cannot be told.
    unit : str
    note : str
        What was counted and what was assumed, or why there is no amount.
    a_batch : (float, float), optional
        Least and most that one batch has at hand, for the air of the room.
    an_hour : (float, float), optional
        Least and most that turns to gas in the first hour of a batch.
    """

    item: str
    low: float
    high: float
    unit: str
    note: str
    a_batch: tuple[float, float] | None = None
    an_hour: tuple[float, float] | None = None

    def amount_words(self) -> str:
        r"""Amount in print.

        >>> Need("dry ice", 5.83, 22.1, "kg", "").amount_words()
        '5.8 to 23\xa0kg'
        >>> missing("foil", "size not told").amount_words()
        'not told'
        """
        if math.isnan(self.low):
            return NOT_TOLD
        return range_words(self.low, self.high, self.unit)


def missing(item: str, reason: str, unit: str = "") -> Need:
    """Line of what is needed in an amount that cannot be told.

    Parameters
    ----------
    item : str
    reason : str
        What is not told, and what to write.
    unit : str
    """
    return Need(item, math.nan, math.nan, unit, f"{reason[:1].upper()}{reason[1:]}.")


def range_words(low: float, high: float, unit: str) -> str:
    r"""Range with two digits, rounded outward; a single number with three.

    >>> range_words(0.52, 0.61, "l"), range_words(1.1232, 1.1232, "kg"), range_words(24, 24, "")
    ('0.52 to 0.61\xa0l', '1.12\xa0kg', '24')
    """
    if low == high:
        return with_unit(f"{low:.3g}", unit)
    ends = (_outward(low, math.floor), _outward(high, math.ceil))
    return with_unit(" to ".join(ends), unit)


def _outward(value: float, rounding: Callable[[float], int]) -> str:
    if value <= 0:
        return "0"
    decimals = max(0, 1 - math.floor(math.log10(value)))
    scale = 10.0 ** (1 - math.floor(math.log10(value)))
    rounded = rounding(round(value * scale, 6)) / scale
    return number_text(rounded, decimals)
