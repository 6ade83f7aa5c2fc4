"""Days without work, as weekdays or as dates."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any, Final

WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_NAMES: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_WRITE: Final = (
    'Write weekdays in quotes and dates without: rest_days = ["Sat", "Sun", 2026-12-24].'
)

RestDays = tuple[tuple[str, ...], tuple[datetime.date, ...]]


def rest_days_of(raw: object) -> tuple[RestDays, str]:
    """Weekdays and dates of ``rest_days``, each once and in order; else what to write.

    Parameters
    ----------
    raw : object
        As it stands in the study file: a list of weekdays (``Sat`` or ``Saturday``) and dates.

    Returns
    -------
    rest_days : (tuple of str, tuple of date)
    remedy : str
        Empty if nothing is wrong.
    """
    if not isinstance(raw, list | tuple):
        return ((), ()), _WRITE
    weekdays, dates = set(), set()
    for own in raw:
        if isinstance(own, datetime.date) and not isinstance(own, datetime.datetime):
            dates.add(own)
        elif (place := _weekday(own)) is not None:
            weekdays.add(place)
        else:
            return ((), ()), _WRITE
    if len(weekdays) == len(WEEKDAYS):
        return ((), ()), "Leave at least one weekday for work."
    return (tuple(WEEKDAYS[place] for place in sorted(weekdays)), tuple(sorted(dates))), ""


def first_day_remedy(values: Mapping[str, Any]) -> str:
    """What to write where rest days do not fit the first day; empty if they do.

    Parameters
    ----------
    values : mapping
        ``rest_weekdays``, ``rest_dates`` and, if told, ``first_day``.
    """
    weekdays, dates = values["rest_weekdays"], values["rest_dates"]
    first = values.get("first_day")
    if not isinstance(first, datetime.date):
        if not weekdays and not dates:
            return ""
        return "Rest days need a date to count from: write first_day = 2026-10-05 as well."
    if WEEKDAYS[first.weekday()] in weekdays or first in dates:
        return f"{WEEKDAYS[first.weekday()]} {first} is a day without work: choose another."
    return ""


def _weekday(own: object) -> int | None:
    word = own.strip().lower() if isinstance(own, str) else ""
    fitting = [place for place, name in enumerate(_NAMES) if word in (name, name[:3])]
    return fitting[0] if fitting else None
