"""Ticks at round values whose words do not touch, and limits of axes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

import numpy as np
from matplotlib.ticker import MaxNLocator

from quenchbook.plots.sheet import text_width
from quenchbook.plots.style import TICK_PT
from quenchbook.units import number_text

Tick = tuple[float, str]


def round_values(low: float, high: float, most: int) -> list[float]:
    """Round values inside `low` to `high`, about `most` of them."""
    locator = MaxNLocator(nbins=max(1, most), steps=[1, 2, 5, 10])
    slack = 1e-9 * max(1.0, abs(low), abs(high))
    return [
        float(value)
        for value in locator.tick_values(low, high)
        if low - slack <= value <= high + slack
    ]


def tick_words(values: Sequence[float], *, sign: bool = False) -> list[str]:
    """Words of ticks, with as many decimals as their step needs."""
    alone = abs(values[0]) or 1.0 if values else 1.0
    step = min((b - a for a, b in itertools.pairwise(values)), default=alone)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9)) if step > 0 else 0
    return [
        "0" if abs(value) < 1e-9 * step else number_text(value, decimals, sign=sign)
        for value in values
    ]


def axis_ticks(
    low: float,
    high: float,
    width: float,
    *,
    sign: bool = False,
    percent: bool = False,
    most: int = 6,
    size: float = TICK_PT,
) -> list[Tick]:
    """Ticks along an axis that is `width` [pt] long.

    Parameters
    ----------
    low, high : float
        Limits of the axis.
    width : float
        Length [pt].
    sign : bool
        Whether values above zero get a plus.
    percent : bool
        Whether the axis counts log ratios: then ticks are round in per cent.
    most : int
        Most intervals between ticks.
    size : float
        Size of the words [pt].
    """
    for count in range(most, 0, -1):
        if percent:
            shown = round_values(100 * math.expm1(low), 100 * math.expm1(high), count)
            places = [math.log1p(value / 100) for value in shown if value > -100]
            shown = [value for value in shown if value > -100]
        else:
            shown = places = round_values(low, high, count)
        words = tick_words(shown, sign=sign)
        ticks = list(zip(places, words, strict=True))
        if words_fit(ticks, low, high, width, size=size):
            return ticks
    return []


def words_fit(
    ticks: Sequence[Tick], low: float, high: float, width: float, *, size: float = TICK_PT
) -> bool:
    """Whether the words of neighbouring ticks stand clear of each other."""
    ends = [
        ((place - low) / (high - low) * width, text_width(text, size) / 2) for place, text in ticks
    ]
    return all(b - a > half_a + half_b + 5 for (a, half_a), (b, half_b) in itertools.pairwise(ends))


def padded(values: Sequence[float] | np.ndarray, share: float = 0.05) -> tuple[float, float]:
    """Limits around the finite values, with a margin of `share` of their span."""
    finite = np.asarray(values, dtype=float)
    finite = finite[np.isfinite(finite)]
    if finite.size == 0:
        return -1.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    span = high - low or abs(high) or 1.0
    return low - share * span, high + share * span


def spread(count: int) -> list[float]:
    """Places from -1 to 1 that part neighbours evenly and are the same each time.

    Van der Corput's sequence: for points in order of value, the next point is far from the last.
    """
    places = []
    for index in range(1, count + 1):
        place, share = 0.0, 0.5
        while index:
            place += share * (index % 2)
            index //= 2
            share /= 2
        places.append(2.0 * place - 1.0)
    return places
