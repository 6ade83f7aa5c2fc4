"""Regular two-level fractions as sets of bits: columns, words, and the search for columns.

With 2^m treatments, each factor is a column: a number of m bits that says which of the m basic
factors are multiplied to get its levels. Factors whose columns XOR to zero form a word: their
product is the same in every treatment, so each part of the word cannot be told from the rest.
"""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

Counts = npt.NDArray[np.int64]

KEPT: Final = 60
"""Sets of columns that are kept after each factor of the search."""


@dataclass(frozen=True)
class Tier:
    """Factors that are set for one kind of unit, such as the furnace load.

    Attributes
    ----------
    factors : int
        Number of factors.
    basic : int
        How many of them are free of each other: the unit has 2^basic settings inside the unit
        before it. The others are products of basic factors of this tier and of those before.
    """

    factors: int
    basic: int


def level_codes(columns: Sequence[int], basic: int) -> Counts:
    """Levels of all factors in all treatments, first basic factor slowest.

    Parameters
    ----------
    columns : sequence of int
        Bit i stands for basic factor i.
    basic : int
        Number of basic factors.

    Returns
    -------
    ndarray, shape (2^basic, factors)
        -1 for the first level, 1 for the second; products of the columns of the basic factors.
    """
    rows = np.arange(2**basic)
    base = np.column_stack([2 * (rows >> (basic - 1 - bit) & 1) - 1 for bit in range(basic)])
    chosen = [[bit for bit in range(basic) if column >> bit & 1] for column in columns]
    return np.column_stack([np.prod(base[:, bits], axis=1) for bits in chosen]).astype(np.int64)


def defining_words(columns: Sequence[int]) -> tuple[tuple[int, ...], ...]:
    """Sets of factors whose columns XOR to zero, short words first.

    Parameters
    ----------
    columns : sequence of int
        Each bit must be the whole column of some factor.

    Returns
    -------
    tuple of tuples
        Places of the factors of each word in `columns`; 2^(factors - basic) - 1 words.
    """
    basic: dict[int, int] = {}
    generators = []
    for place, column in enumerate(columns):
        if column.bit_count() == 1 and column not in basic:
            basic[column] = place
    for place, column in enumerate(columns):
        if basic.get(column) != place:
            word = 1 << place
            for bit in range(column.bit_length()):
                if column >> bit & 1:
                    word |= 1 << basic[1 << bit]
            generators.append(word)
    words = [0]
    for generator in generators:
        words += [word ^ generator for word in words]
    sets = [tuple(i for i in range(len(columns)) if word >> i & 1) for word in words[1:]]
    return tuple(sorted(sets, key=lambda word: (len(word), word)))


def word_lengths(columns: Sequence[int]) -> tuple[int, ...]:
    """Number of words of length 1, 2, ... up to the number of factors.

    >>> word_lengths([1, 2, 4, 7])  # half of three factors and their product
    (0, 0, 0, 1)
    """
    lengths = [len(word) for word in defining_words(columns)]
    return tuple(lengths.count(length) for length in range(1, len(columns) + 1))


@functools.lru_cache(maxsize=256)
def best_columns(tiers: tuple[Tier, ...]) -> tuple[int, ...] | None:
    """Columns with the highest resolution and, among those, the fewest short words.

    Minimum aberration (Fries and Hunter 1980, Technometrics 22:601): the numbers of words of
    length 3, 4, ... are compared one after the other, the smaller wins. Factors are added one by
    one to the best `KEPT` sets of columns; sets that are alike but for the names of the factors
    are kept once.

    What is proven and what is searched: with one tier, up to 11 factors in 32 treatments, 12 in
    16 and 10 in 64 or 128, no other fraction has fewer short words (the tests try every set of
    columns). Beyond that, and with several tiers, it is the best set found; for 12 factors in 32,
    11 and 12 in 64, and 11 in 128 it has the published numbers of words.

    Parameters
    ----------
    tiers : tuple of Tier
        From the coarsest unit to the finest. Columns of a tier stay in the span of its basic
        factors and those of earlier tiers, and are never made of earlier tiers alone: a factor
        of the coupon changes inside a furnace load.

    Returns
    -------
    tuple of int or None
        Columns of the factors, tier after tier, basic factors first; None when there are more
        factors than different columns.
    """
    basic = sum(tier.basic for tier in tiers)
    columns: list[int] = []
    steps: list[tuple[int, range]] = []  # place of the factor, columns it may have
    before = 0
    for tier in tiers:
        span = before + tier.basic
        columns += [1 << bit for bit in range(before, span)]
        added = range(len(columns), len(columns) + tier.factors - tier.basic)
        steps += [(place, range(1 << before, 1 << span)) for place in added]
        columns += [0] * len(added)
        before = span
    most = sum(tier.factors for tier in tiers)
    start = np.zeros((2**basic, most + 1), dtype=np.int64)
    vectors = np.arange(2**basic)
    start[vectors, [int(vector).bit_count() for vector in vectors]] = 1
    zones = _zones(tiers)
    kept = [(start, tuple(columns))]
    for place, allowed in steps:
        kept = _grown(kept, place, np.array(allowed), zones)
    return kept[0][1] if kept else None


def _grown(
    kept: list[tuple[Counts, tuple[int, ...]]], place: int, allowed: Counts, zones: Counts
) -> list[tuple[Counts, tuple[int, ...]]]:
    """The best sets with one more factor.

    A set comes with its counts, shape (2^basic, factors + 1): how many of its subsets of j
    factors XOR to v. They give the words of every longer set at once.
    """
    patterns, origins = [], []
    for number, (counts, _) in enumerate(kept):
        free = allowed[counts[allowed, 1] == 0]
        shifted = np.zeros((len(free), counts.shape[1]), dtype=np.int64)
        shifted[:, 1:] = counts[free, :-1]
        patterns.append(counts[0] + shifted)
        origins += [(number, int(column)) for column in free]
    if not origins:
        return []
    pattern = np.vstack(patterns)
    order = np.lexsort(pattern.T[::-1])
    grown: list[tuple[Counts, tuple[int, ...]]] = []
    seen: set[bytes] = set()
    for index in order:
        number, column = origins[index]
        counts, columns = kept[number]
        longer = counts.copy()
        longer[:, 1:] += counts[np.arange(len(counts)) ^ column, :-1]
        alike = np.column_stack([zones, longer])
        key = alike[np.lexsort(alike.T)].tobytes()
        if key not in seen:
            seen.add(key)
            grown.append((longer, (*columns[:place], column, *columns[place + 1 :])))
        if len(grown) == KEPT:
            break
    return grown


def _zones(tiers: tuple[Tier, ...]) -> Counts:
    """Number of the tier whose settings tell each vector, shape (2^basic,)."""
    ends = np.cumsum([tier.basic for tier in tiers])
    bits = [int(vector).bit_length() for vector in range(2 ** int(ends[-1]))]
    return np.searchsorted(ends, bits).astype(np.int64)
