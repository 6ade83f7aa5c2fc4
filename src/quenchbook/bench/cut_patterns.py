"""Which lengths are cut from which bar so that the stock is shortest: patterns and integer program.

Lengths are whole micrometres here, so that what fits is decided without rounding.

References
----------
Gilmore and Gomory (1961), A linear programming approach to the cutting-stock problem, Operations
Research 9:849 (citation from memory): the model; here with every pattern listed at once.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from quenchbook.errors import PlanError
from quenchbook.units import NO_BREAK, listed, number_text, with_unit

MOST_PATTERNS: Final = 20_000
MOST_SECONDS: Final = 20.0


@dataclass(frozen=True)
class Saw:
    """Width of a cut and what is thrown away at each end of a bar [um]."""

    kerf: int
    end_discard: int

    def room(self, bar: int) -> int:
        """What a bar has for pieces, each with one cut after it [um]; one cut comes before all."""
        return bar - 2 * self.end_discard - self.kerf


@dataclass(frozen=True)
class Need:
    """What is to be cut.

    Attributes
    ----------
    lengths, counts : tuple of int
        Lengths [um] and how many of each, from any bar.
    sets : tuple of tuple of int
        Lengths [um] that have to come from one bar together.
    """

    lengths: tuple[int, ...]
    counts: tuple[int, ...]
    sets: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True)
class Pattern:
    """What is cut from one bar.

    Attributes
    ----------
    bar : int
        Place of the kind of bar in the stock.
    together : tuple of int
        The set of `Need` that is in it; empty: none.
    counts : tuple of int
        Pieces of each length besides.
    """

    bar: int
    together: tuple[int, ...]
    counts: tuple[int, ...]


def pieces_of_a_bar(
    bar_mm: float, piece_mm: float, *, kerf_mm: float, end_discard_mm: float
) -> int:
    """How many pieces of one length a bar gives: n pieces need n + 1 cuts.

    >>> pieces_of_a_bar(500.0, 25.0, kerf_mm=1.6, end_discard_mm=10.0)
    17
    """
    saw = Saw(microns(kerf_mm), microns(end_discard_mm))
    return max(0, saw.room(microns_of_bar(bar_mm)) // (microns(piece_mm) + saw.kerf))


def microns(length_mm: float) -> int:
    """Length of a piece or a cut, rounded up [um]."""
    return int(np.ceil(length_mm * 1000 - 1e-6))


def microns_of_bar(length_mm: float) -> int:
    """Length of a bar, rounded down [um]."""
    return int(np.floor(length_mm * 1000 + 1e-6))


def shortest_stock(
    need: Need, bars: Sequence[int], most: Sequence[int | None], saw: Saw
) -> tuple[list[Pattern], bool]:
    """Bars that give everything, one pattern for each bar, and whether nothing shorter does.

    Parameters
    ----------
    need : Need
    bars : sequence of int
        Lengths of the bars to be had [um].
    most : sequence of int or None
        How many of each there are; None: as many as needed.
    saw : Saw

    Returns
    -------
    list of Pattern, bool
        Longest bars first; the total length is proven to be the least if true.

    Raises
    ------
    PlanError
        If something fits into no bar, or the bars are too few; says what is missing.
    """
    _check_fit(need, bars, saw)
    found = list(itertools.islice(_patterns(need, bars, saw), MOST_PATTERNS + 1))
    patterns, complete = found[:MOST_PATTERNS], len(found) <= MOST_PATTERNS
    result = _solved(need, bars, most, patterns)
    if result.status == 2:
        raise PlanError(_shortage(need, bars, most, patterns))
    if result.x is None:
        raise PlanError(
            f"No cut list was found in {MOST_SECONDS:.0f} s. Write fewer different lengths."
        )
    used = np.rint(result.x).astype(int)
    chosen = [own for own, times in zip(patterns, used, strict=True) for _ in range(times)]
    chosen.sort(key=lambda own: (-bars[own.bar], own.bar, own.together, own.counts))
    return _trimmed(chosen, need), complete and result.status == 0


def _check_fit(need: Need, bars: Sequence[int], saw: Saw) -> None:
    room = max(saw.room(bar) for bar in bars)
    longest = max(need.lengths, default=0)
    if need.lengths and longest + saw.kerf > room:
        raise PlanError(
            f"A piece of {_mm(longest)} fits into no bar: the longest is {_mm(max(bars))}, of "
            f"which the ends and two cuts leave {_mm(max(0, room - saw.kerf))}."
        )
    for own in need.sets:
        if _length(own, saw) > room:
            whole = _length(own, saw) + 2 * saw.end_discard + saw.kerf
            raise PlanError(
                f"{len(own)} pieces are to come from one bar: with their cuts and the ends they "
                f"need {_mm(whole)}, the longest bar is {_mm(max(bars))}. Write longer bars below "
                "[stock], or fewer coupons_per_bar below [layout] before the plan is made."
            )


def _length(pieces: Sequence[int], saw: Saw) -> int:
    """Pieces, each with the cut after it [um]."""
    return sum(pieces) + len(pieces) * saw.kerf


def _patterns(need: Need, bars: Sequence[int], saw: Saw) -> Iterator[Pattern]:
    """Every pattern into which no other piece fits, after plain ones of one length or set."""
    sizes = [length + saw.kerf for length in need.lengths]
    none = (0,) * len(sizes)
    sets = tuple(dict.fromkeys(need.sets))
    for at, bar in enumerate(bars):
        room = saw.room(bar)
        for own in sets:  # so that there is an answer whatever is left out
            if _length(own, saw) <= room:
                yield Pattern(at, own, none)
        for place, size in enumerate(sizes):
            if count := min(room // size, need.counts[place]):
                yield Pattern(at, (), (*none[:place], count, *none[place + 1 :]))
    for at, bar in enumerate(bars):
        for own in ((), *sets):
            room = saw.room(bar) - _length(own, saw)
            if room >= 0:
                for counts in _fillings(room, sizes, need.counts):
                    if sum(map(bool, counts)) + bool(own) > 1:
                        yield Pattern(at, own, counts)


def _fillings(room: int, sizes: Sequence[int], most: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """How many of each size fit, so that no other one does."""

    def fillings(room: int, at: int, smallest: float) -> Iterator[tuple[int, ...]]:
        # `smallest`: of the sizes before, of which there could be one more
        if at == len(sizes):
            if room < smallest:
                yield ()
            return
        highest = min(room // sizes[at], most[at])
        lowest = highest if at == len(sizes) - 1 else 0
        for count in range(highest, lowest - 1, -1):
            more = smallest if count == most[at] else min(smallest, sizes[at])
            for rest in fillings(room - count * sizes[at], at + 1, more):
                yield (count, *rest)

    return fillings(room, 0, math.inf)


def _solved(
    need: Need, bars: Sequence[int], most: Sequence[int | None], patterns: Sequence[Pattern],
    *, may_add: bool = False,
) -> Any:  # fmt: skip
    """Result of the integer program; with `may_add`, the stock that is to be added is least."""
    from scipy.optimize import Bounds, LinearConstraint, milp

    sets = tuple(dict.fromkeys(need.sets))
    added = -np.eye(len(bars)) if may_add else np.zeros((len(bars), 0))
    none = np.zeros(added.shape[1])
    in_bars = np.array(
        [[own.bar == at for own in patterns] for at in range(len(bars))], dtype=float
    )
    in_sets = [[*(own.together == one for own in patterns), *none] for one in sets]
    in_pieces = [[*(own.counts[at] for own in patterns), *none] for at in range(len(need.lengths))]
    lengths = np.array(bars, dtype=float) / 1000
    cost = np.concatenate([0 * lengths @ in_bars, lengths]) if may_add else lengths @ in_bars
    limits = [np.inf if count is None else float(count) for count in most]
    rules = [LinearConstraint(np.hstack([in_bars, added]), -np.inf, limits)]
    if in_pieces:
        rules.append(LinearConstraint(np.array(in_pieces), np.array(need.counts, float), np.inf))
    if sets:
        wanted = np.array([need.sets.count(one) for one in sets], dtype=float)
        rules.append(LinearConstraint(np.array(in_sets, dtype=float), wanted, wanted))
    bounds = Bounds(0, sum(need.counts) + len(need.sets))
    relaxed = milp(cost, constraints=rules, bounds=bounds)
    if relaxed.x is not None:
        # no whole number of bars is shorter than this; told in advance, the proof is short
        step = math.gcd(*bars) / 1000
        least = step * math.ceil(relaxed.fun / step - 1e-6)
        rules.append(LinearConstraint(cost[None, :], least - 1e-3, np.inf))
    return milp(
        cost, constraints=rules, bounds=bounds, integrality=np.ones(len(cost), dtype=np.int64),
        options={"time_limit": MOST_SECONDS, "mip_rel_gap": 0.0},
    )  # fmt: skip


def _shortage(
    need: Need, bars: Sequence[int], most: Sequence[int | None], patterns: Sequence[Pattern]
) -> str:
    """What is to be added to the stock at least, in words."""
    there = listed([_bars_text(count or 0, bar) for bar, count in zip(bars, most, strict=True)])
    result = _solved(need, bars, most, patterns, may_add=True)
    if result.x is None:
        return f"The stock is too short: {there}. Add bars below [stock]."
    more = np.rint(result.x[len(patterns) :]).astype(int)
    missing = [_bars_text(int(count), bar) for bar, count in zip(bars, more, strict=True) if count]
    total = int(sum(int(count) * bar for bar, count in zip(bars, more, strict=True)))
    return (
        f"The stock is too short: there are {there}. At least {_mm(total)} are missing: "
        f"{listed(missing)} more. Add them below [stock]."
    )


def _trimmed(chosen: Sequence[Pattern], need: Need) -> list[Pattern]:
    """Patterns without the pieces that are more than needed."""
    left = list(need.counts)
    found = []
    for own in chosen:
        counts = tuple(min(count, rest) for count, rest in zip(own.counts, left, strict=True))
        left = [rest - count for count, rest in zip(counts, left, strict=True)]
        found.append(Pattern(own.bar, own.together, counts))
    return found


def _bars_text(count: int, bar: int) -> str:
    return f"{count}{NO_BREAK}bar{'' if count == 1 else 's'} of {_mm(bar)}"


def _mm(length: int) -> str:
    decimals = 0 if length % 1000 == 0 else 1 if length % 100 == 0 else 3
    return with_unit(number_text(length / 1000, decimals), "mm")
