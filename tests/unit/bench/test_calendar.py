"""Calendar file, read back by icalendar, an implementation of RFC 5545 from outside."""

from __future__ import annotations

import datetime
from dataclasses import replace

import icalendar
import pytest

from quenchbook.bench.calendar import calendar_text
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import HANDS, Step, Timetable
from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of

MONDAY = datetime.date(2026, 10, 5)


@pytest.fixture(scope="module")
def dated(plane_irons_matrix: CouponMatrix) -> Timetable:
    hours = replace(hours_of(plane_irons_matrix.study), first_day=MONDAY)
    return bench_timetable(plane_irons_matrix, hours=hours)


def test_an_independent_reader_finds_every_step_at_its_floating_time(dated: Timetable) -> None:
    calendar = icalendar.Calendar.from_ical(calendar_text(dated))
    events = calendar.walk("VEVENT")
    hands = [step for step in dated.steps if step.what in HANDS]
    midnight = datetime.datetime(2026, 10, 5)
    assert [(own["DTSTART"].dt, own["DTEND"].dt) for own in events] == [
        (
            midnight + datetime.timedelta(minutes=s.start),
            midnight + datetime.timedelta(minutes=s.end),
        )
        for s in hands
    ]
    assert all(own["DTSTART"].dt.tzinfo is None for own in events)
    assert len({str(own["UID"]) for own in events}) == len(events)
    assert not any(own.errors for own in calendar.walk())


def test_the_phone_rings_before_each_transfer(dated: Timetable) -> None:
    events = icalendar.Calendar.from_ical(calendar_text(dated)).walk("VEVENT")
    transfers = [own for own in events if "into the cold" in str(own["SUMMARY"])]
    assert len(transfers) == 36  # 12 loads with three groups each
    for own in transfers:
        (alarm,) = own.walk("VALARM")
        assert alarm["TRIGGER"].dt == datetime.timedelta(minutes=-5)


def test_lines_are_folded_at_75_octets_and_end_with_cr_lf(dated: Timetable) -> None:
    named = replace(dated, title="Ä" * 120 + "; a, b\\c\nd")
    text = calendar_text(named)
    data = text.encode("utf-8")
    assert max(len(line) for line in data.split(b"\r\n")) <= 75
    assert data.count(b"\n") == data.count(b"\r\n")
    read = icalendar.Calendar.from_ical(text)
    assert str(read["X-WR-CALNAME"]).replace("\\", "").startswith("Ä" * 120)
    assert calendar_text(named) == text


def test_commas_and_semicolons_in_words_come_back_as_they_were() -> None:
    step = Step("load", "furnace", "furnace_load", "1", 500, 502, "oil, 60; warm\\hot", ("AB12",))
    own = Timetable((step,), (), WorkHours(first_day=MONDAY))
    (event,) = icalendar.Calendar.from_ical(calendar_text(own)).walk("VEVENT")
    assert str(event["SUMMARY"]) == "Put furnace load 1 into the furnace, oil, 60; warm\\hot"


def test_without_a_first_day_the_message_says_what_to_write() -> None:
    with pytest.raises(PlanError, match="Write first_day = 2026-10-05"):
        calendar_text(Timetable((), (), WorkHours()))
