"""Readings that can be, but lie far from the other readings of their coupon: looked at, kept."""

from __future__ import annotations

import statistics
from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import log
from typing import Any, Final

from quenchbook.study.definition import Response, Study
from quenchbook.units import decimals_for

# Farther from the others than both of these; common practice, no source.
FAR_HRC: Final = 5.0
FAR_SD: Final = 10.0  # within-coupon standard deviations
FEWEST: Final = 3  # readings of a coupon
# Deviations from the middle reading, itself left out, to a standard deviation: by simulation of
# 3 to 10 normal readings 1.37 to 1.46.
_TO_SD: Final = 1.44

Key = tuple[str, str, int]  # response, coupon, reading


def stray_notes(readings: Mapping[Key, Mapping[str, Any]], study: Study) -> list[str]:
    """Notes on readings far from the others of their coupon.

    Parameters
    ----------
    readings : mapping
        Response, coupon and reading to ``value``, ``file`` and ``row``.
    study : Study

    Returns
    -------
    list of str
        One sentence a reading; all of them stay in the analysis.
    """
    notes = []
    for response in study.responses:
        coupons: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
        for (name, coupon, _), entry in readings.items():
            if name == response.name:
                coupons[coupon].append(entry)
        values = {
            code: [_scale(response, e["value"]) for e in own] for code, own in coupons.items()
        }
        limit = FAR_SD * within_coupon_sd(list(values.values()))
        if response.unit == "HRC" and response.scale == "linear":
            limit = max(FAR_HRC, limit)
        if limit <= 0:
            continue
        for coupon, own in values.items():
            entries = coupons[coupon]
            for at in stray_places(own, limit):
                others = [e["value"] for place, e in enumerate(entries) if place != at]
                notes.append(_note(response, coupon, entries[at], statistics.median(others)))
    return notes


def within_coupon_sd(coupons: Sequence[Sequence[float]]) -> float:
    """Robust standard deviation within coupons, pooled: half of the readings may be wrong.

    Parameters
    ----------
    coupons : sequence of sequence of float
        Readings of each coupon; coupons with fewer than three are not used.

    Returns
    -------
    float
        1.44 times the median distance from the middle reading of the coupon; 0 without readings.

    >>> within_coupon_sd([[62.4, 62.6, 20.1], [61.0, 61.2, 61.5]])
    0.288
    """
    distances = []
    for values in coupons:
        if len(values) >= FEWEST:
            middle = statistics.median_low(values)
            own = sorted(abs(value - middle) for value in values)
            distances += own[1:]
    return round(_TO_SD * statistics.median_low(distances), 9) if distances else 0.0


def stray_places(values: Sequence[float], limit: float) -> list[int]:
    """Places of readings farther than `limit` from the median of the others, farthest first.

    One at a time: with three readings, one that is wrong also draws the median of the other two.

    >>> stray_places([62.4, 62.6, 20.1], limit=5)
    [2]
    """
    left = list(range(len(values)))
    found: list[int] = []
    while len(left) >= FEWEST:
        gaps = {
            at: abs(values[at] - statistics.median(values[i] for i in left if i != at))
            for at in left
        }
        worst = max(left, key=lambda at: gaps[at])
        if gaps[worst] <= limit:
            break
        left.remove(worst)
        found.append(worst)
    return sorted(found)


def _scale(response: Response, value: float) -> float:
    return log(value) if response.scale == "log" else value


def _note(response: Response, coupon: str, entry: Mapping[str, Any], middle: float) -> str:
    gap = abs(entry["value"] - middle)
    words = response.printed.difference(gap, decimals_for(gap))
    others = "indents" if response.kind == "hardness" else "readings"
    return (
        f"{entry['file']} row {entry['row']}, coupon {coupon}: {entry['value']:g} lies {words} "
        f"from its other {others}. Look at the coupon again; correct it in corrections.csv or "
        "keep it."
    )
