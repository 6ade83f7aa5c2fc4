"""Times of any size in words of two digits: ``4 min``, ``3.2 h``, ``6 days``."""

from __future__ import annotations

import math
from typing import Final

from quenchbook.units import NO_BREAK

_STEPS: Final = ((99.5, 1.0, "min"), (47.5 * 60, 60.0, "h"), (math.inf, 1440.0, "days"))


def duration_text(minutes: float) -> str:
    r"""Write a time with two significant digits, in the unit people would use.

    Parameters
    ----------
    minutes : float
        Above zero [min].

    >>> duration_text(4), duration_text(192), duration_text(8640), duration_text(10080)
    ('4\xa0min', '3.2\xa0h', '6\xa0days', '7\xa0days')
    """
    size, unit = next((size, unit) for most, size, unit in _STEPS if minutes < most)
    amount = minutes / size
    decimals = max(0, 1 - math.floor(math.log10(amount))) if amount > 0 else 0
    text = f"{round(amount, decimals):.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}{NO_BREAK}{unit}"
