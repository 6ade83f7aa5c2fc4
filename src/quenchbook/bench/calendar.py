"""Calendar file of a timetable (iCalendar, RFC 5545), for the phone at the bench."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from quenchbook.bench.timetable import DAY, HANDS, Step, Timetable
from quenchbook.bench.timetable_list import step_words
from quenchbook.errors import PlanError, Problem
from quenchbook.writing import write_bytes

_WIDEST: Final = 75  # octets of a line without its end, RFC 5545 section 3.1
_ALARM: Final = {"quench": 5, "cold in": 5, "cold out": 2, "temper out": 5}
"""Minutes before a step at which the phone rings."""


def calendar_text(timetable: Timetable) -> str:
    r"""Calendar of everything that needs hands, in floating local time.

    Steps that follow each other without a gap stay apart, so that each rings on its own. The same
    timetable gives the same bytes: stamps are the midnight of its first day.

    Parameters
    ----------
    timetable : Timetable
        With `WorkHours.first_day`.

    Returns
    -------
    str
        Lines of at most 75 octets that end with CR LF.

    Raises
    ------
    PlanError
        If the first day is not told.

    References
    ----------
    RFC 5545, Internet Calendaring and Scheduling Core Object Specification (iCalendar), 2009:
    sections 3.1 (folding), 3.3.5 (floating time), 3.3.11 (escaped text), 3.6.1, 3.6.6.
    """
    if timetable.hours.first_day is None:
        raise PlanError(
            Problem(
                "timetable",
                "has no first day, so a calendar cannot be written",
                "Write first_day = 2026-10-05 (a date) under [timetable] in study.toml.",
            )
        )
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//quenchbook//bench timetable//EN"]
    lines += ["CALSCALE:GREGORIAN", f"X-WR-CALNAME:{_escaped(timetable.title)}"]
    lines.append(calendar_mark(timetable.plan))
    for step in timetable.steps:
        if step.what in HANDS:
            lines += _event(step, timetable)
    return "".join(f"{part}\r\n" for line in [*lines, "END:VCALENDAR"] for part in _folded(line))


def calendar_mark(plan: str) -> str:
    """Line of a calendar that says which plan it belongs to."""
    return f"X-WR-CALDESC:Plan {plan}"


def write_calendar(timetable: Timetable, path: str | Path) -> Path:
    """Write the calendar file of a timetable."""
    return write_bytes(path, calendar_text(timetable).encode("utf-8"))


def _event(step: Step, timetable: Timetable) -> Iterator[str]:
    name = f"{timetable.plan} {step.unit} {step.which} {step.what} {step.cycle}"
    end = max(step.end, step.start + 1)
    yield "BEGIN:VEVENT"
    yield f"UID:{hashlib.sha256(name.encode()).hexdigest()[:32]}@quenchbook"
    yield f"DTSTAMP:{_time(0, timetable)}Z"
    yield f"DTSTART:{_time(step.start, timetable)}"
    yield f"DTEND:{_time(end, timetable)}"
    yield f"SUMMARY:{_escaped(step_words(step))}"
    yield f"DESCRIPTION:{_escaped(' '.join(step.codes))}"
    if minutes := _ALARM.get(step.what, 0):
        yield "BEGIN:VALARM"
        yield "ACTION:DISPLAY"
        yield f"DESCRIPTION:{_escaped(step_words(step))}"
        yield f"TRIGGER:-PT{minutes}M"
        yield "END:VALARM"
    yield "END:VEVENT"


def _time(minute: int, timetable: Timetable) -> str:
    date = timetable.hours.date(minute // DAY + 1)
    assert date is not None  # calendar_text has checked the first day
    moment = datetime.datetime.combine(date, datetime.time()) + datetime.timedelta(
        minutes=minute % DAY
    )
    return moment.strftime("%Y%m%dT%H%M%S")


def _escaped(text: str) -> str:
    for sign, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(sign, written)
    return "".join(sign for sign in text if sign >= " ")


def _folded(line: str) -> Iterable[str]:
    """Parts of a line of at most 75 octets; each but the first begins with a blank."""
    part, size = "", 0
    for sign in line:
        octets = len(sign.encode("utf-8"))
        if size + octets > _WIDEST:
            yield part
            part, size = " ", 1
        part, size = part + sign, size + octets
    yield part
