"""Days without work: nothing is put there, and what they cost is named in minutes."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from quenchbook.bench.calendar import calendar_text
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.pace import Pace
from quenchbook.bench.timetable import DAY, HANDS, Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of

FRIDAY = datetime.date(2026, 10, 9)
WEEKEND = ("Sat", "Sun")
MINUTE = 1


def worked(matrix: CouponMatrix, **told: object) -> Timetable:
    return bench_timetable(matrix, hours=replace(hours_of(matrix.study), **told))  # type: ignore[arg-type]


def days_of(own: Timetable) -> set[str]:
    return {own.date_text(day) for day in own.days}


@pytest.fixture(scope="module")
def weekend(plane_irons_matrix: CouponMatrix) -> Timetable:
    return worked(plane_irons_matrix, first_day=FRIDAY, rest_weekdays=WEEKEND)


def test_a_block_with_day_long_delays_waits_for_monday_and_keeps_them(
    weekend: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    # each block has delays of a day, which begun on Friday would end on Saturday
    assert weekend.breaches == timetable_breaches(plane_irons_matrix, weekend) == ()
    assert weekend.when(weekend.steps[0].start).startswith("Mon 2026-10-12")
    assert "No work on Sat, Sun." in weekend.summary()


def test_nothing_on_a_rest_day_needs_hands_and_the_calendar_is_empty_there(
    weekend: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    holiday = datetime.date(2026, 10, 13)
    own = worked(plane_irons_matrix, first_day=FRIDAY, rest_weekdays=WEEKEND, rest_dates=(holiday,))
    for each in (weekend, own):
        assert not days_of(each) & {"2026-10-10", "2026-10-11", "2026-10-17", "2026-10-18"}
    assert "2026-10-13" in days_of(weekend)
    assert "2026-10-13" not in days_of(own)
    assert "DTSTART:20261013T" in calendar_text(weekend)
    assert "DTSTART:20261013T" not in calendar_text(own)


def test_a_delay_that_always_ends_on_a_rest_day_is_named_by_how_much(
    plane_irons_matrix: CouponMatrix,
) -> None:
    # work on Monday, Wednesday and Friday: a delay of a day never ends on a day with work
    rest = ("Tue", "Thu", "Sat", "Sun")
    own = worked(plane_irons_matrix, first_day=datetime.date(2026, 10, 5), rest_weekdays=rest)
    late = {b.which: b for b in own.breaches if b.kind == "delay"}
    into = {step.which: step for step in own.steps if step.what == "cold in"}
    quench = {step.which: step.end for step in own.steps if step.what == "quench"}
    batches = plane_irons_matrix.frame.query("delay_minutes == 1440")["cold_batch"].unique()
    assert set(batches) <= set(late)
    for batch in batches:
        waited = into[batch].end - quench[batch.split("-")[0]]
        assert late[batch].minutes == abs(waited - DAY) - 72 * MINUTE  # 5 % of a day
        assert "too late" in late[batch].words or "too early" in late[batch].words
    assert not any(own.hours.rests(s.start // DAY + 1) for s in own.steps if s.what in HANDS)
    found = timetable_breaches(plane_irons_matrix, own)
    assert {b.which: b.minutes for b in found if b.kind == "delay"} == {
        w: b.minutes for w, b in late.items()
    }


def test_the_checker_names_a_step_on_a_rest_day(
    weekend: Timetable, plane_irons_matrix: CouponMatrix
) -> None:
    step = next(s for s in weekend.steps if s.what == "cold in" and s.start > DAY * 4)
    date = weekend.hours.date(step.start // DAY + 1)
    assert date is not None
    hours = replace(weekend.hours, rest_dates=(date,))
    found = [
        b for b in timetable_breaches(plane_irons_matrix, weekend, hours=hours)
        if (b.kind, b.which, b.what) == ("hours", step.which, "cold in")
    ]  # fmt: skip
    assert "is on a day without work" in found[0].words
    # the way back to 20:00 of the day before, or on to 08:00 of the day after
    back, on = step.end - DAY * (step.start // DAY) + 240, DAY + 480 - step.start % DAY
    assert found[0].minutes == min(back, on)


def test_a_minute_of_the_weekend_is_measured_to_friday_evening_or_monday_morning() -> None:
    pace = Pace(WorkHours(first_day=FRIDAY, rest_weekdays=WEEKEND))
    assert pace.outside(DAY + 600, DAY + 601) == 840 + 1  # Sat 10:00, 14 h after Fri 20:00
    assert pace.outside(2 * DAY + 1200, 2 * DAY + 1201) == 720  # Sun 20:00, 12 h before Mon 08:00
    assert pace.outside(600, 700) == 0


def test_weekdays_without_a_first_day_are_said_not_to_be_kept(
    plane_irons_matrix: CouponMatrix,
) -> None:
    own = worked(plane_irons_matrix, rest_weekdays=WEEKEND)
    assert "Days without work (Sat, Sun) are not kept: the first day is not told." in own.summary()
