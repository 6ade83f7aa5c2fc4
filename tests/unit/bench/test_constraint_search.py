"""Timetables that are searched: what they meet, that they are the same twice, which one is taken."""

from __future__ import annotations

import datetime
from dataclasses import replace

import pytest

from quenchbook.bench import making_timetable
from quenchbook.bench.constraint_search import searched_loads
from quenchbook.bench.earliest_start import placed_loads
from quenchbook.bench.making_timetable import bench_timetable, better_timetable
from quenchbook.bench.timetable import DAY, HANDS, Timetable
from quenchbook.bench.timetable_check import timetable_breaches
from quenchbook.bench.work_list import work_list
from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of


def told(matrix: CouponMatrix, **values: object) -> WorkHours:
    return replace(hours_of(matrix.study), **values)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def small_baths(plane_irons_matrix: CouponMatrix) -> WorkHours:
    room = {"freezer": 3, "dry_ice": 2, "liquid_nitrogen": 2}
    return told(plane_irons_matrix, bath_capacity=room)


@pytest.fixture(scope="module")
def searched(plane_irons_matrix: CouponMatrix, small_baths: WorkHours) -> Timetable:
    return bench_timetable(plane_irons_matrix, hours=small_baths, search=True)


def test_with_small_baths_the_list_misses_delays_that_the_search_meets(
    plane_irons_matrix: CouponMatrix, small_baths: WorkHours, searched: Timetable
) -> None:
    listed = bench_timetable(plane_irons_matrix, hours=small_baths)
    assert "delay" in {b.kind for b in timetable_breaches(plane_irons_matrix, listed)}
    assert timetable_breaches(plane_irons_matrix, searched) == searched.breaches == ()
    assert searched.notes[-1].startswith(
        "Searched: this timetable misses nothing and ends on day 5"
    )
    assert "the one by earliest start misses" in searched.notes[-1]


def test_a_searched_timetable_keeps_the_order_and_the_days_of_the_loads(
    plane_irons_matrix: CouponMatrix, searched: Timetable
) -> None:
    loads = [step for step in searched.steps if step.what == "load"]
    assert [int(step.which) for step in loads] == list(range(1, 13))
    days = plane_irons_matrix.frame.groupby("furnace_load")["day"].first()
    assert [step.start // DAY + 1 for step in loads] == days.tolist()


def test_the_same_plan_gets_the_same_searched_timetable(plane_irons_matrix: CouponMatrix) -> None:
    hours = told(plane_irons_matrix, closes=840)  # too short: the search ends at its limit
    work = work_list(plane_irons_matrix, hours)
    first = placed_loads(work, hours)
    one, two = (searched_loads(work, hours, first, effort=0.3) for _ in range(2))
    assert one is not None
    assert one == two
    assert one != first


def test_a_search_puts_nothing_on_a_day_without_work(plane_irons_matrix: CouponMatrix) -> None:
    friday = datetime.date(2026, 10, 9)
    hours = told(plane_irons_matrix, first_day=friday, rest_weekdays=("Sat", "Sun"), search=True)
    own = bench_timetable(plane_irons_matrix, hours=hours)
    assert own.notes[-1].startswith("Searched")
    assert own.breaches == ()
    assert not any(hours.rests(s.start // DAY + 1) for s in own.steps if s.what in HANDS)


def test_of_two_alike_the_one_by_earliest_start_is_taken(
    plane_irons_matrix: CouponMatrix, searched: Timetable
) -> None:
    own = better_timetable(plane_irons_matrix, searched, searched)
    assert own.notes[-1].startswith("Searched: this timetable is by earliest start, nothing better")


def test_a_searched_timetable_that_cannot_be_worked_is_never_taken(
    plane_irons_matrix: CouponMatrix, small_baths: WorkHours, searched: Timetable
) -> None:
    listed = bench_timetable(plane_irons_matrix, hours=small_baths)
    broken = replace(searched, steps=tuple(s for s in searched.steps if s.what != "quench"))
    own = better_timetable(plane_irons_matrix, listed, broken)
    assert own.steps == listed.steps


def test_without_the_solver_the_call_says_what_to_install(
    plane_irons_matrix: CouponMatrix, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(making_timetable, "search_installed", lambda: False)
    with pytest.raises(PlanError, match=r'pip install "quenchbook\[timetable\]"'):
        bench_timetable(plane_irons_matrix, search=True)


def test_without_the_solver_a_study_file_that_asks_for_it_gets_the_list_and_a_note(
    plane_irons_matrix: CouponMatrix, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(making_timetable, "search_installed", lambda: False)
    own = bench_timetable(plane_irons_matrix, hours=told(plane_irons_matrix, search=True))
    assert own.steps == bench_timetable(plane_irons_matrix).steps
    assert "ortools is not installed" in own.summary()
    unasked = bench_timetable(plane_irons_matrix, hours=told(plane_irons_matrix))
    assert not any("search" in note.lower() for note in unasked.notes)
