"""Loads and temper batches of a bench page, for studies that are built otherwise than usual."""

from __future__ import annotations

from dataclasses import replace

import pytest

import quenchbook as qb
from quenchbook.bench.phone_content import phone_content
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import ExtraCoupons, Layout, Response, Study
from quenchbook.study.factors import ROUTE_WORDS, Factor

HEAT = Factor("austenitize", "austenitize_c", (800.0, 830.0), "temperature", "furnace_load")
SOAK = Factor("soak", "soak_minutes", (10.0, 30.0), "time", "furnace_load", "linear")
OIL = Factor("quenchant", "quenchant", ("oil", "plates"), "", "furnace_load")
ROUTE = Factor("cold_route", "cold_route", ("none", "freezer"), "", "cold_batch", words=ROUTE_WORDS)
DELAY = Factor(
    "delay", "delay_minutes", (0.0, 60.0), "time", "coupon", "levels", "cold_route", ("freezer",)
)
TEMPER = Factor("temper", "temper_c", (150.0, 175.0), "temperature", "temper_batch")
UNTREATED = ExtraCoupons("untreated", "untreated", 2, {})


def matrix_of(*factors: Factor, **changes: object) -> CouponMatrix:
    study = Study(
        "little", "Little", "Little?", "invented", "2026-01-01", "CC-BY-4.0", factors,
        (Response("hardness_hrc", "hardness", "HRC", "hardness"),), (),
        Layout(8, 8, coupons_per_temper_batch=8),
    )  # fmt: skip
    return qb.coupon_matrix(replace(study, **changes), seed=1)  # type: ignore[arg-type]


def test_a_soak_that_is_varied_is_timed_and_taken_from_the_clock() -> None:
    loads = phone_content(matrix_of(HEAT, SOAK, OIL)).loads
    assert {load.hold for load in loads} == {10.0, 30.0}
    fields = {field.column: field for field in loads[0].fields}
    assert fields["soak_actual_min"].from_clock
    assert fields["soak_actual_min"].kind == "time"
    assert not fields["austenitize_actual_degC"].from_clock
    assert fields["quenchant_actual"].choices == (("oil", "oil"), ("plates", "plates"))


def test_a_wait_of_single_coupons_is_timed_for_each() -> None:
    content = phone_content(matrix_of(HEAT, ROUTE, DELAY, held_constant={"cold_time": "12 h"}))
    groups = [group for load in content.loads for group in load.colds]
    assert {group.what for group in groups} == {"coupon"}
    assert all(group.codes == (group.label,) for group in groups)
    assert {group.wait for group in groups} == {0.0, 60.0}
    assert {group.cold for group in groups} == {720.0}
    first = content.loads[0].colds
    assert [group.wait for group in first] == sorted(group.wait or 0.0 for group in first)


def test_without_a_wait_that_is_varied_the_cold_batches_stay_together() -> None:
    content = phone_content(matrix_of(HEAT, ROUTE))
    groups = [group for load in content.loads for group in load.colds]
    assert {(group.what, group.wait, group.words) for group in groups} == {
        ("cold_batch", None, ("freezer",))
    }
    assert content.delay_item == ""


@pytest.mark.parametrize(("soak", "minutes"), [("15 min", 15.0), ("1 h", 60.0), ("until hot", None), ("", None)])  # fmt: skip
def test_a_time_that_is_no_number_is_not_counted_down(soak: str, minutes: float | None) -> None:
    held = {"soak": soak} if soak else {}
    assert phone_content(matrix_of(HEAT, held_constant=held)).loads[0].hold == minutes


def test_each_temper_cycle_is_stamped() -> None:
    held = {"temper_cycles": "2", "temper_time": "2 h"}
    temper = phone_content(matrix_of(HEAT, TEMPER, held_constant=held)).tempers[0]
    assert temper.cycles == ("temper 1", "temper 2")
    assert temper.hold == 120
    assert len(temper.stamps) == 3
    assert temper.fields[0].column == "temper_actual_degC"


def test_untreated_references_are_named_once_and_go_into_no_load() -> None:
    matrix = matrix_of(HEAT, extra_coupons=(UNTREATED,))
    content = phone_content(matrix)
    codes = matrix.frame.loc[matrix.frame["reference"] == "untreated", "coupon"].tolist()
    in_loads = {coupon.code for load in content.loads for coupon in load.coupons}
    assert not in_loads & set(codes)
    assert set(codes) <= {code for _, code in content.tests[0].rows}
    assert [load.hint != "" for load in content.loads] == [True] + [False] * 7
    assert all(code in content.loads[0].hint for code in codes)
