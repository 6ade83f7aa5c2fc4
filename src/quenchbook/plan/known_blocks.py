"""Balanced plans of incomplete blocks that are known, by construction."""

from __future__ import annotations

import functools
import itertools
from collections.abc import Mapping
from typing import Final

Blocks = tuple[tuple[int, ...], ...]

DIFFERENCE_FAMILIES: Final[Mapping[tuple[int, int], tuple[int, Blocks]]] = {
    (6, 3): (5, ((0, 1, 2), (0, 2, 5))),
    (7, 3): (7, ((0, 1, 3),)),
    (8, 4): (7, ((0, 1, 2, 4), (0, 1, 3, 7))),
    (9, 4): (9, ((0, 1, 2, 4), (0, 1, 4, 6))),
    (10, 3): (5, ((0, 1, 2), (0, 2, 5), (0, 5, 6), (0, 6, 9), (0, 7, 8), (0, 7, 9))),
    (10, 4): (5, ((0, 1, 2, 5), (0, 2, 7, 8), (0, 6, 7, 9))),
    (10, 5): (9, ((0, 1, 2, 3, 5), (0, 1, 4, 6, 9))),
    (11, 3): (11, ((0, 1, 2), (0, 1, 4), (0, 2, 6), (0, 2, 6), (0, 3, 6))),
    (11, 4): (11, ((0, 1, 2, 3), (0, 1, 3, 6), (0, 1, 4, 7), (0, 1, 5, 7), (0, 2, 4, 7))),
    (11, 5): (11, ((0, 1, 2, 4, 7),)),
    (12, 3): (11, ((0, 1, 2), (0, 2, 5), (0, 3, 7), (0, 5, 11))),
    (12, 4): (11, ((0, 1, 2, 4), (0, 1, 5, 7), (0, 3, 6, 11))),
    (12, 6): (11, ((0, 1, 2, 3, 5, 6), (0, 1, 4, 6, 8, 11))),
    (13, 3): (13, ((0, 1, 4), (0, 2, 7))),
    (13, 4): (13, ((0, 1, 3, 9),)),
    (13, 5): (13, ((0, 1, 2, 3, 6), (0, 1, 3, 6, 9), (0, 1, 5, 7, 9))),
    (13, 6): (13, ((0, 1, 2, 3, 5, 9), (0, 1, 3, 6, 7, 11))),
}
"""Levels and block size: modulus n and base blocks, from our own search over differences.

Adding 1, 2, ... to a base block gives n blocks. Levels count modulo n in each run of n levels (two
runs for 10 levels and n = 5); a level beyond the last whole run stays as it is.
"""


@functools.cache
def smallest_plan(levels: int, size: int) -> tuple[Blocks, str]:
    """The balanced plan with the fewest blocks that is known here.

    Parameters
    ----------
    levels, size : int
        ``1 < size <= levels``.

    Returns
    -------
    blocks : tuple of tuples of int
        Levels, numbered from 0, of each block.
    origin : str
        How the plan is made.
    """
    if size == levels:
        return (tuple(range(levels)),), "Complete blocks"
    if (levels, size) in DIFFERENCE_FAMILIES:
        return _developed(levels, *DIFFERENCE_FAMILIES[levels, size]), "Difference family"
    if (levels, size) == (9, 3):
        return _affine_plane(3), "Lines of an affine plane"
    rest = levels - size
    if (levels, rest) in DIFFERENCE_FAMILIES or (levels, rest) == (9, 3):
        plan, origin = smallest_plan(levels, rest)
        everything = frozenset(range(levels))
        others = tuple(tuple(sorted(everything - set(block))) for block in plan)
        return others, f"Complement: {origin.lower()}"
    return tuple(itertools.combinations(range(levels), size)), "All combinations of levels"


def _developed(levels: int, modulus: int, base: Blocks) -> Blocks:
    moved = levels - levels % modulus

    def shifted(level: int, by: int) -> int:
        run, place = divmod(level, modulus)
        return run * modulus + (place + by) % modulus if level < moved else level

    return tuple(
        tuple(sorted(shifted(level, by) for level in block))
        for block in base
        for by in range(modulus)
    )


def _affine_plane(order: int) -> Blocks:
    """Lines of the plane over the whole numbers modulo a prime; level x + order y is a point."""
    numbers = range(order)
    lines = [[x + order * y for y in numbers] for x in numbers]
    for slope, start in itertools.product(numbers, numbers):
        lines.append([x + order * ((slope * x + start) % order) for x in numbers])
    return tuple(tuple(sorted(line)) for line in lines)
