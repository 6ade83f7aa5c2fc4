"""Which declared level stands for a level that was really run."""

from __future__ import annotations

import math
from typing import Final

from quenchbook.study.factors import Factor, Level

# Of the distance to the next declared level; common practice, no source.
NEAREST_SHARE: Final = 1 / 3
# A few minutes pass before any cold step begins, so times are compared as log(10 min + time);
# common practice, no source.
HANDLING_MINUTES: Final = 10.0
_ROUNDING: Final = 1e-9


def analysed_level(factor: Factor, actual: Level) -> Level | None:
    """Level that enters the analysis for an actual level; None if it is too far from all of them.

    Parameters
    ----------
    factor : Factor
    actual : float or str
        What was really run, in the storage unit.
    """
    if not factor.is_numeric or factor.shape != "levels":
        return actual
    value = _scale(factor, actual)
    places = sorted((_scale(factor, level), level) for level in factor.levels)
    at = min(range(len(places)), key=lambda i: abs(places[i][0] - value))
    nearest, level = places[at]
    beyond = at + 1 if value > nearest else at - 1
    other = places[beyond if 0 <= beyond < len(places) else 2 * at - beyond][0]
    near = abs(value - nearest) <= NEAREST_SHARE * abs(other - nearest) + _ROUNDING
    return level if near else None


def distance_words(factor: Factor, actual: float) -> str:
    r"""Say how far a level is from the nearest declared one.

    >>> factor = Factor("austenitize", "austenitize_c", (790.0, 820.0), "temperature")
    >>> distance_words(factor, 905.0).replace("\xa0", " ")
    '905 °C is 85 °C from the nearest declared level 820 °C'
    """
    nearest = min(factor.levels, key=lambda own: abs(_scale(factor, own) - _scale(factor, actual)))
    gap = factor.difference_word(round(abs(actual - float(nearest)), 1))
    word = factor.word(round(actual, 1))
    how = " on the log scale" if factor.dimension == "time" else ""
    return f"{word} is {gap} from the nearest declared level {factor.word(nearest)}{how}"


def _scale(factor: Factor, level: Level) -> float:
    return math.log(HANDLING_MINUTES + float(level)) if factor.dimension == "time" else float(level)
