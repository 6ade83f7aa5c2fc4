"""Coupons held back before the cold without a declared delay are told, with what helps."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import Timetable
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.files import read_study
from quenchbook.study.hours import WorkHours
from quenchbook.study.reading_hours import hours_of

STUDY = """
format = 1
title = "A long time in the cold"
question = "Does the freezer make it harder?"
[held_constant]
cold_time = "12 h"
[factors.austenitize]
levels = ["790 degC", "805 degC"]
set_for = "furnace_load"
[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"
[factors.temper]
levels = ["175 degC", "205 degC"]
set_for = "temper_batch"
[responses.hardness]
unit = "HRC"
readings = 3
[layout]
furnace_loads = 4
coupons_per_load = 4
loads_per_day = 2
"""
WAIT = "nobody asked for that"


@pytest.fixture(scope="module")
def matrix(tmp_path_factory: pytest.TempPathFactory) -> CouponMatrix:
    folder = tmp_path_factory.mktemp("cold")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    return coupon_matrix(read_study(folder), seed=1)


@pytest.fixture(scope="module")
def hours(matrix: CouponMatrix) -> WorkHours:
    return hours_of(matrix.study)


@pytest.fixture(scope="module")
def own(matrix: CouponMatrix) -> Timetable:
    return bench_timetable(matrix)


def test_a_wait_before_the_cold_that_nobody_asked_for_is_told(own: Timetable) -> None:
    longest = max(step.minutes for step in own.steps if step.what == "wait")
    assert longest > 60
    assert f"up to {round(longest / 60)}\u00a0h between quench and cold: {WAIT}" in own.summary()
    assert "Every delay" not in own.summary()


def test_each_remedy_of_such_a_wait_takes_it_away(
    matrix: CouponMatrix, hours: WorkHours, own: Timetable
) -> None:
    text = own.summary()
    stays = [float(own) for own in re.findall(r'cold_time = "(\d+) h"', text)]
    (most,) = re.findall(r"cold_at_most = ([\d.]+)", text)
    (until,) = re.findall(r"work_hours until (\d+:\d+)", text)
    assert len(stays) == 2
    hour, minute = map(int, until.split(":"))
    changed = [replace(hours, cold_time=60 * stay) for stay in stays]
    changed += [replace(hours, cold_at_most=float(most)), replace(hours, closes=60 * hour + minute)]
    for other in changed:
        remedied = bench_timetable(matrix, hours=other)
        assert WAIT not in remedied.summary()
        assert not remedied.breaches


def test_coupons_that_go_in_at_once_have_no_such_note(
    matrix: CouponMatrix, hours: WorkHours
) -> None:
    text = bench_timetable(matrix, hours=replace(hours, cold_time=60.0)).summary()
    assert WAIT not in text
    assert "Every delay, bath and working hour is kept." in text


def test_a_wait_that_is_declared_is_no_such_wait(plane_irons_matrix: CouponMatrix) -> None:
    assert WAIT not in bench_timetable(plane_irons_matrix).summary()


def test_without_a_delay_the_untempered_are_not_told_of_shorter_delays(own: Timetable) -> None:
    note = next(note for note in own.notes if "untempered for more" in note)
    assert "shorter delays" not in note
