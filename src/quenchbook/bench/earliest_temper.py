"""Earliest start of tempers, and of the groups that go into the cold after them."""

from __future__ import annotations

import bisect
from typing import Final

from quenchbook.bench.earliest_cold import Choice, group_choice, in_turn, reserve_cold, take_group
from quenchbook.bench.hands_and_baths import GRID, NEVER, Bench, Span, horizon, load_hands
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, whole
from quenchbook.bench.timetable_steps import (
    Placement,
    Use,
    furnace_uses,
    heat_start,
    reference_time,
)
from quenchbook.bench.work_list import LoadWork, TemperWork, WorkList
from quenchbook.study.hours import WorkHours

_DAYS_SEARCHED: Final = 7  # days of work, before a temper may lie outside working hours


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
    for group in in_turn(g for g in work.cold if g.after_tempers):
        since = reference_time(group, work, placed, pace)
        choice = group_choice(bench, group, since, strict=True) or group_choice(
            bench, group, since, strict=False
        )
        assert choice is not None  # the elastic choice always finds a start
        take_group(bench, placed, choice)
    return placed


def _ready(own: TemperWork, work: WorkList, placed: Placement, pace: Pace) -> int:
    """When all coupons of a batch are quenched and, where they must be, out of the cold."""
    quenched = [
        pace.quench_end(load, placed.loads[load.load])
        for load in work.loads
        if load.load in own.loads
    ]
    return max([*quenched, *(placed.cold[batch][1] + pace.take_out for batch in own.cold)])


def _temper_start(
    bench: Bench, own: TemperWork, ready: int, taken: list[Span], uses: list[Use]
) -> int:
    """Earliest start inside working hours; else the one that lies least outside.

    `taken` are the times of the oven, `uses` those of the furnace where tempers have no oven.
    """
    pace, in_furnace = bench.pace, bench.pace.hours.temper_in == "furnace"
    best, least, start = -1, NEVER, ready
    until = pace.working_days(ready // DAY + 1, _DAYS_SEARCHED + 1)[-1] * DAY
    while best == -1 or start < until:
        if pace.rests(start // DAY + 1):
            start = (pace.working_days(start // DAY + 1, 1)[0] - 1) * DAY
            continue
        hands = _temper_hands(own, start, uses, pace)
        outside = sum(pace.cost(*span) for span in hands)
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
        start += 1 if start < ready + DAY else GRID
    return best


def _around(uses: list[Use], start: int) -> tuple[Use | None, Use | None]:
    """Uses of the furnace before and from a minute on; `uses` are in time order."""
    place = bisect.bisect_left(uses, start, key=lambda use: use.start)
    return (uses[place - 1] if place else None), (uses[place] if place < len(uses) else None)


def _fits_furnace(uses: list[Use], own: Use, pace: Pace) -> bool:
    """Whether the furnace can be at the setting before, and at the next one after."""
    before, after = _around(uses, own.start)
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
        before, _ = _around(uses, start)
        heat, switched = heat_start(before, Use(start, out + pace.tray, own.setting), pace)
        if switched:
            hands.append((heat, min(heat + whole(pace.hours.switch_on), start)))
    return hands


def _bench_of(work: WorkList, placed: Placement, pace: Pace) -> Bench:
    """State of the bench after the loads of a placement."""
    bench = Bench(pace, bytearray(horizon(work, pace)))
    before: tuple[LoadWork, int] | None = None
    groups = {group.batch: group for group in work.cold}
    for own in work.loads:
        bench.mark(load_hands(own, before, placed.loads[own.load], pace))
        before = (own, pace.quench_end(own, placed.loads[own.load]))
    for batch, (into, out) in placed.cold.items():
        reserve_cold(bench, Choice(0, 0, ((groups[batch], into, out),)))
    return bench
