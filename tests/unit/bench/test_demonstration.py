"""The demonstration tells its stock, hours and room: they agree with its plan and change nothing."""

from __future__ import annotations

import json

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.bench.at_hand import consumables
from quenchbook.bench.cutting import cut_list
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.plan.declaration import declaration
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study

FOLDER = ROOT / "data" / "plane_irons"


@pytest.fixture(scope="module")
def demo() -> CouponMatrix:
    """As it lies there; other tests of the bench use it without these tables."""
    return qb.read_plan(FOLDER / "plan", qb.read_study(FOLDER))


def test_tables_of_the_bench_change_neither_plan_nor_declaration(
    demo: CouponMatrix, untold_plane_irons: Study
) -> None:
    assert demo.short_hash == "3db02e10"
    assert demo.changes == ()
    assert demo.study.stock is not None
    assert demo.study.room is not None
    assert demo.study.timetable
    kept = json.loads((FOLDER / "plan" / "plan.json").read_text(encoding="utf-8"))["declared"]
    assert json.loads(json.dumps(declaration(demo.study))) == kept
    assert declaration(demo.study) == declaration(untold_plane_irons)


def test_the_cut_list_takes_each_coupon_from_its_bar_and_place(demo: CouponMatrix) -> None:
    found = cut_list(demo)
    assert set(found.bars) == set(range(1, 9))  # eight bars, spares in their rests
    assert set(found.bars.values()) == {600.0}
    cut = found.frame[found.frame["what"] == "coupon"].set_index("coupon")
    plan = demo.frame.set_index("coupon")
    assert (cut["bar"] == plan["bar"].reindex(cut.index)).all()
    assert (cut["piece"] == plan["bar_position"].reindex(cut.index)).all()
    assert cut.groupby("bar").size().tolist() == [12] * 8
    broken = plan["impact_j_order"].notna().reindex(cut.index)
    length = (cut["to_mm"] - cut["from_mm"]).round(6)
    assert set(length[broken]) == {55.0}
    assert set(length[~broken]) == {25.0}


def test_longer_bars_hold_twelve_coupons_that_are_broken(demo: CouponMatrix) -> None:
    stock = demo.study.stock
    assert stock is not None
    need = 12 * 55.0 + 13 * stock.kerf_mm + 2 * stock.end_discard_mm  # next coupons may need it
    assert max(bar.length_mm for bar in stock.bars) >= need


def test_the_timetable_keeps_every_delay_bath_and_hour(demo: CouponMatrix) -> None:
    timetable = bench_timetable(demo)
    assert timetable.breaches == ()
    assert "from Mon 2026-09-14, 08:00" in timetable.summary()


def test_amounts_are_told_and_nothing_is_asked_for(demo: CouponMatrix) -> None:
    own = consumables(demo)
    assert own.asked == ()
    assert own.to_frame()[["low", "high"]].notna().all().all()
    # 48 coupons of 25 mm and 48 of 55 mm, 10 mm by 4 mm
    steel = next(need for need in own.lines if need.item == "steel")
    assert steel.low == pytest.approx(48 * (0.025 + 0.055) * 0.010 * 0.004 * 7800)
    assert "25 to 55 × 10 × 4\u00a0mm" in steel.note
    assert "Sawn size" in steel.note
    assert own.air
