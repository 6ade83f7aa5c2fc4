"""A computed value with the range it may lie in: known before any test, and never a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Standing = Literal["prior", "measured"]


@dataclass(frozen=True, eq=False)
class Expected:
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
