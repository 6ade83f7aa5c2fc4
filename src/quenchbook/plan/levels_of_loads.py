"""Which levels of a factor go into which furnace load, when a load cannot hold them all."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np

from quenchbook.plan.incomplete_blocks import (
    IncompleteBlocks,
    balanced_blocks,
    incomplete_blocks,
    level_counts,
)
from quenchbook.plan.known_blocks import Blocks, smallest_plan
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import capital

Load = Mapping[str, Level | int]
SHUFFLES = 12
"""Random orders from which blocks are swapped until levels are even over settings and days."""


def level_room(study: Study, factor: Factor) -> int:
    """How many levels of a factor a furnace load can hold."""
    layout = study.layout
    if factor.set_for == "cold_batch" and layout.cold_batches_per_load:
        return min(layout.cold_batches_per_load, layout.coupons_per_load)
    return layout.coupons_per_load


def crowded_factor(study: Study, factors: Sequence[Factor]) -> Factor | None:
    """The one of these factors with more levels than a load can hold; None if not exactly one.

    None too if the factor is nested, has forbidden combinations or levels that are to be used more
    often. A load that holds a single level compares nothing, and two factors of the cold batch
    share its batches.
    """
    crowded = [f for f in factors if len(f.levels) > level_room(study, f)]
    if len(crowded) != 1:
        return None
    factor = crowded[0]
    if any(factor.name in entry.levels for entry in study.forbidden):
        return None
    uneven = factor.nested_in or len(set(factor.repeats)) > 1 or level_room(study, factor) < 2
    shares = factor.set_for == "cold_batch" and len(set_for(study, "cold_batch")) > 1
    return None if uneven or shares else factor


def levels_of_loads(
    study: Study, factor: Factor, loads: Sequence[Load], seed: int
) -> IncompleteBlocks:
    """Levels of each furnace load, in the order of `loads`.

    Every pair of levels meets equally often at each furnace setting where that can be, else over
    all loads where that can be, else as evenly as swapping gets. Levels are spread over furnace
    settings and days.

    Returns
    -------
    IncompleteBlocks
        A block for each load.
    """
    size, stream = level_room(study, factor), Stream(seed, f"levels of {factor.name} in loads")
    names = [other.column for other in set_for(study, "furnace_load")]
    settings = [tuple(load[name] for name in names) for load in loads]
    of_setting = {
        setting: [number for number, own in enumerate(settings) if own == setting]
        for setting in dict.fromkeys(settings)
    }
    days = [load["day"] for load in loads]
    if all(balanced_blocks(len(factor.levels), size, len(own)) for own in of_setting.values()):
        blocks: list[tuple[int, ...]] = [()] * len(loads)
        for own in of_setting.values():
            part = incomplete_blocks(len(factor.levels), size, len(own), stream)
            for number, block in zip(own, part.blocks, strict=True):
                blocks[number] = block
        even = _spread_blocks(len(factor.levels), blocks, [days], stream, within=settings)
        return IncompleteBlocks(len(factor.levels), even, part.origin)
    plan = incomplete_blocks(len(factor.levels), size, len(loads), stream)
    even = _spread_blocks(len(factor.levels), plan.blocks, [settings, days], stream)
    return IncompleteBlocks(plan.levels, even, plan.origin)


def blocks_note(study: Study, factor: Factor, plan: IncompleteBlocks) -> str:
    """How the levels meet in loads, for a plan's notes."""
    word, many = study.unit_word("furnace_load"), study.unit_word("furnace_load", 2)
    pairs = plan.meetings[np.triu_indices(plan.levels, 1)]
    low, high = int(pairs.min()), int(pairs.max())
    meet = (
        f"every pair of levels meets in the same number of {many} ({low})"
        if plan.is_balanced
        else f"pairs of levels meet in {low} to {high} {many}"
    )
    size, count = len(plan.blocks[0]), len(plan.blocks)
    fewest = len(smallest_plan(plan.levels, size)[0])
    balanced = -(-count // fewest) * fewest
    more = (
        f" With {balanced} {many} every pair could meet equally often."
        if count < balanced <= 2 * count
        else ""
    )
    return (
        f"{capital(factor.title)}: a {word} holds {size} of {plan.levels} levels; {meet}. "
        f"Differences inside {many} have {plan.efficiency:.4f} of the precision that complete "
        f"{many} would give, at most {plan.bound:.4f} can be had.{more}"
    )


def _spread_blocks(
    levels: int,
    blocks: Sequence[tuple[int, ...]],
    groupings: Sequence[Sequence[object]],
    stream: Stream,
    *,
    within: Sequence[object] = (),
) -> Blocks:
    """Blocks in an order that spreads levels evenly over groups of loads."""
    counts = level_counts(levels, blocks).T
    groups = [
        np.array([[own == group for own in names] for group in dict.fromkeys(names)], dtype=int)
        for names in groupings
    ]
    pairs = [
        (a, b)
        for a, b in itertools.combinations(range(len(blocks)), 2)
        if not within or within[a] == within[b]
    ]
    parts = within or [0] * len(blocks)

    def unevenness(order: Sequence[int]) -> int:
        return sum(int(np.sum((members @ counts[list(order)]) ** 2)) for members in groups)

    places = [int(own) * len(blocks[0]) for members in groups for own in members.sum(axis=1)]
    shares = [divmod(own, levels) for own in places]
    floor = sum(more * (low + 1) ** 2 + (levels - more) * low**2 for low, more in shares)
    best: tuple[int, list[int]] | None = None
    for _ in range(SHUFFLES):
        order = list(range(len(blocks)))
        for part in dict.fromkeys(parts):
            own = [number for number, name in enumerate(parts) if name == part]
            for place, number in zip(own, stream.shuffled(own), strict=True):
                order[place] = number
        score, improved = unevenness(order), True
        while improved and score > floor:
            improved = False
            for a, b in stream.shuffled(pairs):
                order[a], order[b] = order[b], order[a]
                other = unevenness(order)
                if other < score:
                    score, improved = other, True
                else:
                    order[a], order[b] = order[b], order[a]
        if best is None or score < best[0]:
            best = score, order
        if score == floor:
            break
    assert best is not None
    return tuple(blocks[number] for number in best[1])
