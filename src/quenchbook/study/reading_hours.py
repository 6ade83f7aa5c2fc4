"""Reading ``[timetable]`` of a study file: working hours and times, and every mistake."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final, cast

from quenchbook.errors import Problem, StudyError, UnitError
from quenchbook.study.hours import WorkHours
from quenchbook.study.mistakes import nearest
from quenchbook.study.rest_days import first_day_remedy, rest_days_of
from quenchbook.study.usual_times import HELD, NUMBERS, RATES, TIMES, assumed_lines
from quenchbook.units import parse_quantity

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

_TABLES: Final = ("bath_capacity", "bath_cooling")
_OVENS: Final = ("oven", "furnace")
_KNOWN: Final = (
    "first_day", "work_hours", "rest_days", "search", "between_loads", "temper_in", *TIMES,
    *NUMBERS, *RATES, *_TABLES,
)  # fmt: skip

Mistake = tuple[str, str, str, str]


def hours_mistakes(told: Mapping[str, object]) -> list[Mistake]:
    """Everything that is wrong with a ``[timetable]`` table.

    Parameters
    ----------
    told : mapping
        As it stands in the study file.

    Returns
    -------
    list of (table, key, what was found, what to write)
    """
    return _read(told)[1]


def hours_of(study: Study) -> WorkHours:
    """Working hours and times of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    WorkHours

    Raises
    ------
    StudyError
        With every mistake, where the table was not read from a study file.
    """
    values, mistakes = _read(study.timetable)
    if mistakes:
        raise StudyError([Problem(f"{at}.{key}", what, do) for at, key, what, do in mistakes])
    for key in HELD:
        if (minutes := _held_minutes(study.held_constant.get(key, ""))) is not None:
            values[key] = minutes
    return WorkHours(assumed=assumed_lines(study, values), **values)


def _read(told: Mapping[str, object]) -> tuple[dict[str, Any], list[Mistake]]:
    """Values that are told, in storage units, and everything that is wrong."""
    values: dict[str, Any] = {}
    wrong: list[Mistake] = []
    for key, raw in told.items():
        if key not in _KNOWN:
            wrong.append(("timetable", key, f"'{key}' is not known here", nearest(key, _KNOWN)))
        elif key in _TABLES:
            values[key], own = _bath_table(key, raw)
            wrong += own
        else:
            found, remedy = _value(key, raw)
            if remedy:
                wrong.append(("timetable", key, f"{key} is {_shown(raw)}", remedy))
            elif key == "work_hours":
                values["opens"], values["closes"] = cast(tuple[int, int], found)
            elif key == "rest_days":
                values["rest_weekdays"], values["rest_dates"] = cast(tuple[Any, Any], found)
            else:
                values[key] = found
    if "between_loads" in told and any(key in told for key in ("recovery", "cooling_per_hour")):
        remedy = "Keep between_loads, or heating_per_hour with cooling_per_hour and recovery."
        wrong.append(("timetable", "between_loads", "the time between loads is told twice", remedy))
    if "rest_weekdays" in values and (remedy := first_day_remedy(values)):
        found = f"rest_days is {_shown(told['rest_days'])}, first_day is "
        found += _shown(told["first_day"]) if "first_day" in told else "not told"
        wrong.append(("timetable", "rest_days", found, remedy))
    return values, wrong


def _value(key: str, raw: object) -> tuple[object, str]:
    """Value of a key in storage units; else what to write."""
    if key == "first_day":
        is_date = isinstance(raw, datetime.date) and not isinstance(raw, datetime.datetime)
        return raw, "" if is_date else "Write a date without quotes: first_day = 2026-10-05."
    if key == "work_hours":
        hours = _clock_pair(raw)
        remedy = 'Write start and end on one day: work_hours = ["08:00", "20:00"].'
        return hours, "" if hours else remedy
    if key == "rest_days":
        return rest_days_of(raw)
    if key == "search":
        return raw, "" if isinstance(raw, bool) else "Write search = true or search = false."
    if key == "temper_in":
        remedy = 'Write temper_in = "oven" (of its own) or temper_in = "furnace" (the same one).'
        return raw, "" if raw in _OVENS else remedy
    if key in NUMBERS:
        default, words = NUMBERS[key]
        least = 1.0 if key == "cold_at_most" else 0.0
        good = _is_number(raw) and cast(float, raw) >= least
        remedy = f"Write a number, {least:g} or more ({words}): {key} = {default:g}."
        return float(cast(float, raw)) if good else raw, "" if good else remedy
    if key in RATES:
        degrees = _quantity(raw, "temperature_difference")
        remedy = f'Write degrees, above zero: {key} = "{RATES[key][0]:g} degC".'
        return degrees, "" if degrees is not None and degrees > 0 else remedy
    minutes = _quantity(raw, "time")
    default = TIMES[key][0] if key in TIMES else 45.0
    remedy = f'Write a time with its unit, zero or more: {key} = "{default:g} min".'
    return minutes, "" if minutes is not None and minutes >= 0 else remedy


def _bath_table(key: str, raw: object) -> tuple[dict[str, float], list[Mistake]]:
    example = "{ freezer = 24 }" if key == "bath_capacity" else '{ freezer = "30 min" }'
    if not isinstance(raw, Mapping):
        return {}, [("timetable", key, f"{key} is {_shown(raw)}", f"Write {key} = {example}.")]
    values: dict[str, float] = {}
    wrong: list[Mistake] = []
    for route, told in raw.items():
        if key == "bath_capacity":
            good = isinstance(told, int) and not isinstance(told, bool) and told >= 1
            number = told if good else None
            remedy = f"Write how many coupons it holds at once: {route} = 12."
        else:
            number = _quantity(told, "time")
            number = number if number is not None and number >= 0 else None
            remedy = f'Write a time with its unit: {route} = "30 min".'
        if number is None:
            wrong.append((f"timetable.{key}", str(route), f"{route} is {_shown(told)}", remedy))
        else:
            values[str(route)] = number
    return values, wrong


def _clock_pair(raw: object) -> tuple[int, int] | None:
    if not isinstance(raw, list | tuple) or len(raw) != 2:
        return None
    opens, closes = (_clock(value) for value in raw)
    return None if opens is None or closes is None or opens >= closes else (opens, closes)


def _clock(raw: object) -> int | None:
    """Minutes after midnight of ``08:00``; 24:00 is the end of the day."""
    text = raw.strftime("%H:%M") if isinstance(raw, datetime.time) else str(raw)
    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text)
    minutes = int(match[1]) * 60 + int(match[2]) if match else 1441
    return minutes if minutes <= 1440 else None


def _quantity(raw: object, dimension: str) -> float | None:
    if not isinstance(raw, str):
        return None
    try:
        value = parse_quantity(raw, dimension)
    except UnitError:
        return None
    return value if math.isfinite(value) else None


def _held_minutes(text: str) -> float | None:
    """Time at the beginning of what is held constant: ``2 h in still air`` is 120."""
    match = re.match(r"[\d.,]+\s*[a-zA-Z]+", text.strip())
    minutes = _quantity(match[0], "time") if match else None
    return minutes if minutes else None


def _is_number(raw: object) -> bool:
    return isinstance(raw, int | float) and not isinstance(raw, bool) and math.isfinite(raw)


def _shown(raw: object) -> str:
    if isinstance(raw, datetime.date | datetime.time):
        return raw.isoformat()
    text = repr(raw)
    return text if len(text) <= 60 else f"{text[:59]}…"
