"""A computed value with the range it may lie in: known before any test, and never a measurement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Expected:
    """What a published equation expects, with its range.

    Attributes
    ----------
    value, low, high : ndarray, shape (n,) or ()
        Middle of the expectation and the ends of its range; ``low <= value <= high``.
    source : str
        Where equation and range come from.
    """

    value: Array
    low: Array
    high: Array
    source: str


def hull(parts: Sequence[Expected]) -> Expected:
    """Range that holds every range, about the mean of the values.

    Parameters
    ----------
    parts : sequence of Expected
        At least one, all of one shape.
    """
    if len(parts) == 1:
        return parts[0]
    return Expected(
        np.mean([part.value for part in parts], axis=0),
        np.min([part.low for part in parts], axis=0),
        np.max([part.high for part in parts], axis=0),
        parts[0].source,
    )
