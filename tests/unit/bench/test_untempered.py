"""Hardened coupons that wait for their temper: named by batch and hours, with what helps."""

from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.untempered import untempered_notes
from quenchbook.bench.work_list import WorkList, work_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.reading_hours import hours_of


def note_of(own: Timetable) -> str:
    return next((note for note in own.notes if "untempered" in note), "")


@pytest.fixture(scope="module")
def work(plane_irons_matrix: CouponMatrix) -> WorkList:
    return work_list(plane_irons_matrix, hours_of(plane_irons_matrix.study))


def test_the_longest_wait_of_a_batch_is_that_from_the_quench_or_the_cold_to_its_temper(
    plane_irons_matrix: CouponMatrix, work: WorkList
) -> None:
    own = bench_timetable(plane_irons_matrix)
    batch = work.tempers[5]
    start = next(s.start for s in own.steps if s.what == "temper in" and s.which == "6")
    ready = [
        max(s.end for s in own.steps if s.what in ("quench", "cold out") and code in s.codes)
        for code in batch.codes
    ]
    assert f"6 ({round((start - min(ready)) / 60)}\u00a0h)" in note_of(own)
    assert note_of(own) in own.summary()
    assert "temper batches from loads of one day" in note_of(own)


def test_a_wait_of_a_night_is_not_named_and_one_that_is_longer_is(
    plane_irons_matrix: CouponMatrix, work: WorkList
) -> None:
    own = bench_timetable(plane_irons_matrix)
    one = replace(work, tempers=(replace(work.tempers[0], codes=("A",), cycles=1),), cold=())
    quench = replace(next(s for s in own.steps if s.what == "quench"), end=0, codes=("A",))
    into = replace(next(s for s in own.steps if s.what == "temper in"), start=960, codes=("A",))
    assert untempered_notes(one, (quench, into)) == ()
    (note,) = untempered_notes(one, (quench, replace(into, start=961)))
    assert "1 (16\u00a0h)" in note
    assert "A longer day, the oven in the evening, or larger temper batches help." in note


def test_a_plan_that_is_tempered_on_the_day_has_no_such_note(
    coated_bars_matrix: CouponMatrix,
) -> None:
    assert note_of(bench_timetable(coated_bars_matrix)) == ""


def test_a_plan_without_tempers_has_no_such_note(work: WorkList) -> None:
    assert untempered_notes(replace(work, tempers=()), ()) == ()
