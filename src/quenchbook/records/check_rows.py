"""One check of a tester: what was found, its limit, and whether it passes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

import numpy as np

from quenchbook.metallurgy.expected import Array
from quenchbook.metallurgy.tester_limits import UNKNOWN, Limit

CHECK_COLUMNS: Final = (
    "check", "about", "value", "uncertainty", "bound", "limit", "unit", "outcome", "clause",
)  # fmt: skip
OUTCOMES: Final = ("out", "warn", "pass", "not known")
_ROUNDING: Final = 1e-9  # a mean of tenths that stands on its limit is inside it

# Range of n normal readings in standard deviations: 2/sqrt(pi), 3/sqrt(pi), quadrature, and 2.326
# (OIML hardness guide tells 0.43 for its inverse).
_RANGE_SDS: Final = {2: 1.128, 3: 1.693, 4: 2.059, 5: 2.326}


def check_row(
    check: str, about: str, value: float, limit: Limit, unit: str, uncertainty: float = math.nan
) -> dict[str, Any]:
    """Row of `CHECK_COLUMNS` with its outcome.

    Parameters
    ----------
    check, about : str
        What was checked, and on what.
    value, uncertainty : float
        What was found, and its expanded uncertainty; nan when that is not known.
    limit : Limit
    unit : str
    """
    clause = limit.clause or UNKNOWN
    spare = limit.spare if uncertainty != uncertainty else max(limit.spare, uncertainty)
    outcome = outcome_of(value, limit, spare)
    found = (check, about, value, uncertainty, limit.bound, limit.value, unit, outcome, clause)
    return dict(zip(CHECK_COLUMNS, found, strict=True))


def outcome_of(value: float, limit: Limit, spare: float = 0.0) -> str:
    """``pass``, ``warn`` (kept, but by less than is unsure), ``out``, or ``not known``.

    Parameters
    ----------
    value : float
    limit : Limit
    spare : float
        Distance from the limit that is needed for a pass.
    """
    if limit.value != limit.value or value != value:
        return "not known"
    size = abs(value) if limit.bound == "within" else value
    room = size - limit.value if limit.bound == "at least" else limit.value - size
    if room < -_ROUNDING:
        return "out"
    return "pass" if room >= spare - _ROUNDING else "warn"


def range_spare(found: float, readings: int) -> float:
    """How much larger a range of five readings is expected than this one of fewer.

    Parameters
    ----------
    found : float
        Largest less smallest reading.
    readings : int
        How many, two or more.

    >>> round(range_spare(0.4, 2), 3), range_spare(0.4, 5)
    (0.425, 0.0)
    """
    return found * (_RANGE_SDS[5] / _RANGE_SDS[min(readings, 5)] - 1)


def pooled_variance(sets: Sequence[Array]) -> tuple[float, int]:
    """Variance within sets of readings and its degrees of freedom; nan without any.

    Parameters
    ----------
    sets : sequence of ndarray
        Readings of each set.
    """
    df = sum(len(own) - 1 for own in sets)
    if df == 0:
        return math.nan, 0
    return float(sum(((own - own.mean()) ** 2).sum() for own in sets)) / df, df


def rounding_variance(readings: Array) -> float:
    """Variance of rounding to the step the readings are written in: 1, 0.5, 0.1 or 0.01.

    It does not shrink with the number of readings: they may all be rounded the same way.
    """
    for step in (1.0, 0.5, 0.1, 0.01):
        if np.allclose(readings / step, np.round(readings / step), atol=1e-6):
            return step**2 / 12
    return 0.0


def expanded(variance: float, df: int, confidence: float) -> float:
    """Half width of an interval from a variance with its degrees of freedom; nan without any."""
    if df == 0 or variance != variance:
        return math.nan
    from scipy.stats import t

    return float(t.ppf((1 + confidence) / 2, df) * math.sqrt(variance))
