"""Picture of a timetable: what is drawn, its words, and days that hold other work."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import DAY, Timetable, clock
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plots.timetable import figure_timetable
from quenchbook.study.reading_hours import hours_of


@pytest.fixture(scope="module")
def demo(untold_plane_irons_matrix: CouponMatrix) -> Timetable:
    return bench_timetable(untold_plane_irons_matrix)


def test_each_day_is_a_picture_with_its_loads_and_hours(demo: Timetable) -> None:
    drawing = figure_timetable(demo, day=2)
    words = [text.get_text() for text in drawing.figure.axes[0].texts]
    assert {"load 5", "load 8", "furnace", "bench", "bath", "oven", "you"} <= set(words)
    assert drawing.finding.startswith("Day 2: 4 furnace loads, 1.5\u00a0h with your hands")
    assert set(drawing.to_frame()["work_day"]) == {2}
    assert 40 <= len(drawing.alt) <= 400
    assert drawing.figure.get_figwidth() == 4.6


def test_a_day_without_a_furnace_load_is_drawn_too(demo: Timetable) -> None:
    drawing = figure_timetable(demo, day=demo.days[-1])
    assert "no furnace loads" in drawing.finding or "0 furnace loads" in drawing.finding


def test_the_caption_names_what_is_not_met(plane_irons_matrix: CouponMatrix) -> None:
    hours = replace(hours_of(plane_irons_matrix.study), transfer=9.0)
    own = bench_timetable(plane_irons_matrix, hours=hours)
    drawing = figure_timetable(own)
    of_days = [len(figure_timetable(own, day=day).notes) for day in own.days]
    assert sum(of_days) == len(own.breaches) > 0
    assert "too late" in drawing.caption()


def test_the_same_timetable_gives_the_same_picture(demo: Timetable) -> None:
    assert figure_timetable(demo).svg() == figure_timetable(demo).svg()


def test_every_bath_that_begins_on_a_day_is_drawn_with_its_number(
    plane_irons_matrix: CouponMatrix,
) -> None:
    # the last baths begin at the end of the day and stay overnight
    hours = replace(hours_of(plane_irons_matrix.study), closes=960, cold_time=600.0)
    own = bench_timetable(plane_irons_matrix, hours=hours)
    begun = {s.which: s for s in own.steps if s.what == "cold" and s.start < DAY}
    texts = [text.get_text() for text in figure_timetable(own).figure.axes[0].texts]
    assert set(begun) <= set(texts)
    later = next(text for text in texts if text.startswith("Continues: "))
    first = min(begun.values(), key=lambda s: s.end)
    assert f"cold batch {first.which} until\u00a0{clock(first.end)}" in later


def test_a_bath_that_begins_on_the_hour_at_the_end_of_the_day_is_drawn(demo: Timetable) -> None:
    step = next(s for s in demo.steps if s.what == "cold")
    into = replace(step, what="cold in", start=958, end=960)
    own = replace(demo, steps=(into, replace(step, start=960, end=960 + DAY)))
    texts = [text.get_text() for text in figure_timetable(own).figure.axes[0].texts]
    assert step.which in texts
