"""Timetable by earliest start: load after load in the order of the plan, then tempers."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain, count
from typing import Final

from quenchbook.bench.timetable import DAY, Timetable
from quenchbook.bench.timetable_steps import (
    Pace,
    Placement,
    Use,
    finished_timetable,
    furnace_uses,
    heat_start,
    reference_time,
    whole,
)
from quenchbook.bench.work_list import ColdWork, LoadWork, TemperWork, WorkList, work_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours, hours_of

_GRID: Final = 5  # minutes between starts that are tried
_OVERTIME: Final = 120  # minutes after hours in which a load may still start, if nothing else helps
_NEXT_DAY: Final = 240  # a load on another day than its plan counts like so many minutes missed
_LATEST: Final = 2 * DAY  # later starts of a group are looked at only if none was found
_SEARCHED: Final = DAY  # a group without a delay is looked for as long
_TEMPERS_SEARCHED: Final = 7 * DAY  # before a temper may lie outside working hours
_NEAR: Final = 20  # minutes beyond the tolerance that are tried one by one
_NEVER: Final = 10**9

Span = tuple[int, int]


def bench_timetable(matrix: CouponMatrix, *, hours: WorkHours | None = None) -> Timetable:
    """Timetable of a plan for one person and one furnace.

    Loads stay in their randomized order; each starts as early as all its delays can be kept. Where
    they cannot, the start that misses least is taken, and every miss is named.

    Parameters
    ----------
    matrix : CouponMatrix
    hours : WorkHours, optional
        Working hours and times; those of the study file when left out.

    Returns
    -------
    Timetable
    """
    hours = hours_of(matrix.study) if hours is None else hours
    work = work_list(matrix, hours)
    placed = placed_tempers(work, placed_loads(work, hours), hours)
    return finished_timetable(matrix, work, placed, hours)


@dataclass
class _Bench:
    """Who and what is taken when, while work is placed.

    Attributes
    ----------
    pace : Pace
    busy : bytearray
        1 for each minute in which the hands are at work.
    baths : dict of route to list of (start, end, coupons)
    """

    pace: Pace
    busy: bytearray
    baths: dict[str, list[tuple[int, int, int]]] = field(default_factory=dict)

    def free(self, start: int, end: int) -> bool:
        """Whether the hands are free."""
        return start >= 0 and self.busy.find(1, start, end) == -1

    def free_from(self, start: int, minutes: int, *, open_only: bool) -> int:
        """First start of a task from `start` on with free hands, inside working hours if asked."""
        while True:
            taken = self.busy.rfind(1, start, start + minutes)
            if taken != -1:
                start = taken + 1
            elif open_only and self.pace.outside(start, start + minutes):
                if minutes > self.pace.hours.closes - self.pace.hours.opens:
                    return _NEVER
                start = self._next_opening(start)
            else:
                return start

    def _next_opening(self, minute: int) -> int:
        day, own = divmod(minute, DAY)
        return (day + (own >= self.pace.hours.opens)) * DAY + self.pace.hours.opens

    def mark(self, spans: list[Span], value: int = 1) -> None:
        """Take or give back the hands."""
        for start, end in spans:
            self.busy[start:end] = bytes([value]) * (end - start)

    def has_room(self, own: ColdWork, start: int, end: int) -> bool:
        """Whether the bath has room; a group larger than the bath goes in alone."""
        others = [
            span for span in self.baths.get(own.route, []) if span[0] < end and span[1] > start
        ]
        most = max((_load_at(others, max(s, start)) for s, _, _ in others), default=0)
        return most + own.coupons <= max(own.capacity, own.coupons)


def _load_at(spans: list[tuple[int, int, int]], minute: int) -> int:
    return sum(coupons for start, end, coupons in spans if start <= minute < end)


@dataclass(frozen=True)
class _Choice:
    """One way to place a load or a group: its start, its groups, and the minutes missed."""

    missed: int
    start: int
    cold: tuple[tuple[ColdWork, int, int], ...] = ()


def placed_loads(work: WorkList, hours: WorkHours) -> Placement:
    """Starts of loads, and of groups that go into the cold before their temper."""
    pace, placed = Pace(hours), Placement()
    bench = _Bench(pace, bytearray(_horizon(work)))
    before: tuple[LoadWork, int] | None = None
    plan_day, first_day = 0, 1
    for place, own in enumerate(work.loads):
        if work.has_days and own.day != plan_day:
            first_day = 1 if before is None else before[1] // DAY + 2
            plan_day = own.day
        rest = [o for o in work.loads[place + 1 :] if work.has_days and o.day == own.day]
        groups = _in_turn(g for g in work.cold if g.load == own.load and not g.after_tempers)
        choice = _load_choice(bench, own, groups, before, first_day, rest, work.has_days)
        _take_load(bench, placed, own, before, choice)
        before = (own, pace.quench_end(own, choice.start))
    return placed


def placed_tempers(work: WorkList, placed: Placement, hours: WorkHours) -> Placement:
    """Starts of tempers, and of groups that go into the cold after them, added to a placement."""
    pace = Pace(hours)
    bench = _bench_of(work, placed, pace)
    taken: list[Span] = []
    for own in sorted(work.tempers, key=lambda own: (_ready(own, work, placed, pace), own.batch)):
        ready = _ready(own, work, placed, pace)
        for cycle in range(1, own.cycles + 1):
            uses = furnace_uses(work, placed, pace)
            start = _temper_start(bench, own, ready, taken, uses)
            placed.tempers[own.batch, cycle] = start
            end = pace.temper_end(own, start)
            taken.append((start, end))
            bench.mark(_temper_hands(own, start, uses, pace))
            ready = end + pace.cooling
    for group in _in_turn(g for g in work.cold if g.after_tempers):
        since = reference_time(group, work, placed, pace)
        choice = _group_choice(bench, group, since, strict=True) or _group_choice(
            bench, group, since, strict=False
        )
        assert choice is not None  # the elastic choice always finds a start
        _take_group(bench, placed, choice)
    return placed


# --- loads -------------------------------------------------------------------------------------


def _load_choice(
    bench: _Bench,
    own: LoadWork,
    groups: list[ColdWork],
    before: tuple[LoadWork, int] | None,
    first_day: int,
    rest: list[LoadWork],
    has_days: bool,
) -> _Choice:
    """Earliest start that meets everything; else the one that misses least."""
    hours = bench.pace.hours
    days = range(first_day, first_day + (1 if has_days else 4))
    if before is not None:
        days = range(max(first_day, before[1] // DAY + 1), max(days.stop, before[1] // DAY + 2))
    latest = _NEVER
    for day in days:
        earliest = _earliest(bench.pace, own, before, day)
        close = (day - 1) * DAY + hours.closes
        # loads that follow on this day must still fit, else keeping this delay costs theirs
        room = close - _least_minutes(bench.pace, own, rest)
        latest = max(earliest, room)
        for start in range(earliest, max(latest, earliest) + 1, _GRID):
            found = _tried(bench, own, groups, before, start, _NEVER, strict=True)
            if found is not None:
                return found
    best: _Choice | None = None
    for shift, day in enumerate([*days, days.stop]):
        extra = _NEXT_DAY * shift if has_days else 0
        if best is not None and (not has_days or best.missed <= extra):
            break
        earliest = _earliest(bench.pace, own, before, day)
        close = (day - 1) * DAY + hours.closes
        stop = max(earliest, min(close + _OVERTIME, max(latest, close) if not rest else latest))
        for start in range(earliest, stop + 1, 6 * _GRID):
            limit = _NEVER if best is None else best.missed
            found = _tried(bench, own, groups, before, start, limit - extra, strict=False)
            if found is not None and found.missed + extra < limit:
                best = _Choice(found.missed + extra, found.start, found.cold)
    start = _earliest(bench.pace, own, before, days.stop - 1)
    while best is None:  # the hands were taken at every start that was tried
        best = _tried(bench, own, groups, before, start, _NEVER, strict=False)
        start += 1
    return best


def _earliest(pace: Pace, own: LoadWork, before: tuple[LoadWork, int] | None, day: int) -> int:
    """Earliest minute of a day at which a load can go into the furnace."""
    opens = (day - 1) * DAY + pace.hours.opens
    if before is not None and before[1] // DAY + 1 == day:
        return max(opens, before[1] + pace.ramp(before[0].setting, own.setting))
    cold = opens + pace.ramp(None, own.setting)
    return max(cold, opens + whole(pace.hours.switch_on))


def _least_minutes(pace: Pace, own: LoadWork, rest: list[LoadWork]) -> int:
    """Shortest time from loading this load to the last quench of its day."""
    minutes = pace.quench_end(own, 0)
    for earlier, later in zip([own, *rest], rest, strict=False):
        minutes += pace.ramp(earlier.setting, later.setting) + pace.quench_end(later, 0)
    return minutes


def _tried(
    bench: _Bench,
    own: LoadWork,
    groups: list[ColdWork],
    before: tuple[LoadWork, int] | None,
    start: int,
    limit: int,
    *,
    strict: bool,
) -> _Choice | None:
    """A load at a start with its groups; None if something is missed, or `limit` and more."""
    pace = bench.pace
    hands = _load_hands(own, before, start, pace)
    if not all(bench.free(*span) for span in hands):
        return None
    missed = sum(pace.outside(*span) for span in hands)
    if missed >= (1 if strict else limit):
        return None
    bench.mark(hands)
    chosen: list[tuple[ColdWork, int, int]] = []
    since = pace.quench_end(own, start)
    for group in groups:
        found = _group_choice(bench, group, since, strict=strict, limit=limit - missed)
        if found is None:
            break
        missed += found.missed
        chosen += found.cold
        _hold(bench, found)
    whole_load = len(chosen) == len(groups)
    for group, into, out in chosen:
        bench.mark(_cold_hands(into, out, pace), 0)
        bench.baths[group.route].pop()
    bench.mark(hands, 0)
    return _Choice(missed, start, tuple(chosen)) if whole_load else None


def _take_load(
    bench: _Bench,
    placed: Placement,
    own: LoadWork,
    before: tuple[LoadWork, int] | None,
    choice: _Choice,
) -> None:
    placed.loads[own.load] = choice.start
    bench.mark(_load_hands(own, before, choice.start, bench.pace))
    for group in choice.cold:
        _take_group(bench, placed, _Choice(0, 0, (group,)))


def _load_hands(
    own: LoadWork, before: tuple[LoadWork, int] | None, start: int, pace: Pace
) -> list[Span]:
    """When a load needs hands: switch on if the furnace is cold, put in, quench."""
    quench, end = pace.quench_start(own, start), pace.quench_end(own, start)
    hands = [(start, start + pace.loading), (quench, end)]
    last = None if before is None else Use(0, before[1], before[0].setting)
    heat, switched = heat_start(last, Use(start, end, own.setting), pace)
    if switched:
        hands.append((heat, min(heat + whole(pace.hours.switch_on), start)))
    return hands


# --- groups that go into the cold --------------------------------------------------------------


def _group_choice(
    bench: _Bench, own: ColdWork, since: int, *, strict: bool, limit: int = _NEVER
) -> _Choice | None:
    """When a group goes in and out: nearest to its delay, or what misses least below `limit`."""
    pace, transfer = bench.pace, bench.pace.transfer
    best: _Choice | None = None
    for cold in _cold_starts(own, since, transfer, strict):
        late = max(0, abs(cold - since - own.delay) - own.tolerance) if own.delay is not None else 0
        # once there is any other way, later starts are not worth a look
        if late >= limit or (limit < _NEVER // 2 and cold > since + (own.delay or 0) + _LATEST):
            break
        into = cold - transfer
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
                best, limit = _Choice(total, into, ((own, into, out),)), total
    return best


def _cold_starts(own: ColdWork, since: int, transfer: int, strict: bool) -> Iterator[int]:
    """Starts of the cold step, nearest to the delay first, at last in steps of a few minutes."""
    least = since + transfer
    if own.delay is None:
        yield from range(least, least + _NEAR)
        later = range(least + _NEAR, least + _SEARCHED, 2 * _GRID)
        yield from later if strict else count(later.start, 2 * _GRID)
        return
    wanted = since + own.delay
    near = own.tolerance + (0 if strict else _NEAR)
    far = near + 48 * _GRID
    wider = () if strict else chain(range(near + 15, far, 3 * _GRID), count(far, 12 * _GRID))
    for off in chain(range(near + 1), wider):
        if wanted + off >= least:
            yield wanted + off
        if off and wanted - off >= least:
            yield wanted - off


def _outs(bench: _Bench, own: ColdWork, cold: int) -> Iterator[Span]:
    """Minutes missed and start of taking a group out: inside working hours, and as planned."""
    due = cold + own.cooling + own.hold
    minutes = bench.pace.take_out
    seen = -1
    for open_only in (True, False):
        out = bench.free_from(due, minutes, open_only=open_only)
        if out not in (seen, _NEVER):
            late = max(0, out - cold - own.cooling - own.at_most)
            yield late + bench.pace.outside(out, out + minutes), out
        seen = out


def _hold(bench: _Bench, choice: _Choice) -> None:
    for group, into, out in choice.cold:
        bench.mark(_cold_hands(into, out, bench.pace))
        span = (into + bench.pace.transfer, out + bench.pace.take_out, group.coupons)
        bench.baths.setdefault(group.route, []).append(span)


def _take_group(bench: _Bench, placed: Placement, choice: _Choice) -> None:
    _hold(bench, choice)
    for group, into, out in choice.cold:
        placed.cold[group.batch] = (into, out)


def _cold_hands(into: int, out: int, pace: Pace) -> list[Span]:
    return [(into, into + pace.transfer), (out, out + pace.take_out)]


def _in_turn(groups: Iterator[ColdWork]) -> list[ColdWork]:
    """Groups with the least freedom first: short delays, then those that may be missed least."""
    return sorted(
        groups,
        key=lambda g: (g.delay is None, g.tolerance, g.delay or 0, g.batch),
    )


# --- tempers -----------------------------------------------------------------------------------


def _ready(own: TemperWork, work: WorkList, placed: Placement, pace: Pace) -> int:
    """When all coupons of a batch are quenched and, where they must be, out of the cold."""
    quenched = [
        pace.quench_end(load, placed.loads[load.load])
        for load in work.loads
        if load.load in own.loads
    ]
    return max([*quenched, *(placed.cold[batch][1] + pace.take_out for batch in own.cold)])


def _temper_start(
    bench: _Bench, own: TemperWork, ready: int, taken: list[Span], uses: list[Use]
) -> int:
    """Earliest start inside working hours; else the one that lies least outside.

    `taken` are the times of the oven, `uses` those of the furnace where tempers have no oven.
    """
    pace, in_furnace = bench.pace, bench.pace.hours.temper_in == "furnace"
    best, least, start = -1, _NEVER, ready
    while best == -1 or start < ready + _TEMPERS_SEARCHED:
        hands = _temper_hands(own, start, uses, pace)
        outside = sum(pace.outside(*span) for span in hands)
        use = Use(start, pace.temper_end(own, start), own.setting)
        if (
            outside < least
            and all(bench.free(*span) for span in hands)
            and (
                _fits_furnace(uses, use, pace)
                if in_furnace
                else all(b <= use.start or a >= use.end for a, b in taken)
            )
        ):
            best, least = start, outside
            if not outside:
                break
        start += 1 if start < ready + DAY else _GRID
    return best


def _fits_furnace(uses: list[Use], own: Use, pace: Pace) -> bool:
    """Whether the furnace can be at the setting before, and at the next one after."""
    before = max((u for u in uses if u.start < own.start), key=lambda u: u.start, default=None)
    after = min((u for u in uses if u.start >= own.start), key=lambda u: u.start, default=None)
    heat, switched = heat_start(before, own, pace)
    if before is not None and heat < before.end:
        return False
    if (
        not switched
        and before is not None
        and own.start - heat < pace.ramp(before.setting, own.setting)
    ):
        return False
    if after is None:
        return True
    heat, switched = heat_start(own, after, pace)
    needed = 0 if switched else pace.ramp(own.setting, after.setting)
    return heat >= own.end and after.start - heat >= needed


def _temper_hands(own: TemperWork, start: int, uses: list[Use], pace: Pace) -> list[Span]:
    """When a temper needs hands: put in, take out, switch on where it is first in the furnace."""
    out = pace.temper_out(own, start)
    hands = [(start, start + pace.tray), (out, out + pace.tray)]
    if pace.hours.temper_in == "furnace":
        before = max((u for u in uses if u.start < start), key=lambda u: u.start, default=None)
        heat, switched = heat_start(before, Use(start, out + pace.tray, own.setting), pace)
        if switched:
            hands.append((heat, min(heat + whole(pace.hours.switch_on), start)))
    return hands


def _bench_of(work: WorkList, placed: Placement, pace: Pace) -> _Bench:
    """State of the bench after the loads of a placement."""
    bench = _Bench(pace, bytearray(_horizon(work)))
    before: tuple[LoadWork, int] | None = None
    groups = {group.batch: group for group in work.cold}
    for own in work.loads:
        bench.mark(_load_hands(own, before, placed.loads[own.load], pace))
        before = (own, pace.quench_end(own, placed.loads[own.load]))
    for batch, (into, out) in placed.cold.items():
        _hold(bench, _Choice(0, 0, ((groups[batch], into, out),)))
    return bench


def _horizon(work: WorkList) -> int:
    """Minutes that are surely enough for all work."""
    longest = sum(g.cooling + g.at_most + (g.delay or 0) + DAY for g in work.cold)
    tempers = sum(own.cycles * (2 + math.ceil(own.hold / DAY)) for own in work.tempers)
    return (3 * len(work.loads) + tempers + 12) * DAY + longest + 2 * _LATEST
