"""Chances, differences and goals as people say them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, Final, Literal

from quenchbook.study.definition import Response, Study
from quenchbook.units import NO_BREAK, decimals_for, number_text, with_unit

Goal = Literal["difference", "equivalence"]

GOAL_WORDS: Final[dict[Goal, str]] = {
    "difference": "to find a difference of the margin",
    "equivalence": "to show that any difference is smaller than the margin, if there is none",
}

_ROUND: Final = 0.05  # how near to a tenth a chance is called by it
_WIDEST: Final = math.log(10.0)  # on the log scale: beyond tenfold a per cent says nothing


def size_text(response: Response, size: float, *, unit: bool = True) -> str:
    """A difference in print: ``0.29 HRC``, or ``12 %`` on the log scale."""
    if response.scale == "log":
        if size > _WIDEST:
            return "more than tenfold"
        shown, name = 100 * math.expm1(size), "%"
        text = number_text(shown, 0 if shown >= 10 else 1)
    else:
        name = response.unit
        text = number_text(size, decimals_for(size / 4, name))
    return with_unit(text, name) if unit else text


def plan_text(study: Study, response: Response, row: Mapping[str, Any]) -> str:
    """A size of a plan in print: ``12 furnace loads of 8 coupons, 5 indents each``."""
    loads, coupons, indents = (
        int(row[name]) for name in ("furnace_loads", "coupons_per_load", "indents")
    )
    reading = "indent" if response.kind == "hardness" else "reading"
    return (
        f"{loads} {study.unit_word('furnace_load', loads)} of {coupons} "
        f"{study.unit_word('coupon', coupons)}, {indents} "
        f"{reading}{'s' if indents > 1 else ''} each"
    )


def times_in(share: float) -> str:
    """A chance as people say it: ``8 times in 10``, ``in 44 % of such studies``."""
    if share > 0.985:
        return "nearly always"
    if share < 0.015:
        return "hardly ever"
    number = round(share * 10)
    if abs(share * 10 - number) < _ROUND and 0 < number < 10:
        return f"{number} time{'s' if number != 1 else ''} in 10"
    return f"in {share * 100:.0f}{NO_BREAK}% of such studies"


def chance_text(share: float) -> str:
    """A chance in per cent, never 0 or 100: ``83 %``, ``> 99 %``."""
    if share > 0.99:
        return f">{NO_BREAK}99{NO_BREAK}%"
    if share < 0.01:
        return f"<{NO_BREAK}1{NO_BREAK}%"
    return f"{share * 100:.0f}{NO_BREAK}%"
