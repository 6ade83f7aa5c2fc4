"""Picture of a timetable: what is drawn, its words, and days that hold other work."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import Timetable
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
