"""Levels inside loads: factors that are there in every combination, and levels for the others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from quenchbook.plan.allowed_levels import AllowedLevels, shared_levels
from quenchbook.plan.shares import shares
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level


def crossed_factors(
    study: Study,
    allowed: AllowedLevels,
    inner: Sequence[Factor],
    loads: Sequence[Mapping[str, Level | int]],
) -> list[Factor]:
    """Factors of which every load holds every allowed combination, equally often.

    A factor of single coupons stays out if a forbidden treatment ties it to a batch factor that
    does not fit: the level of the batch is settled first.
    """
    size = study.layout.coupons_per_load
    columns = [factor.column for factor in set_for(study, "furnace_load")]
    settings = cast(
        "list[Mapping[str, Level]]",
        list({tuple(own[c] for c in columns): own for own in loads}.values()),
    )

    def fitting(factors: Sequence[Factor]) -> list[Factor]:
        found: list[Factor] = []
        for factor in factors:
            counts = [len(allowed.settings([*found, factor], setting)) for setting in settings]
            if not factor.nested_in and all(count and size % count == 0 for count in counts):
                found.append(factor)
        return found

    crossed = fitting(inner)
    late = [f.name for f in inner if f.set_for == "cold_batch" and f not in crossed]
    tied = {
        name for entry in study.forbidden if set(entry.levels) & set(late) for name in entry.levels
    }
    if not tied:
        return crossed
    return fitting([f for f in inner if f.set_for == "cold_batch" or f.name not in tied])


def open_levels(
    study: Study,
    factor: Factor,
    columns: Mapping[str, Sequence[Level | int]],
    rows: Sequence[int],
    allowed: AllowedLevels,
) -> tuple[Level, ...]:
    """Levels that all coupons of one item (a batch or a coupon) may get."""
    if factor not in allowed.involved:
        return factor.levels
    known = [f.column for f in allowed.involved if f.column in columns]
    settled = [{name: cast(Level, columns[name][i]) for name in known} for i in rows]
    load = columns["furnace_load"][rows[0]]
    return shared_levels(allowed, factor, settled, f"{study.unit_word('furnace_load')} {load}")


def level_pool(factor: Factor, own_levels: Sequence[tuple[Level, ...]], seed: int) -> list[int]:
    """Number of a level for each item; items with the same open levels share them evenly."""
    pool = [0] * len(own_levels)
    for own in dict.fromkeys(own_levels):
        members = [i for i, levels in enumerate(own_levels) if levels == own]
        numbers = [factor.levels.index(level) for level in own]
        labels = [numbers[place % len(numbers)] for place in range(len(members))]
        if factor.repeats:
            weights = [factor.repeats[number] for number in numbers]
            ties = Stream(seed, f"levels of {factor.name} beyond even shares")
            counts = shares(len(members), weights, ties.shuffled(range(len(numbers))))
            labels = [n for n, count in zip(numbers, counts, strict=True) for _ in range(count)]
        for i, label in zip(members, labels, strict=True):
            pool[i] = label
    return pool
