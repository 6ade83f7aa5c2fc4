"""Working hours: what is told, what is assumed, and every mistake with its line."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.errors import StudyError
from quenchbook.study.definition import Study
from quenchbook.study.hours import WorkHours
from quenchbook.study.prices import ASSUMED
from quenchbook.study.reading_hours import hours_mistakes, hours_of


def test_everything_that_is_not_told_is_listed_as_assumed(plane_irons: Study) -> None:
    hours = hours_of(plane_irons)
    assert (hours.opens, hours.closes) == (480, 1200)
    assert all(line.endswith(f"({ASSUMED})") for line in hours.assumed)
    assert "room for 24 coupons at once: freezer" in hours.assumed[-7]
    assert not any("soak" in line for line in hours.assumed if line.startswith("20"))


def test_what_is_told_is_read_with_its_unit_and_not_assumed(plane_irons: Study) -> None:
    told = {
        "first_day": datetime.date(2026, 10, 5),
        "work_hours": ["07:30", datetime.time(16, 0)],
        "heating_per_hour": "900 degF",
        "transfer": "90 s",
        "bath_capacity": {"freezer": 6},
        "bath_cooling": {"dry_ice": "4 min"},
        "temper_in": "furnace",
    }
    hours = hours_of(replace(plane_irons, timetable=told))
    assert hours.heating_per_hour == pytest.approx(500)  # a difference of 900 degF is 500 degC
    assert (hours.opens, hours.closes, hours.transfer) == (450, 960, 1.5)
    assert (hours.capacity("freezer"), hours.capacity("dry_ice")) == (6, 12)
    assert (hours.cooling("dry_ice"), hours.temper_in) == (4, "furnace")
    assert hours.date(2) == datetime.date(2026, 10, 6)
    assert not any("working hours" in line or "put a group" in line for line in hours.assumed)


def test_rest_days_are_weekdays_in_any_spelling_and_dates(plane_irons: Study) -> None:
    first, holiday = datetime.date(2026, 10, 5), datetime.date(2026, 10, 8)
    told = {"first_day": first, "rest_days": ["sunday", "Sat", holiday], "search": True}
    hours = hours_of(replace(plane_irons, timetable=told))
    assert (hours.rest_weekdays, hours.rest_dates) == (("Sat", "Sun"), (holiday,))
    assert [day for day in range(1, 15) if hours.rests(day)] == [4, 6, 7, 13, 14]
    assert hours.search
    assert hours.rest_words == "Sat, Sun, 2026-10-08"


def test_hours_made_in_python_refuse_a_week_without_work() -> None:
    with pytest.raises(StudyError, match="Leave at least one weekday"):
        WorkHours(rest_weekdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"))
    with pytest.raises(StudyError, match="Write weekdays in quotes"):
        WorkHours(rest_weekdays=("Samstag",))


def test_held_constant_times_are_taken_over(plane_irons: Study) -> None:
    held = {"soak": "25 min", "cold_time": "12 h in still air", "temper_time": "1.5 h"}
    hours = hours_of(replace(plane_irons, held_constant=held))
    assert (hours.soak, hours.cold_time, hours.temper_time) == (25, 720, 90)


@pytest.mark.parametrize(
    ("told", "found", "remedy"),
    [
        ({"first_day": "monday"}, "first_day is 'monday'", "first_day = 2026-10-05"),
        ({"work_hours": ["20:00", "08:00"]}, "work_hours is", '["08:00", "20:00"]'),
        ({"work_hours": ["8", "20:00"]}, "work_hours is", '["08:00", "20:00"]'),
        ({"transfer": 2}, "transfer is 2", 'transfer = "2 min"'),
        ({"transfer": "2 degC"}, "transfer is '2 degC'", 'transfer = "2 min"'),
        ({"transfr": "2 min"}, "'transfr' is not known here", "Did you mean transfer?"),
        ({"heating_per_hour": "0 degC"}, "heating_per_hour is", '"600 degC"'),
        ({"cold_at_most": 0.5}, "cold_at_most is 0.5", "cold_at_most = 1.3"),
        ({"temper_in": "kiln"}, "temper_in is 'kiln'", 'temper_in = "oven"'),
        ({"bath_capacity": 12}, "bath_capacity is 12", "{ freezer = 24 }"),
        ({"bath_capacity": {"freezer": 0}}, "freezer is 0", "freezer = 12"),
        ({"bath_cooling": {"freezer": 9}}, "freezer is 9", 'freezer = "30 min"'),
        ({"rest_days": "Sat"}, "rest_days is 'Sat'", 'rest_days = ["Sat", "Sun", 2026-12-24]'),
        ({"rest_days": ["Caturday"]}, "rest_days is", 'rest_days = ["Sat", "Sun", 2026-12-24]'),
        ({"rest_days": ["Sat"]}, "first_day is not told", "write first_day = 2026-10-05"),
        (
            {"rest_days": ["Mon"], "first_day": datetime.date(2026, 10, 5)},
            "first_day is 2026-10-05",
            "Mon 2026-10-05 is a day without work",
        ),
        (
            {"rest_days": ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]},
            "rest_days is",
            "Leave at least one weekday",
        ),
        ({"search": "yes"}, "search is 'yes'", "search = true"),
        ({"between_loads": "45 min", "recovery": "5 min"}, "told twice", "Keep between_loads"),
    ],
)
def test_each_mistake_says_what_to_write(told: dict[str, object], found: str, remedy: str) -> None:
    ((_, _, what, do),) = hours_mistakes(told)
    assert found in what
    assert remedy in do


def test_all_mistakes_of_a_file_come_at_once_with_their_lines(
    plane_irons: Study, tmp_path: Path
) -> None:
    text = (plane_irons.folder / "study.toml").read_text(encoding="utf-8")
    lines = len(text.splitlines())
    more = '\n[timetable]\ntransfer = "2"\n[timetable.bath_capacity]\nfreezer = "many"\n'
    (tmp_path / "study.toml").write_text(text + more, encoding="utf-8")
    with pytest.raises(StudyError) as caught:
        qb.read_study(tmp_path)
    assert [own.where for own in caught.value.problems] == [
        f"study.toml line {lines + 3}",
        f"study.toml line {lines + 5}",
    ]
