"""Questions that a heat treater asks of curves: peaks, shifts, delays, tempers, equal hardness."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final, Literal

from quenchbook.study.factors import Level

Asks = Literal[
    "peak", "peak_shift", "curve_shift", "working_window", "target_window",
    "per_decade", "half_loss", "temper_for", "equal_hardness",
]  # fmt: skip

ASKS: Final[Mapping[Asks, tuple[str, tuple[str, ...], tuple[str, ...]]]] = {
    "peak": ("where along a factor the response is highest", ("along",), ("at",)),
    "peak_shift": (
        "how far the peak lies higher for the first of two levels",
        ("along", "compare"),
        ("margin",),
    ),
    "curve_shift": (
        "how much more of a factor the first of two levels needs to behave as the second",
        ("along", "compare"),
        ("margin",),
    ),
    "working_window": (
        "where the response is within a difference of its peak",
        ("along", "within"),
        ("at",),
    ),
    "target_window": (
        "where a coupon reaches a value, nine times in ten",
        ("along", "target"),
        ("at",),
    ),
    "per_decade": (
        "what ten times as long does to the response",
        ("along",),
        ("at", "change"),
    ),
    "half_loss": (
        "how long until half of the gain of the first level over the second is lost",
        ("along", "compare"),
        (),
    ),
    "temper_for": ("which temper gives a value", ("along", "target"), ("at",)),
    "equal_hardness": (
        "how two levels differ where the hardness is the same, by the line of the temper",
        ("along", "compare"),
        (),
    ),
}
"""What can be asked: its meaning, the keys it needs and the keys it may have."""


@dataclass(frozen=True)
class TradeQuestion:
    """A question about curves, declared before the data.

    Attributes
    ----------
    key, words, response : str
        As for `Question`.
    asks : str
        One of `ASKS`.
    along : str
        Numeric factor along which it is asked: austenitize, delay, temper.
    factor : str
        Factor whose two levels are compared; empty where nothing is compared.
    level, against : float or str
        The two levels.
    at : mapping of factor name to level
        Where it is asked; other factors are averaged evenly.
    change : mapping of factor name to two levels
        How the answer differs between them (first less second).
    margin : float or None
        Shift too small to matter [storage unit of `along`, a difference].
    within : float or None
        Difference from the peak [unit of the response].
    target : float or None
        Wanted value [unit of the response].
    """

    key: str
    words: str
    response: str
    asks: Asks
    along: str
    factor: str = ""
    level: Level = ""
    against: Level = ""
    at: Mapping[str, Level] = field(default_factory=dict)
    change: Mapping[str, tuple[Level, Level]] = field(default_factory=dict)
    margin: float | None = None
    within: float | None = None
    target: float | None = None
