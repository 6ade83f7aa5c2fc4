"""A timetable of the bench: every step with its clock time, and every wish that cannot be met."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.shown import ShowsItself
from quenchbook.study.hours import WorkHours
from quenchbook.units import NO_BREAK

if TYPE_CHECKING:
    import pandas as pd

DAY: Final = 1440

HANDS: Final[tuple[str, ...]] = (
    "switch on", "load", "quench", "cold in", "cold out", "temper in", "temper out",
)  # fmt: skip
"""Steps that need the person at the bench."""

LANES: Final = ("furnace", "bench", "bath", "oven")
"""Where a step happens; the hands are a lane of their own."""


@dataclass(frozen=True)
class Step:
    """One step of the work.

    Attributes
    ----------
    what : str
        ``switch on``, ``heat``, ``load``, ``come to heat``, ``soak``, ``quench``; ``wait``,
        ``cold in``, ``cold``, ``cold out``; ``temper in``, ``temper``, ``temper out``.
    lane : str
        ``furnace``, ``bench``, ``bath`` or ``oven``.
    unit : str
        ``furnace_load``, ``cold_batch`` or ``temper_batch``.
    which : str
        Its number: ``3``, ``3-1``.
    start, end : int
        Minutes after the midnight before the first day of work.
    level : str
        Route of a cold step; else the temperature in print.
    codes : tuple of str
        Its coupons.
    load : int
        Furnace load, for loads and cold batches; 0 for temper batches.
    cycle : int
        Which temper of a batch, from 1; 0 elsewhere.
    """

    what: str
    lane: str
    unit: str
    which: str
    start: int
    end: int
    level: str = ""
    codes: tuple[str, ...] = ()
    load: int = 0
    cycle: int = 0

    @property
    def minutes(self) -> int:
        """How long it takes [min]."""
        return self.end - self.start


@dataclass(frozen=True)
class Breach:
    """A wish that the timetable cannot meet.

    Attributes
    ----------
    kind : str
        ``delay``, ``hours``, ``bath``, ``cold``, ``day``; the checker also knows ``furnace``,
        ``oven``, ``hands``, ``order``, ``soak``, ``temper``, ``missing`` and ``plan`` (a step that
        says something else than the plan).
    unit, which : str
        What it is about: ``cold_batch``, ``3-1``.
    what : str
        The step, as in `Step`.
    minutes : int
        By how much; for a bath that is too small, how long it is too full.
    words : str
        The breach as a sentence.
    remedy : str
        What would help.
    """

    kind: str
    unit: str
    which: str
    what: str
    minutes: int
    words: str
    remedy: str = ""

    def __str__(self) -> str:
        return f"{self.words} {self.remedy}".rstrip()


@dataclass(frozen=True, eq=False, repr=False)
class Timetable(ShowsItself):
    """Every step of a plan in time, for one person, one furnace and its baths.

    Attributes
    ----------
    steps : tuple of Step
        In order of their start.
    breaches : tuple of Breach
        What cannot be met, each named.
    hours : WorkHours
        What it was made from.
    title : str
        Title of the study.
    plan : str
        First digits of the plan hash.
    has_days : bool
        Whether the days of the plan are blocks.
    notes : tuple of str
        What was assumed, and how it was made.
    held_back : bool
        Whether coupons without a planned delay wait long before the cold; a note says which.
    """

    steps: tuple[Step, ...]
    breaches: tuple[Breach, ...]
    hours: WorkHours
    title: str = ""
    plan: str = ""
    has_days: bool = True
    notes: tuple[str, ...] = ()
    held_back: bool = False

    @property
    def days(self) -> tuple[int, ...]:
        """Days on which there is something to do with one's hands, from 1."""
        return tuple(sorted({step.start // DAY + 1 for step in self.steps if step.what in HANDS}))

    def hands_minutes(self, day: int | None = None) -> int:
        """Minutes at work, of a day or in all."""
        return sum(
            step.minutes
            for step in self.steps
            if step.what in HANDS and (day is None or step.start // DAY + 1 == day)
        )

    def to_frame(self) -> pd.DataFrame:
        """Return every step as a row: what, unit, start and end in minutes and as clock times."""
        import pandas as pd

        rows = [
            {
                "work_day": step.start // DAY + 1,
                "date": self.date_text(step.start // DAY + 1),
                "start_clock": clock(step.start),
                "end_clock": clock(step.end),
                "what": step.what,
                "lane": step.lane,
                "unit": step.unit,
                "which": step.which,
                "level": step.level,
                "coupons": len(step.codes),
                "cycle": step.cycle,
                "hands": step.what in HANDS,
                "start_minutes": step.start,
                "end_minutes": step.end,
            }
            for step in self.steps
        ]
        return pd.DataFrame(rows, columns=list(_COLUMNS))

    def breach_frame(self) -> pd.DataFrame:
        """Return what cannot be met, a row for each breach."""
        return breach_frame(self.breaches)

    def date_text(self, day: int) -> str:
        """Date of a day of work, ISO 8601; empty if the first day is not told."""
        date = self.hours.date(day)
        return date.isoformat() if date else ""

    def summary(self) -> str:
        """Say the timetable in words: days, hours at work, and every breach."""
        days = self.days
        if not days:
            return "There is nothing to do in this plan."
        first, last = self.steps[0], max(self.steps, key=lambda step: step.end)
        count = f"{len(days)} day{'s' if len(days) > 1 else ''}"
        hours = self.hands_minutes() / 60
        lines = [
            f"{count} of work, {hours:.1f}{NO_BREAK}h with your hands; from "
            f"{self.when(first.start)} to {self.when(last.end)}.",
        ]
        if self.hours.rest_words and self.hours.first_day is not None:
            lines.append(f"No work on {self.hours.rest_words}.")
        elif self.hours.rest_words:
            lines.append(
                f"Days without work ({self.hours.rest_words}) are not kept: the first day is not "
                "told."
            )
        if not self.breaches:
            but = ", but coupons wait before the cold" if self.held_back else ""
            lines.append(f"Every {'' if but else 'delay, '}bath and working hour is kept{but}.")
        lines += [f"Not met: {breach}" for breach in self.breaches]
        return "\n".join([*lines, *self.notes])

    def when(self, minute: int) -> str:
        """Day and clock time of a minute: ``day 2, 09:40``.

        >>> Timetable((), (), WorkHours()).when(2020)
        'day 2, 09:40'
        """
        day = minute // DAY + 1
        date = self.hours.date(day)
        name = f"day {day}" if date is None else f"{day_name(date)} {date.isoformat()}"
        return f"{name}, {clock(minute)}"

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"What you do, and when": self._hands()}

    def _hands(self) -> pd.DataFrame:
        own = self.to_frame()
        names = ["work_day", "start_clock", "end_clock", "what", "which", "level"]
        return own.loc[own["hands"], names]

    def __repr__(self) -> str:
        return (
            f"<Timetable plan {self.plan}: {len(self.steps)} steps on {len(self.days)} days, "
            f"{len(self.breaches)} not met>"
        )


_COLUMNS: Final = (
    "work_day", "date", "start_clock", "end_clock", "what", "lane", "unit", "which", "level",
    "coupons", "cycle", "hands", "start_minutes", "end_minutes",
)  # fmt: skip


def breach_frame(breaches: Iterable[Breach]) -> pd.DataFrame:
    """Breaches as a table: kind, unit, minutes, sentence, remedy."""
    import pandas as pd

    rows = [
        (own.kind, own.unit, own.which, own.what, own.minutes, own.words, own.remedy)
        for own in breaches
    ]
    names = ["breach", "unit", "which", "what", "over_minutes", "sentence", "remedy"]
    return pd.DataFrame(rows, columns=names)


def whole(minutes: float) -> int:
    """Whole minutes, rounded up: a clock at the bench shows no seconds."""
    return math.ceil(minutes - 1e-9)


def clock(minute: int) -> str:
    """Clock time of a minute: ``09:40``; the end of a day is 24:00 only as 00:00 of the next.

    >>> clock(580), clock(2020)
    ('09:40', '09:40')
    """
    hour, rest = divmod(minute % DAY, 60)
    return f"{hour:02d}:{rest:02d}"


def day_name(date: datetime.date) -> str:
    """English name of a weekday, short, whatever the language of the machine."""
    return ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")[date.weekday()]
