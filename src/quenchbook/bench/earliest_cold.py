"""Earliest start of groups that go into the cold: as near to their delay as can be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, count
from typing import Final

from quenchbook.bench.hands_and_baths import GRID, LATEST, NEVER, Bench, Span
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY
from quenchbook.bench.timetable_steps import Placement
from quenchbook.bench.work_list import ColdWork

_SEARCHED: Final = DAY  # a group without a delay is looked for as long
_NEAR: Final = 20  # minutes beyond the tolerance that are tried one by one


@dataclass(frozen=True)
class Choice:
    """One way to place a load or a group: its start, its groups, and the minutes missed."""

    missed: int
    start: int
    cold: tuple[tuple[ColdWork, int, int], ...] = ()


def group_choice(
    bench: Bench, own: ColdWork, since: int, *, strict: bool, limit: int = NEVER
) -> Choice | None:
    """When a group goes in and out: nearest to its delay, or what misses least below `limit`."""
    pace, transfer = bench.pace, bench.pace.transfer
    best: Choice | None = None
    for cold in _cold_starts(own, since, transfer, strict):
        late = max(0, abs(cold - since - own.delay) - own.tolerance) if own.delay is not None else 0
        # once there is any other way, later starts are not worth a look
        if late >= limit or (limit < NEVER // 2 and cold > since + (own.delay or 0) + LATEST):
            break
        into = cold - transfer
        if pace.on_rest_day(into, cold):
            continue
        # a bath that is full until the group would be due needs no look at the hands
        if not (bench.free(into, cold) and bench.has_room(own, cold, cold + own.hold)):
            continue
        missed = late + pace.outside(into, cold)
        if missed and strict:
            continue
        for missed_out, out in _outs(bench, own, cold):
            total = missed + missed_out
            if total >= (1 if strict else limit):
                continue
            if bench.has_room(own, cold, out + pace.take_out):
                best, limit = Choice(total, into, ((own, into, out),)), total
    return best


def _cold_starts(own: ColdWork, since: int, transfer: int, strict: bool) -> Iterator[int]:
    """Starts of the cold step, nearest to the delay first, at last in steps of a few minutes."""
    least = since + transfer
    if own.delay is None:
        yield from range(least, least + _NEAR)
        later = range(least + _NEAR, least + _SEARCHED, 2 * GRID)
        yield from later if strict else count(later.start, 2 * GRID)
        return
    wanted = since + own.delay
    near = own.tolerance + (0 if strict else _NEAR)
    far = near + 48 * GRID
    wider = () if strict else chain(range(near + 15, far, 3 * GRID), count(far, 12 * GRID))
    for off in chain(range(near + 1), wider):
        if wanted + off >= least:
            yield wanted + off
        if off and wanted - off >= least:
            yield wanted - off


def _outs(bench: Bench, own: ColdWork, cold: int) -> Iterator[Span]:
    """Minutes missed and start of taking a group out: inside working hours, and as planned."""
    due = cold + own.cooling + own.hold
    minutes = bench.pace.take_out
    seen = -1
    for open_only in (True, False):
        out = bench.free_from(due, minutes, open_only=open_only)
        if seen not in (-1, NEVER) and bench.pace.on_rest_day(out, out + minutes):
            continue
        if out not in (seen, NEVER):
            late = max(0, out - cold - own.cooling - own.at_most)
            yield late + bench.pace.outside(out, out + minutes), out
        seen = out


def reserve_cold(bench: Bench, choice: Choice) -> None:
    """Take hands and baths for the groups of a choice."""
    for group, into, out in choice.cold:
        bench.mark(cold_hands(into, out, bench.pace))
        span = (into + bench.pace.transfer, out + bench.pace.take_out, group.coupons)
        bench.baths.setdefault(group.route, []).append(span)


def take_group(bench: Bench, placed: Placement, choice: Choice) -> None:
    """Write the groups of a choice into a placement, with their hands and baths."""
    reserve_cold(bench, choice)
    for group, into, out in choice.cold:
        placed.cold[group.batch] = (into, out)


def cold_hands(into: int, out: int, pace: Pace) -> list[Span]:
    """When a group needs hands: put in, take out."""
    return [(into, into + pace.transfer), (out, out + pace.take_out)]


def in_turn(groups: Iterator[ColdWork]) -> list[ColdWork]:
    """Groups with the least freedom first: short delays, then those that may be missed least."""
    return sorted(
        groups,
        key=lambda g: (g.delay is None, g.tolerance, g.delay or 0, g.batch),
    )
