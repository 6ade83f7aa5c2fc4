"""A timetable as a list to work from: clock time, what to do, which coupons."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from quenchbook.bench.timetable import DAY, HANDS, Step, Timetable, clock, day_name
from quenchbook.study.factors import ROUTE_WORDS
from quenchbook.units import capital


@dataclass(frozen=True)
class ListLine:
    """One thing to do: when, what, with which coupons."""

    start: str
    end: str
    words: str
    coupons: str


@dataclass(frozen=True)
class ListDay:
    """A day of work: its name, minutes with one's hands, lines in time order."""

    day: int
    title: str
    minutes: int
    lines: tuple[ListLine, ...]


def timetable_list(timetable: Timetable) -> Iterator[ListDay]:
    """Days of a timetable with everything that needs hands.

    Parameters
    ----------
    timetable : Timetable
    """
    for day in timetable.days:
        own = [s for s in timetable.steps if s.what in HANDS and s.start // DAY + 1 == day]
        yield ListDay(
            day=day,
            title=day_title(timetable, day),
            minutes=timetable.hands_minutes(day),
            lines=tuple(
                ListLine(clock(s.start), clock(s.end), step_words(s), " ".join(s.codes))
                for s in own
            ),
        )


def day_title(timetable: Timetable, day: int) -> str:
    """Name of a day: ``Day 2, Tue 2026-10-06``."""
    date = timetable.hours.date(day)
    return f"Day {day}" + (f", {day_name(date)} {date.isoformat()}" if date else "")


def step_words(step: Step) -> str:
    """What to do, in words: ``put cold batch 3-1 into the dry ice``."""
    route = ROUTE_WORDS.get(step.level, step.level.replace("_", " "))
    cycle = f", temper {step.cycle}" if step.cycle > 1 else ""
    which = f"{step.unit.replace('_', ' ')} {step.which}"
    words = {
        "switch on": f"switch the furnace on for {which}, {step.level}",
        "load": f"put {which} into the furnace, {step.level}",
        "quench": f"quench {which}",
        "cold in": f"put {which} into the cold: {route}",
        "cold out": f"take {which} out of the cold: {route}",
        "temper in": f"put {which} in to temper, {step.level}{cycle}",
        "temper out": f"take {which} out of the temper{cycle}",
    }
    return capital(words.get(step.what, f"{step.what} {which}"))
