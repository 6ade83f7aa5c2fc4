from __future__ import annotations

from dataclasses import replace

import pytest

from quenchbook.bench.bar_sheets import BAR_ROWS
from quenchbook.bench.load_sheets import LOAD_ROWS
from quenchbook.bench.sheets import bench_sheets
from quenchbook.bench.temper_sheets import MOST_CYCLES, TEMPER_ROWS
from quenchbook.plan.matrix import CouponMatrix


def with_held(matrix: CouponMatrix, **held: str) -> CouponMatrix:
    return replace(matrix, study=replace(matrix.study, held_constant=held))


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
        assert temper.under == f"batch {plan['temper_batch']}"
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
    assert sheet.foot_right == "load 7 of 12"
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


def test_every_coupon_stands_once_on_the_sheet_of_its_temper_batch(
    plane_irons_matrix: CouponMatrix,
) -> None:
    frame = plane_irons_matrix.frame.set_index("coupon")
    sheets = bench_sheets(plane_irons_matrix).tempers
    assert [sheet.title for sheet in sheets] == [f"Temper batch {n}" for n in range(1, 13)]
    for number, sheet in enumerate(sheets, start=1):
        own = frame[frame["temper_batch"] == number]
        assert {row.coupon for row in sheet.rows} == set(own.index)
        assert sheet.settings == (f"{own['temper_c'].iloc[0]:.0f}\u00a0°C",)
        for row in sheet.rows:
            assert row.furnace_load == own.loc[row.coupon, "furnace_load"]
            assert row.load_place == own.loc[row.coupon, "load_place"]
    assert sheets[0].line == "8 coupons from loads 1, 2, 3 and 4."
    assert "Untempered steel" in sheets[0].reminder
    assert sum(len(sheet.rows) for sheet in sheets) == 96


def test_a_large_temper_batch_goes_over_several_pages(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame.head(TEMPER_ROWS + 1).assign(temper_batch=1)
    sheets = bench_sheets(replace(plane_irons_matrix, frame=frame)).tempers
    assert [sheet.line.split(" from")[0] for sheet in sheets] == [
        f"6 of {TEMPER_ROWS + 1} coupons", f"5 of {TEMPER_ROWS + 1} coupons",
    ]  # fmt: skip
    assert sum(len(sheet.rows) for sheet in sheets) == TEMPER_ROWS + 1


def test_every_piece_of_every_bar_has_its_code(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame
    sheets = bench_sheets(plane_irons_matrix).bars
    assert [sheet.title for sheet in sheets] == [f"Cut and mark: bar {n}" for n in range(1, 9)]
    marked = {
        (bar, row.position): row.coupon
        for bar, sheet in enumerate(sheets, start=1)
        for row in sheet.rows
    }
    keys = zip(frame["bar"], frame["bar_position"], strict=True)
    assert marked == dict(zip(keys, frame["coupon"], strict=True))
    words = " ".join(str(sheet) for sheet in sheets)
    for told in ("dry ice", "freezer", "nitrogen", "°C", "load"):
        assert told not in words


def test_a_spare_piece_gets_no_code_and_a_long_bar_more_pages(
    plane_irons_matrix: CouponMatrix,
) -> None:
    layout = replace(plane_irons_matrix.study.layout, coupons_per_bar=BAR_ROWS + 1)
    study = replace(plane_irons_matrix.study, layout=layout)
    sheets = bench_sheets(replace(plane_irons_matrix, study=study)).bars
    assert len(sheets) == 16
    assert sheets[0].line == f"{BAR_ROWS + 1} pieces to cut, 12 to mark, 5 spare."
    assert [row.coupon for row in sheets[0].rows[12:]] == [""] * 4
    assert [(row.position, row.coupon) for row in sheets[1].rows] == [(BAR_ROWS + 1, "")]


def test_a_study_without_batches_and_bars_has_no_such_sheets(
    coated_bars_matrix: CouponMatrix,
) -> None:
    sheets = bench_sheets(coated_bars_matrix)
    assert sheets.tempers == sheets.bars == ()


def test_what_is_held_constant_stands_beside_its_blank_or_in_the_list(
    plane_irons_matrix: CouponMatrix,
) -> None:
    matrix = with_held(
        plane_irons_matrix, soak="15 min", cold_time="12 h", temper_time="2 h", temper_cycles="2",
        quench="oil, 50 degC", foil="stainless",
    )  # fmt: skip
    sheets = bench_sheets(matrix)
    load, temper = sheets.loads[0], sheets.tempers[0]
    labels = [label for label, _ in load.times]
    assert "out, soak 15\u00a0min" in labels
    assert "oil, start" in labels  # the quench is told to be oil
    assert load.cold_out == "cold, out after 12\u00a0h"
    assert load.held == "Held constant: quench oil, 50\u00a0°C; foil stainless."
    assert "out, hold 2\u00a0h" in [label for label, _ in temper.times]
    assert temper.cycles == ("temper 1", "temper 2")
    assert temper.held == "Held constant: temper cycles 2."
    assert "Oil: whole coupon" in load.reminder
    assert "12" not in " ".join(sheet.line + sheet.title for sheet in sheets.tests)


def test_a_long_planned_time_stands_in_the_list(plane_irons_matrix: CouponMatrix) -> None:
    held = {"soak": "until the middle is hot too", "cold_time": "overnight, about 12 h"}
    sheet = bench_sheets(with_held(plane_irons_matrix, **held)).loads[0]
    assert "out" in [label for label, _ in sheet.times]
    assert sheet.cold_out == "cold, out"
    assert sheet.held == (
        "Held constant: soak until the middle is hot too; cold time overnight, about 12\u00a0h."
    )


def test_a_study_without_temper_batches_lists_the_temper_on_the_load_sheets(
    coated_bars_matrix: CouponMatrix,
) -> None:
    sheet = bench_sheets(with_held(coated_bars_matrix, temper_time="2 h", cold_time="1 h")).loads[0]
    assert sheet.held == "Held constant: temper time 2\u00a0h; cold time 1\u00a0h."


@pytest.mark.parametrize(
    ("text", "cycles"), [("1", 1), ("", 1), ("twice", 1), ("3 x 2 h", 3), ("99", MOST_CYCLES)]
)
def test_each_temper_cycle_has_its_own_lines(
    plane_irons_matrix: CouponMatrix, text: str, cycles: int
) -> None:
    sheet = bench_sheets(with_held(plane_irons_matrix, temper_cycles=text)).tempers[0]
    assert len(sheet.cycles) == cycles


def test_temper_batches_without_a_temper_factor_have_their_own_column(
    plane_irons_matrix: CouponMatrix,
) -> None:
    study = plane_irons_matrix.study
    factors = tuple(factor for factor in study.factors if factor.name != "temper")
    matrix = replace(plane_irons_matrix, study=replace(study, factors=factors))
    sheets = bench_sheets(matrix)
    assert sheets.loads[0].heads[-1] == "temper batch"
    batches = [row.entries[-1].text for row in sheets.loads[0].rows]
    assert batches == matrix.frame["temper_batch"].head(8).astype(str).tolist()
    assert sheets.tempers[0].settings == ()
