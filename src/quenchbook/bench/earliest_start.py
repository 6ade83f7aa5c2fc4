"""Loads by earliest start: one after the other in the order of the plan, with their groups."""

from __future__ import annotations

from typing import Final

from quenchbook.bench.earliest_cold import (
    Choice,
    cold_hands,
    group_choice,
    in_turn,
    reserve_cold,
    take_group,
)
from quenchbook.bench.hands_and_baths import GRID, NEVER, Bench, horizon, load_hands
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, whole
from quenchbook.bench.timetable_steps import Placement
from quenchbook.bench.work_list import ColdWork, LoadWork, WorkList
from quenchbook.study.hours import WorkHours

_OVERTIME: Final = 120  # minutes after hours in which a load may still start, if nothing else helps
_DAYS_SEARCHED: Final = 4  # with work, for the first start that meets everything
_NEXT_DAY: Final = 240  # a load on another day than its plan counts like so many minutes missed


def placed_loads(work: WorkList, hours: WorkHours) -> Placement:
    """Starts of loads, and of groups that go into the cold before their temper."""
    pace, placed = Pace(hours), Placement()
    bench = Bench(pace, bytearray(horizon(work, pace)))
    before: tuple[LoadWork, int] | None = None
    plan_day, first_day = 0, 1
    for place, own in enumerate(work.loads):
        if work.has_days and own.day != plan_day:
            first_day = 1 if before is None else before[1] // DAY + 2
            plan_day = own.day
        rest = [o for o in work.loads[place + 1 :] if work.has_days and o.day == own.day]
        groups = in_turn(g for g in work.cold if g.load == own.load and not g.after_tempers)
        together = {own.load, *(o.load for o in rest)}
        due = [g for g in work.cold if g.load in together and not g.after_tempers]
        days = _days(pace, before, first_day, due, work.has_days)
        choice = _load_choice(bench, own, groups, before, days, rest, work.has_days)
        _take_load(bench, placed, own, before, choice)
        before = (own, pace.quench_end(own, choice.start))
    return placed


def _days(
    pace: Pace,
    before: tuple[LoadWork, int] | None,
    first_day: int,
    due: list[ColdWork],
    has_days: bool,
) -> list[int]:
    """Days on which a load may run, the first choice first.

    A block begins on the first day from which no delay of the block ends on a day without work.
    """
    last = 0 if before is None else before[1] // DAY + 1
    begun = has_days and before is not None and last >= first_day
    days = pace.working_days(max(first_day, last), 1 if begun else _DAYS_SEARCHED)
    if has_days and not begun:
        meeting = [day for day in days if all(_can_be_met(pace, own, day) for own in due)]
        days = [*meeting, *days][:1]
    return days


def _can_be_met(pace: Pace, own: ColdWork, day: int) -> bool:
    """Whether any minute at which a group of a load of this day may go in has work."""
    if own.delay is None:
        return True
    early = (day - 1) * DAY + pace.hours.opens + own.delay - own.tolerance
    late = (day - 1) * DAY + pace.hours.closes + own.delay + own.tolerance
    (next_day,) = pace.working_days(early // DAY + 1, 1)
    opened, closed = ((next_day - 1) * DAY + m for m in (pace.hours.opens, pace.hours.closes))
    if early >= closed:  # after hours of that day: the next opening decides
        (next_day,) = pace.working_days(next_day + 1, 1)
        opened = (next_day - 1) * DAY + pace.hours.opens
    return opened <= late


def _load_choice(
    bench: Bench,
    own: LoadWork,
    groups: list[ColdWork],
    before: tuple[LoadWork, int] | None,
    days: list[int],
    rest: list[LoadWork],
    has_days: bool,
) -> Choice:
    """Earliest start that meets everything; else the one that misses least."""
    hours = bench.pace.hours
    latest = NEVER
    for day in days:
        earliest = _earliest(bench.pace, own, before, day)
        close = (day - 1) * DAY + hours.closes
        # loads that follow on this day must still fit, else keeping this delay costs theirs
        room = close - _least_minutes(bench.pace, own, rest)
        latest = max(earliest, room)
        for start in range(earliest, max(latest, earliest) + 1, GRID):
            found = _tried(bench, own, groups, before, start, NEVER, strict=True)
            if found is not None:
                return found
    best: Choice | None = None
    for shift, day in enumerate([*days, *bench.pace.working_days(days[-1] + 1, 1)]):
        extra = _NEXT_DAY * shift if has_days else 0
        if best is not None and (not has_days or best.missed <= extra):
            break
        earliest = _earliest(bench.pace, own, before, day)
        close = (day - 1) * DAY + hours.closes
        stop = max(earliest, min(close + _OVERTIME, max(latest, close) if not rest else latest))
        for start in range(earliest, stop + 1, 6 * GRID):
            limit = NEVER if best is None else best.missed
            found = _tried(bench, own, groups, before, start, limit - extra, strict=False)
            if found is not None and found.missed + extra < limit:
                best = Choice(found.missed + extra, found.start, found.cold)
    start = _earliest(bench.pace, own, before, days[-1])
    while best is None:  # the hands were taken at every start that was tried
        best = _tried(bench, own, groups, before, start, NEVER, strict=False)
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
    bench: Bench,
    own: LoadWork,
    groups: list[ColdWork],
    before: tuple[LoadWork, int] | None,
    start: int,
    limit: int,
    *,
    strict: bool,
) -> Choice | None:
    """A load at a start with its groups; None if something is missed, or `limit` and more."""
    pace = bench.pace
    hands = load_hands(own, before, start, pace)
    if not all(bench.free(*span) for span in hands):
        return None
    missed = sum(pace.cost(*span) for span in hands)
    if missed >= (1 if strict else limit):
        return None
    bench.mark(hands)
    chosen: list[tuple[ColdWork, int, int]] = []
    since = pace.quench_end(own, start)
    for group in groups:
        found = group_choice(bench, group, since, strict=strict, limit=limit - missed)
        if found is None:
            break
        missed += found.missed
        chosen += found.cold
        reserve_cold(bench, found)
    whole_load = len(chosen) == len(groups)
    for group, into, out in chosen:
        bench.mark(cold_hands(into, out, pace), 0)
        bench.baths[group.route].pop()
    bench.mark(hands, 0)
    return Choice(missed, start, tuple(chosen)) if whole_load else None


def _take_load(
    bench: Bench,
    placed: Placement,
    own: LoadWork,
    before: tuple[LoadWork, int] | None,
    choice: Choice,
) -> None:
    placed.loads[own.load] = choice.start
    bench.mark(load_hands(own, before, choice.start, bench.pace))
    for group in choice.cold:
        take_group(bench, placed, Choice(0, 0, (group,)))
