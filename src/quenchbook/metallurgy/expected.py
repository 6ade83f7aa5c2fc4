"""A computed value with the range it may lie in: known before any test, and never a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from quenchbook.shown import ShowsItself
from quenchbook.units import decimals_for, interval_text, number_text

if TYPE_CHECKING:
    import pandas as pd

Array = NDArray[np.float64]
_EXACT = 1e-9  # a range narrower than this share of its value is rounding
_EXACT_DECIMALS = 2
_MOST_DECIMALS = 3
Standing = Literal["prior", "measured"]


@dataclass(frozen=True, eq=False, repr=False)
class Expected(ShowsItself):
    """What a published equation expects, with its range.

    Attributes
    ----------
    value, low, high : ndarray, shape (n,) or ()
        Middle of the expectation and the ends of its range; ``low <= value <= high``.
    source : str
        Where equation and range come from.
    validity : str
        For what it was shown or stated to hold.
    flags : tuple of str
        Why a value lies outside what it was shown for; empty when none does.
    standing : str
        ``prior``: from an equation alone. ``measured``: from readings of this study, turned into
        another quantity by an equation.
    """

    value: Array
    low: Array
    high: Array
    source: str
    validity: str = ""
    flags: tuple[str, ...] = field(default=())
    standing: Standing = "prior"

    def range_words(self) -> list[str]:
        """Each value with its range, rounded by its width: ``190 (145 to 235)``.

        The unit is that of the function that made it.
        """
        ends = (np.atleast_1d(own) for own in (self.value, self.low, self.high))
        return [_in_words(*each) for each in zip(*ends, strict=True)]

    def summary(self) -> str:
        """Values with their ranges, where they come from, and for what they hold."""
        return "\n".join(["; ".join(self.range_words()), *self._notes()])

    def _notes(self) -> list[str]:
        standing = "A prior, not a measurement" if self.standing == "prior" else "From readings"
        notes = [f"{standing}. Source: {self.source}."]
        notes += [f"Holds for: {self.validity}."] if self.validity else []
        notes += [f"Outside of that: {'; '.join(self.flags)}."] if self.flags else []
        return notes

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each value: ``value, low, high``."""
        import pandas as pd

        ends = {"value": self.value, "low": self.low, "high": self.high}
        return pd.DataFrame({name: np.atleast_1d(own) for name, own in ends.items()})

    def __repr__(self) -> str:
        return f"<Expected ({self.standing}): {'; '.join(self.range_words())}>"


def _in_words(value: float, low: float, high: float) -> str:
    wide = high - low > _EXACT * abs(value)
    decimals = min(_MOST_DECIMALS, decimals_for((high - low) / 2)) if wide else _EXACT_DECIMALS
    return f"{number_text(value, decimals)} ({interval_text(low, high, decimals)})"


def hull(parts: Sequence[Expected]) -> Expected:
    """Range that holds every range, about the mean of the values.

    Parameters
    ----------
    parts : sequence of Expected
        At least one, all of one shape.
    """
    if len(parts) == 1:
        return parts[0]
    return replace(
        parts[0],
        value=np.mean([part.value for part in parts], axis=0),
        low=np.min([part.low for part in parts], axis=0),
        high=np.max([part.high for part in parts], axis=0),
        flags=tuple(dict.fromkeys(flag for part in parts for flag in part.flags)),
    )
