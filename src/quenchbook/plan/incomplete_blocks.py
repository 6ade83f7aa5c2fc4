"""Blocks that cannot hold every level: which levels go into which block.

A furnace load, a day or a bar of steel is a block. In a balanced plan every pair of levels meets
in the same number of blocks, so that every difference is known equally well.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.known_blocks import Blocks, smallest_plan
from quenchbook.plan.streams import Stream
from quenchbook.shown import ShowsItself

Counts = npt.NDArray[np.int64]

STARTS: Final = 20
"""Random starts of the exchange of a small plan."""

SMALL: Final = 100
"""Places in all blocks of a plan that is exchanged as a whole."""


@dataclass(frozen=True, eq=False, repr=False)
class IncompleteBlocks(ShowsItself):
    """Which levels go into which block.

    Attributes
    ----------
    levels : int
        Number of levels, numbered from 0.
    blocks : tuple of tuples of int
        Levels of each block.
    origin : str
        How the blocks were made.
    """

    levels: int
    blocks: Blocks
    origin: str

    @property
    def meetings(self) -> Counts:
        """In how many blocks two levels meet, shape (levels, levels); own blocks in the diagonal.

        In complete blocks, that is every block.
        """
        counts = level_counts(self.levels, self.blocks)
        return counts @ counts.T

    @property
    def is_balanced(self) -> bool:
        """Whether every level and every pair of levels is there equally often."""
        meetings = self.meetings
        pairs = meetings[~np.eye(self.levels, dtype=bool)]
        return len(set(pairs.tolist())) == 1 == len(set(np.diag(meetings).tolist()))

    @property
    def efficiency(self) -> float:
        """Precision of differences inside blocks, relative to blocks that hold every level."""
        return block_efficiency(level_counts(self.levels, self.blocks))

    @property
    def bound(self) -> float:
        """Efficiency that no plan with this block size exceeds: v (k - 1) / (k (v - 1))."""
        size = len(self.blocks[0])
        return self.levels * (size - 1) / (size * (self.levels - 1))

    def to_frame(self) -> pd.DataFrame:
        """Levels of blocks: ``block, level_number``, counted from 1."""
        rows = [(b, level + 1) for b, own in enumerate(self.blocks, start=1) for level in own]
        return pd.DataFrame(rows, columns=["block", "level_number"])

    def summary(self) -> str:
        """Say the plan in words."""
        size, count = len(self.blocks[0]), len(self.blocks)
        pairs = self.meetings[np.triu_indices(self.levels, 1)]
        low, high = int(pairs.min()), int(pairs.max())
        meet = (
            f"every pair of levels meets in the same number of blocks ({low})"
            if self.is_balanced
            else f"pairs of levels meet in {low} to {high} blocks"
        )
        return (
            f"{self.levels} levels in {count} blocks of {size}: {meet}; efficiency "
            f"{self.efficiency:.4f}, at most {self.bound:.4f}. {self.origin}."
        )

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Blocks": self.to_frame()}

    def __repr__(self) -> str:
        size, count = len(self.blocks[0]), len(self.blocks)
        kind = "balanced" if self.is_balanced else f"efficiency {self.efficiency:.4f}"
        return f"<IncompleteBlocks: {self.levels} levels in {count} blocks of {size}, {kind}>"


def incomplete_blocks(
    levels: int, block_size: int, blocks: int, stream: Stream
) -> IncompleteBlocks:
    """Blocks that hold a part of the levels, balanced where that is known to be possible.

    Without a known balanced plan, levels are swapped between blocks from up to `STARTS` random
    starts while that raises the efficiency: the best found, which need not be the best there is.

    Parameters
    ----------
    levels, block_size, blocks : int
        ``1 < block_size <= levels``.
    stream : Stream
        Draws the order of blocks and which level is which.
    """
    _check_sizes(levels, block_size, blocks)
    known = balanced_blocks(levels, block_size, blocks)
    if known is None:
        found = exchanged_blocks(levels, block_size, blocks, stream)
        origin = f"Found by swapping levels: {why_not_balanced(levels, block_size, blocks)}"
    else:
        found, origin = known.blocks, known.origin
    names = stream.shuffled(range(levels))
    mixed = [tuple(sorted(names[level] for level in block)) for block in found]
    return IncompleteBlocks(levels, tuple(stream.shuffled(mixed)), origin)


def balanced_blocks(levels: int, block_size: int, blocks: int) -> IncompleteBlocks | None:
    """A balanced plan in its textbook order; None if there is none or none is known here.

    Complete blocks; all combinations; difference families; the lines of the affine plane of order
    3; complements of these; and whole repeats. Up to 13 levels and 6 in a block this is every
    number of blocks that the counting conditions allow, except 132 blocks of 5 of 12 levels.

    Parameters
    ----------
    levels, block_size, blocks : int

    References
    ----------
    Bose (1939), On the construction of balanced incomplete block designs, Annals of Eugenics 9:353
    (difference families; from memory).
    """
    _check_sizes(levels, block_size, blocks)
    plan, origin = smallest_plan(levels, block_size)
    if blocks % len(plan):
        return None
    repeats = blocks // len(plan)
    again = "" if repeats == 1 else f", {repeats} times"
    return IncompleteBlocks(levels, plan * repeats, f"{origin}{again}")


def why_not_balanced(levels: int, block_size: int, blocks: int) -> str:
    """Why there is no balanced plan; empty where `balanced_blocks` has one."""
    if balanced_blocks(levels, block_size, blocks):
        return ""
    if blocks * block_size % levels:
        return (
            f"{blocks} blocks of {block_size} have {blocks * block_size} places, which {levels} "
            "levels cannot share equally"
        )
    repeats = blocks * block_size // levels
    if repeats * (block_size - 1) % (levels - 1):
        return (
            f"each level meets {repeats * (block_size - 1)} others in its {repeats} blocks, which "
            f"{levels - 1} other levels cannot share equally"
        )
    if blocks < levels:
        return f"a balanced plan of {levels} levels needs at least {levels} blocks"
    return "no balanced plan of this size is known here"


def level_counts(levels: int, blocks: Sequence[Sequence[int]]) -> Counts:
    """How often each level is in each block, shape (levels, blocks)."""
    counts = np.zeros((levels, len(blocks)), dtype=np.int64)
    for number, block in enumerate(blocks):
        np.add.at(counts[:, number], list(block), 1)
    return counts


def block_efficiency(counts: Counts) -> float:
    """A-efficiency of the comparison of levels inside blocks.

    Parameters
    ----------
    counts : ndarray, shape (levels, blocks)

    Returns
    -------
    float
        Average variance of a difference with complete blocks and as many coupons, over that of
        this plan; 0 when some levels never meet, even through others.
    """
    levels, coupons = len(counts), counts.sum()
    information = np.diag(counts.sum(axis=1)) - (counts / counts.sum(axis=0)) @ counts.T
    values = np.linalg.eigvalsh(information)[1:]  # the first belongs to the mean
    if values.min() < 1e-9:
        return 0.0
    return float((levels - 1) / np.sum(1 / values) / (coupons / levels))


def _check_sizes(levels: int, block_size: int, blocks: int) -> None:
    if not (1 < block_size <= levels and blocks > 0):
        raise PlanError(
            f"{blocks} blocks of {block_size} for {levels} levels: expected at least one block and "
            f"a block size of 2 to {levels}"
        )


# --- exchange ----------------------------------------------------------------------------------


def exchanged_blocks(levels: int, size: int, blocks: int, stream: Stream) -> Blocks:
    """The most efficient of the plans that swapping leads to from random starts.

    In plans of more than `SMALL` places, whole balanced plans that fit stay as they are, and only
    the rest is swapped; small plans come out some thousandths better when all is swapped.
    """
    smallest = smallest_plan(levels, size)[0]
    fixed = smallest * (blocks // len(smallest)) if blocks * size > SMALL else ()
    rest = blocks - len(fixed)
    best: tuple[float, list[list[int]]] | None = None
    # A start takes (places)^2 steps, and gains less the more places there are.
    for _ in range(min(STARTS, max(1, 40_000 // (rest * size) ** 2))):
        plan = _random_blocks(levels, size, rest, stream)
        variance = _improved(plan, levels, level_counts(levels, fixed), stream)
        if best is None or variance < best[0] - 1e-12:
            best = variance, plan
    assert best is not None
    return fixed + tuple(tuple(sorted(block)) for block in best[1])


def _random_blocks(levels: int, size: int, blocks: int, stream: Stream) -> list[list[int]]:
    """Blocks without a level twice, each level as often as the others or once more."""
    left = np.full(levels, blocks * size // levels)
    left[stream.shuffled(range(levels))[: blocks * size % levels]] += 1
    plan = []
    for _ in range(blocks):
        order = sorted(stream.shuffled(range(levels)), key=lambda level: -int(left[level]))
        plan.append(order[:size])
        left[order[:size]] -= 1
    return plan


def _improved(plan: list[list[int]], levels: int, fixed: Counts, stream: Stream) -> float:
    """Swap levels of two blocks while the average variance falls; change `plan`, return it."""
    size, beside = len(plan[0]), fixed @ fixed.T
    pairs = list(itertools.combinations(range(len(plan)), 2))
    best = float(_variances(level_counts(levels, plan)[None], beside, size)[0])
    improved = True
    while improved:
        improved = False
        counts = level_counts(levels, plan)
        for first, second in stream.shuffled(pairs):
            gives = [level for level in plan[first] if level not in plan[second]]
            takes = [level for level in plan[second] if level not in plan[first]]
            swaps = list(itertools.product(gives, takes))
            if not swaps:
                continue
            trials = np.repeat(counts[None], len(swaps), axis=0)
            for trial, (out, into) in zip(trials, swaps, strict=True):
                trial[[out, into], first] -= (1, -1)
                trial[[out, into], second] += (1, -1)
            variances = _variances(trials, beside, size)
            chosen = int(np.argmin(variances))
            if variances[chosen] < best - 1e-9:
                out, into = swaps[chosen]
                plan[first][plan[first].index(out)] = into
                plan[second][plan[second].index(into)] = out
                best, counts, improved = float(variances[chosen]), trials[chosen], True
    return best


def _variances(counts: Counts, beside: Counts, size: int) -> npt.NDArray[np.float64]:
    """Sum of the variances of levels for plans, shape (plans, levels, blocks) to (plans,)."""
    levels = counts.shape[1]
    meetings = counts @ counts.transpose(0, 2, 1) + beside
    own = np.eye(levels) * meetings
    # The ridge keeps plans in unconnected parts finite and worse than any connected plan.
    matrix = own - meetings / size + np.full((levels, levels), 1 / levels) + 1e-7 * np.eye(levels)
    summed: npt.NDArray[np.float64] = np.trace(np.linalg.inv(matrix), axis1=1, axis2=2)
    return summed
