from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.bench.sheets import LOAD_ROWS, bench_sheets
from quenchbook.plan.randomization import CouponMatrix


def test_every_coupon_stands_once_on_a_load_sheet_in_quench_order(
    plane_irons_matrix: CouponMatrix,
) -> None:
    sheets = bench_sheets(plane_irons_matrix)
    assert len(sheets.loads) == 12
    codes = [row.coupon for sheet in sheets.loads for row in sheet.rows]
    assert codes == plane_irons_matrix.frame["coupon"].tolist()
    assert all([r.place for r in sheet.rows] == list(range(1, 9)) for sheet in sheets.loads)


def test_a_load_sheet_says_what_the_plan_says(plane_irons_matrix: CouponMatrix) -> None:
    study, frame = plane_irons_matrix.study, plane_irons_matrix.frame
    rows = {row.coupon: row for s in bench_sheets(plane_irons_matrix).loads for row in s.rows}
    for _, plan in frame.iterrows():
        route, temper, wait = rows[plan["coupon"]].entries
        assert route.text == study.factor("cold_route").word(plan["cold_route"])
        assert float(temper.text) == plan["temper_c"]
        assert temper.emphasis == ("framed" if plan["temper_c"] == 175 else "unframed")
        is_cold = plan["cold_route"] != "none"
        assert rows[plan["coupon"]].is_cold == is_cold
        assert bool(wait.text) == is_cold
        shapes = {
            "none": "circle", "freezer": "square", "dry_ice": "triangle",
            "liquid_nitrogen": "diamond",
        }  # fmt: skip
        assert route.shape == shapes[plan["cold_route"]]


def test_a_load_sheet_has_its_day_temperature_and_foot(plane_irons_matrix: CouponMatrix) -> None:
    sheets = bench_sheets(plane_irons_matrix)
    sheet = sheets.loads[6]
    level = plane_irons_matrix.frame.query("furnace_load == 7")["austenitize_c"].iloc[0]
    assert sheet.title == "Furnace load 7"
    assert sheet.line == "Day 2. Third load of the day."
    assert sheet.settings == (f"{level:.0f}\u00a0°C",)
    assert sheet.foot_left == f"Study plane_irons, plan {plane_irons_matrix.short_hash}"
    pages = 1 + len(sheets.loads) + len(sheets.tests)
    assert sheet.foot_right == f"load 7 of 12, page 8 of {pages}"
    assert "Nitrogen: face shield" in sheet.reminder


def test_test_sheets_are_blind_and_in_test_order(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame
    sheets = bench_sheets(plane_irons_matrix).tests
    for name, title, count, fields in (
        ("hardness_hrc", "Hardness, HRC", 96, 5),
        ("impact_j", "Impact energy, J", 48, 1),
    ):
        own = [sheet for sheet in sheets if sheet.title == title]
        rows = [row for sheet in own for row in sheet.rows]
        assert [order for order, _ in rows] == list(range(1, count + 1))
        expected = frame[frame[f"{name}_order"].notna()].sort_values(f"{name}_order")["coupon"]
        assert [code for _, code in rows] == expected.tolist()
        assert {sheet.fields for sheet in own} == {fields}
    words = " ".join(str(sheet) for sheet in sheets)
    for told in ("dry ice", "freezer", "nitrogen", "°C", "furnace"):
        assert told not in words


def test_a_published_study_uses_its_own_words(coated_bars_matrix: CouponMatrix) -> None:
    sheets = bench_sheets(coated_bars_matrix)
    sheet = sheets.loads[0]
    assert (sheet.title, sheet.line) == ("Furnace heat 1", "First heat of 6.")
    assert sheet.coupon_word == "bar"
    assert sheet.heads == ("coating",)
    assert not sheet.has_cold
    assert sheets.tests[0].line.endswith("the tester is not blinded.")


@pytest.mark.parametrize("per_load", [1, LOAD_ROWS, LOAD_ROWS + 1, 3 * LOAD_ROWS])
def test_a_large_load_goes_over_several_pages(
    plane_irons_matrix: CouponMatrix, per_load: int
) -> None:
    frame = plane_irons_matrix.frame.head(per_load).assign(
        furnace_load=1, day=1, load_place=range(1, per_load + 1)
    )
    sheets = bench_sheets(replace(plane_irons_matrix, frame=frame))
    assert max(len(sheet.rows) for sheet in sheets.loads) <= LOAD_ROWS
    assert sum(len(sheet.rows) for sheet in sheets.loads) == per_load
    assert len(sheets.loads) == -(-per_load // LOAD_ROWS)
