"""Whose hands and which bath are taken when, while work is placed."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Final

from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, whole
from quenchbook.bench.timetable_steps import Use, heat_start
from quenchbook.bench.work_list import ColdWork, LoadWork, WorkList

GRID: Final = 5  # minutes between starts that are tried
LATEST: Final = 2 * DAY  # later starts of a group are looked at only if none was found
NEVER: Final = 10**9

Span = tuple[int, int]


@dataclass
class Bench:
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
                    return NEVER
                start = self._next_opening(start)
            else:
                return start

    def _next_opening(self, minute: int) -> int:
        day, own = divmod(minute, DAY)
        (day,) = self.pace.working_days(day + 1 + (own >= self.pace.hours.opens), 1)
        return (day - 1) * DAY + self.pace.hours.opens

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


def load_hands(
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


def horizon(work: WorkList, pace: Pace) -> int:
    """Minutes that are surely enough for all work."""
    longest = sum(g.cooling + g.at_most + (g.delay or 0) + DAY for g in work.cold)
    tempers = sum(own.cycles * (2 + math.ceil(own.hold / DAY)) for own in work.tempers)
    minutes = (3 * len(work.loads) + tempers + 12) * DAY + longest + 2 * LATEST
    return pace.working_days(1, math.ceil(minutes / DAY))[-1] * DAY
