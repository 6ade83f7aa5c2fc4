"""Forbidden treatments, repeats, extra coupons and lots in a coupon matrix."""

from __future__ import annotations

import dataclasses
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import PlanError
from quenchbook.plan.added_coupons import with_references
from quenchbook.plan.bar_lots import allowed_bars
from quenchbook.plan.declaration import changed_layout, declaration
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.plan.shares import shares
from quenchbook.study.definition import (
    ExtraCoupons,
    ForbiddenTreatment,
    Layout,
    PlanWish,
    Response,
    Study,
)
from quenchbook.study.factors import Factor

HEAT = Factor("austenitize", "austenitize_c", (800.0, 830.0), "temperature", "furnace_load")
ROUTE = Factor("cold_route", "cold_route", ("none", "freezer"), "", "cold_batch")
TEMPER = Factor("temper", "temper_c", (150.0, 175.0), "temperature", "temper_batch")
LOT = Factor("heat_lot", "heat_lot", ("A", "B"), "", "bar")
NOT_HOT_WITHOUT_COLD = ForbiddenTreatment({"austenitize": 830.0, "cold_route": "none"}, "cracks")
AS_QUENCHED = ExtraCoupons("as_quenched", "as quenched", 4, {"austenitize": 800.0})
UNTREATED = ExtraCoupons("untreated", "untreated", 2, {})
USUAL = ExtraCoupons(
    "usual", "usual", 3, {"austenitize": 800.0, "cold_route": "none", "temper": 175.0}
)


def study_of(*factors: Factor, loads: int = 4, size: int = 4, **changes: object) -> Study:
    layout = Layout(loads, size, coupons_per_temper_batch=6)
    study = Study(
        "little", "Little", "Little?", "invented", "2026-01-01", "CC-BY-4.0", factors,
        (Response("hardness_hrc", "hardness", "HRC", "hardness"),), (), layout,
    )  # fmt: skip
    return replace(study, **changes)  # type: ignore[arg-type]


def with_bars(study: Study, bars: int, each: int) -> Study:
    return replace(study, layout=replace(study.layout, bars=bars, coupons_per_bar=each))


def broken(matrix: CouponMatrix, row: int, column: str, value: object) -> CouponMatrix:
    frame = matrix.frame.copy()
    frame.loc[row, column] = value
    return dataclasses.replace(matrix, frame=frame)


@pytest.mark.parametrize(
    ("total", "weights", "expected"),
    [
        (10, [2, 1, 2], [4, 2, 4]),
        (7, [1, 1, 1], [3, 2, 2]),
        (3, [1, 1, 9], [1, 1, 1]),  # each gets one before any gets two
        (2, [1, 3, 1], [0, 1, 0]),  # too few for one each: those that lag behind most
    ],
)
def test_shares_follow_the_weights(total: int, weights: list[int], expected: list[int]) -> None:
    found = shares(total, weights, range(len(weights)))
    assert sum(found) == total
    if total >= len(weights):
        assert found == expected
    else:
        assert found[1] >= 1


def test_a_full_crossing_drops_what_is_forbidden() -> None:
    study = study_of(HEAT, ROUTE, TEMPER, forbidden=(NOT_HOT_WITHOUT_COLD,))
    matrix = qb.coupon_matrix(study, seed=1)
    counts = matrix.frame.groupby(["austenitize_c", "cold_route", "temper_c"]).size()
    assert counts.to_dict() == {
        (800.0, "none", 150.0): 2, (800.0, "none", 175.0): 2,
        (800.0, "freezer", 150.0): 2, (800.0, "freezer", 175.0): 2,
        (830.0, "freezer", 150.0): 4, (830.0, "freezer", 175.0): 4,
    }  # fmt: skip
    assert any(
        "With 830\xa0°C 1 of 2 combinations of cold route is allowed" in n for n in matrix.notes
    )


def test_a_forbidden_furnace_setting_gets_no_load() -> None:
    quench = Factor("quench", "quench", ("oil", "plates"), "", "furnace_load")
    entry = ForbiddenTreatment({"austenitize": 830.0, "quench": "oil"})
    matrix = qb.coupon_matrix(study_of(HEAT, quench, loads=3, forbidden=(entry,)), seed=1)
    loads = matrix.frame.drop_duplicates("furnace_load")
    assert sorted(zip(loads["austenitize_c"], loads["quench"], strict=True)) == [
        (800.0, "oil"), (800.0, "plates"), (830.0, "plates"),
    ]  # fmt: skip


HOLD = Factor("cold_hold", "cold_hold_minutes", (60.0, 1440.0), "time", "cold_batch")
SIDE = Factor("side", "side", ("top", "bottom"), "", "coupon")
ONE_SIDE_A_HOLD = (
    ForbiddenTreatment({"cold_hold": 60.0, "side": "top"}),
    ForbiddenTreatment({"cold_hold": 1440.0, "side": "bottom"}),
)


def test_what_a_batch_shares_is_settled_before_what_a_coupon_has_alone() -> None:
    hold = replace(HOLD, nested_in="cold_route", exists_for=("freezer",))
    matrix = qb.coupon_matrix(study_of(ROUTE, SIDE, hold, forbidden=ONE_SIDE_A_HOLD), seed=2)
    cold = matrix.frame.query("cold_route == 'freezer'")
    sides = {hold: set(own) for hold, own in cold.groupby("cold_hold_minutes")["side"]}
    assert sides == {60.0: {"bottom"}, 1440.0: {"top"}}
    check_matrix(matrix)


def test_a_batch_that_can_have_no_level_is_told() -> None:
    # One temper leaves one side, one side leaves one hold; but a batch mixes tempers.
    temper = replace(TEMPER, set_for="coupon")
    entries = (
        *ONE_SIDE_A_HOLD,
        ForbiddenTreatment({"temper": 150.0, "side": "top"}),
        ForbiddenTreatment({"temper": 175.0, "side": "bottom"}),
    )
    hold = replace(HOLD, nested_in="cold_route", exists_for=("freezer",))
    with pytest.raises(PlanError, match="every level of cold hold is forbidden for some of its"):
        qb.coupon_matrix(study_of(ROUTE, temper, SIDE, hold, forbidden=entries), seed=2)


def test_a_plan_with_a_forbidden_treatment_is_refused() -> None:
    matrix = qb.coupon_matrix(study_of(HEAT, ROUTE, TEMPER), seed=1)
    later = dataclasses.replace(
        matrix, study=replace(matrix.study, forbidden=(NOT_HOT_WITHOUT_COLD,))
    )
    message = r"have austenitize 830\xa0°C and cold route none, which is forbidden \(cracks\)"
    with pytest.raises(PlanError, match=message):
        check_matrix(later)


@pytest.mark.parametrize("factor", ["austenitize", "temper", "cold_route"])
def test_levels_are_used_as_often_as_told(factor: str) -> None:
    factors = [
        replace(own, repeats=(3, 1)) if own.name == factor else own for own in (HEAT, ROUTE, TEMPER)
    ]
    matrix = qb.coupon_matrix(study_of(*factors, loads=8), seed=4)
    own = matrix.study.factor(factor)
    counts = matrix.frame[own.column].value_counts()
    assert [counts[level] for level in own.levels] == [24, 8]


def test_extra_coupons_of_a_treatment_are_analysed() -> None:
    study = study_of(HEAT, ROUTE, TEMPER, extra_coupons=(USUAL,))
    matrix = qb.coupon_matrix(study, seed=1)
    assert "reference" not in matrix.frame
    rows = matrix.frame.query("austenitize_c == 800 and cold_route == 'none' and temper_c == 175")
    assert len(rows) == 2 + 3
    assert sorted(matrix.frame.groupby("furnace_load").size()) == [4, 4, 5, 6]
    check_matrix(matrix)


def test_references_leave_out_the_steps_that_are_not_told() -> None:
    study = study_of(HEAT, ROUTE, TEMPER, extra_coupons=(AS_QUENCHED, UNTREATED))
    matrix = qb.coupon_matrix(study, seed=1)
    frame = matrix.frame
    hot = frame[frame["reference"] == "as_quenched"]
    assert (hot["austenitize_c"] == 800).all()
    assert hot[["cold_route", "cold_batch"]].eq("").all(axis=None)
    assert hot["temper_c"].isna().all()
    assert hot["temper_batch"].eq(0).all()
    assert sorted(hot.groupby("furnace_load").size()) == [2, 2]
    raw = frame[frame["reference"] == "untreated"]
    assert raw[["furnace_load", "day", "temper_batch"]].eq(0).all(axis=None)
    assert frame["hardness_hrc_order"].notna().all()
    assert matrix.unit_counts() == {
        "furnace_load": 4, "cold_batch": 8, "temper_batch": 4, "coupon": 22,
    }  # fmt: skip


def test_references_are_tested_beyond_the_number_of_coupons() -> None:
    study = study_of(HEAT, ROUTE, TEMPER, extra_coupons=(AS_QUENCHED,))
    study = replace(study, responses=(replace(study.responses[0], coupons=8),))
    frame = qb.coupon_matrix(study, seed=1).frame
    tested = frame["hardness_hrc_order"].notna()
    assert tested[frame["reference"] != ""].all()
    assert tested[frame["reference"] == ""].sum() == 8


def test_extra_coupons_without_a_load_are_told() -> None:
    entry = ForbiddenTreatment({"austenitize": 830.0, "quench": "oil"})
    quench = Factor("quench", "quench", ("oil", "plates"), "", "furnace_load")
    extra = ExtraCoupons("odd", "odd", 1, {"austenitize": 830.0, "quench": "oil"})
    study = study_of(HEAT, quench, loads=3, forbidden=(entry,), extra_coupons=(extra,))
    with pytest.raises(
        PlanError, match=r"no furnace load of the plan has austenitize 830\xa0°C and"
    ):
        qb.coupon_matrix(study, seed=1)


@pytest.mark.parametrize(
    ("column", "value", "message"),
    [
        ("temper_c", 150.0, "reference 'as_quenched' has another temper than declared"),
        ("austenitize_c", 830.0, "reference 'as_quenched' has another austenitize than declared"),
        ("reference", "unknown", "is reference 'unknown', which the study file does not declare"),
        ("reference", "", "stand in the plan for reference 'as_quenched', the study file says 4"),
    ],
)
def test_references_that_are_not_those_of_the_study_are_refused(
    column: str, value: object, message: str
) -> None:
    matrix = qb.coupon_matrix(study_of(HEAT, ROUTE, TEMPER, extra_coupons=(AS_QUENCHED,)), seed=1)
    row = int(matrix.frame.index[matrix.frame["reference"] == "as_quenched"][0])
    with pytest.raises(PlanError, match=message):
        check_matrix(broken(matrix, row, column, value))


def test_coupons_come_from_the_bars_of_their_lot() -> None:
    matrix = qb.coupon_matrix(with_bars(study_of(HEAT, LOT, ROUTE), 4, 6), seed=3)
    frame = matrix.frame
    assert (frame.groupby("bar")["heat_lot"].nunique() == 1).all()
    assert frame.drop_duplicates("bar").groupby("heat_lot")["bar"].nunique().tolist() == [2, 2]
    assert (frame.groupby("bar").size() == 4).all()
    cells = frame.groupby(["bar", "austenitize_c", "cold_route"]).size()
    assert (cells == 1).all()
    assert len(cells) == 4 * 4


def test_a_lot_gets_the_bars_its_coupons_need() -> None:
    lot = replace(LOT, repeats=(3, 1))
    matrix = qb.coupon_matrix(with_bars(study_of(HEAT, lot), 4, 4), seed=3)
    bars = matrix.frame.drop_duplicates("bar")["heat_lot"].value_counts()
    assert bars.to_dict() == {"A": 3, "B": 1}


def test_too_few_bars_of_a_lot_are_told() -> None:
    study = with_bars(study_of(HEAT, LOT), 3, 6)
    with pytest.raises(
        PlanError, match=r"The lots need 4 bars of 6 \(heat lot A: 2, heat lot B: 2\)"
    ):
        qb.coupon_matrix(study, seed=3)


def test_a_bar_of_two_lots_is_refused() -> None:
    matrix = qb.coupon_matrix(with_bars(study_of(HEAT, LOT), 4, 6), seed=3)
    other = "B" if matrix.frame.loc[0, "heat_lot"] == "A" else "A"
    with pytest.raises(PlanError, match=r"bar \d: has A and B, but heat lot is set once for a bar"):
        check_matrix(broken(matrix, 0, "heat_lot", other))


def test_a_reference_has_the_lot_of_its_bar() -> None:
    study = study_of(HEAT, LOT, ROUTE, extra_coupons=(UNTREATED,))
    frame = qb.coupon_matrix(with_bars(study, 4, 6), seed=3).frame
    lots = frame[frame["reference"] == ""].groupby("bar")["heat_lot"].first()
    own = frame[frame["reference"] != ""]
    assert own["heat_lot"].tolist() == lots[own["bar"]].tolist()


@pytest.mark.parametrize(("bars", "df"), [(2, 0), (4, 2), (6, 4)])
def test_a_lot_is_judged_on_bars(bars: int, df: int) -> None:
    # Bars are the units of a lot: as many error df as there are bars beyond one for each lot.
    study = study_of(HEAT, LOT, ROUTE, loads=8, size=4)
    study = replace(study, responses=(replace(study.responses[0], combinations=()),))
    matrix = qb.coupon_matrix(with_bars(study, bars, 32), seed=3)
    table = qb.error_df_frame(matrix).set_index("term")
    assert (table.loc["heat_lot", "stratum"], table.loc["heat_lot", "df_error"]) == ("bar", df)


def test_bars_are_no_units_where_no_factor_is_set_for_them() -> None:
    matrix = qb.coupon_matrix(with_bars(study_of(HEAT, ROUTE, loads=8), 4, 8), seed=3)
    assert "bar" not in set(qb.error_df_frame(matrix)["stratum"])


def test_what_is_said_beside_the_layout_is_declared_only_where_it_is_said(
    plane_irons: Study,
) -> None:
    assert not {"repeats", "forbidden", "extra_coupons", "plan"} & set(declaration(plane_irons))
    said = replace(
        study_of(replace(HEAT, repeats=(1, 2)), ROUTE, TEMPER, forbidden=(NOT_HOT_WITHOUT_COLD,)),
        extra_coupons=(AS_QUENCHED, UNTREATED),
        plan=PlanWish("best", "D"),
    )
    declared = declaration(said)
    assert declared["repeats"] == {"austenitize": [1, 2]}
    assert declared["forbidden"] == ["austenitize 830\xa0°C, cold_route none"]
    assert declared["extra_coupons"] == {
        "as_quenched": "4 with austenitize 800\xa0°C", "untreated": "2 with no step",
    }  # fmt: skip
    assert declared["plan"] == {"kind": "best", "criterion": "D"}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"extra_coupons": (AS_QUENCHED,)}, "extra coupons: as_quenched 4 with austenitize 800"),
        ({"forbidden": (NOT_HOT_WITHOUT_COLD,)}, "forbidden treatments: austenitize 830"),
        ({"plan": PlanWish("best")}, "kind of plan: kind best, the plan has none"),
        ({"factors": (replace(HEAT, repeats=(1, 2)), ROUTE, TEMPER)}, "repeats of levels: austenitize 1, 2"),
    ],
)  # fmt: skip
def test_what_was_said_after_the_plan_is_told(change: dict[str, object], words: str) -> None:
    study = study_of(HEAT, ROUTE, TEMPER)
    stored = declaration(study)
    assert changed_layout(stored, study) == []
    asked = changed_layout(stored, replace(study, **change))  # type: ignore[arg-type]
    assert len(asked) == 1
    assert asked[0].startswith(words)


def test_a_plan_with_references_comes_back_from_its_file(tmp_path: Path) -> None:
    study = study_of(HEAT, ROUTE, TEMPER, extra_coupons=(AS_QUENCHED, UNTREATED, USUAL))
    matrix = qb.coupon_matrix(study, seed=9)
    qb.write_plan(matrix, tmp_path)
    again = qb.read_plan(tmp_path, study)
    pd.testing.assert_frame_equal(again.frame, matrix.frame, check_dtype=False)


def test_a_nested_factor_without_a_place_is_blank() -> None:
    hold = Factor(
        "cold_hold", "cold_hold_minutes", (60.0, 1440.0), "time", "cold_batch",
        nested_in="cold_route", exists_for=("freezer",),
    )  # fmt: skip
    frame = qb.coupon_matrix(study_of(ROUTE, hold, loads=1, size=1), seed=1).frame
    assert frame["cold_route"].tolist() == ["none"]
    assert frame["cold_hold_minutes"].isna().all()


def test_references_join_a_plan_whose_batches_are_settled() -> None:
    frozen = ExtraCoupons(
        "frozen", "frozen, no temper", 4, {"austenitize": 800.0, "cold_route": "freezer"}
    )
    tempered = ExtraCoupons("tempered", "tempered only", 2, {"austenitize": 800.0, "temper": 150.0})
    plain = study_of(HEAT, ROUTE, TEMPER)
    frame = qb.coupon_matrix(plain, seed=1).frame
    study = replace(plain, extra_coupons=(frozen, tempered, UNTREATED, USUAL))
    notes: list[str] = []
    grown = with_references(study, frame, 1, notes)
    assert len(grown) == len(frame) + 4 + 2 + 2
    assert len(notes) == 3
    units = ["furnace_load", "cold_batch", "temper_batch"]
    old = grown.iloc[: len(frame)]
    assert old[units].to_numpy().tolist() == frame[units].to_numpy().tolist()
    cold = grown[grown["reference"] == "frozen"]
    assert set(cold["cold_batch"]) == set(
        frame.query("austenitize_c == 800 and cold_route == 'freezer'")["cold_batch"]
    )
    assert cold["temper_batch"].eq(0).all()
    warm = grown[grown["reference"] == "tempered"]
    assert warm["cold_batch"].eq("").all()
    batches = grown[grown["temper_batch"] > 0].groupby("temper_batch")
    assert (batches["temper_c"].nunique() == 1).all()
    assert (batches.size() <= 6).all()
    raw = grown[grown["reference"] == "untreated"]
    assert raw[["furnace_load", "day", "temper_batch"]].eq(0).all(axis=None)
    assert "reference" not in with_references(plain, frame, 1, [])


def test_coupons_of_a_lot_share_all_their_bars() -> None:
    study = with_bars(study_of(HEAT, LOT, extra_coupons=(UNTREATED,)), 4, 6)
    frame = qb.coupon_matrix(study, seed=3).frame
    own = allowed_bars(study, frame)
    assert set(own) == {frozenset({1, 2}), frozenset({3, 4})}
    assert all(bar in bars for bar, bars in zip(frame["bar"], own, strict=True))
