"""Comparison at equal hardness: what is refused, what is warned of, what a result shows."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from tests.toughness import FIXED, UNITS, toughness_frame

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.equal_hardness import EqualHardness
from quenchbook.fit.mixed import MixedModel

COMPARE = {"route": ["b", "a"]}


def models(
    frame: pd.DataFrame, fixed: str = FIXED, units: list[str] | None = None
) -> tuple[MixedModel, MixedModel]:
    strata = UNITS if units is None else units
    return (
        qb.mixed_model(frame, "impact", fixed=fixed, strata=strata, scale="log"),
        qb.mixed_model(frame, "hrc", fixed=fixed, strata=strata),
    )


def compared(frame: pd.DataFrame, **more: Any) -> EqualHardness:
    return qb.equal_hardness_contrast(*models(frame), compare=COMPARE, **more)


@pytest.fixture(scope="module")
def result() -> EqualHardness:
    return compared(toughness_frame(3))


def test_total_effect_stands_first(result: EqualHardness) -> None:
    lines = result.to_frame()["line"].tolist()
    assert lines[:4] == [
        "total", "difference in hardness", "slope of the temper line", "at equal hardness",
    ]  # fmt: skip


def test_result_says_that_the_second_number_is_not_the_total(result: EqualHardness) -> None:
    assert "this is not the total effect" in result.summary()


def test_sensitivity_lines_carry_their_warning(result: EqualHardness) -> None:
    notes = result.to_frame().set_index("line")["note"]
    assert notes["covariance analysis"] == "sensitivity only"
    assert any("as few as 47 of 100 studies" in note for note in result.notes)


def test_error_in_variables_needs_the_scatter_of_indents(result: EqualHardness) -> None:
    assert "error in variables, with loads" not in set(result.sensitivity["line"])
    assert any("the scatter of indents is not told" in note for note in result.notes)


def test_scatter_of_indents_is_taken_from_the_indents_themselves() -> None:
    frame = toughness_frame(3)
    rng = np.random.default_rng(1)
    indents = frame.loc[frame.index.repeat(5)].reset_index(drop=True)
    indents["hrc"] += rng.normal(0, 0.6, len(indents))
    units = [*UNITS, "coupon"]
    energy = qb.mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
    hardness = qb.mixed_model(indents, "hrc", fixed=FIXED, strata=units)
    own = qb.equal_hardness_contrast(energy, hardness, compare=COMPARE)
    within = indents.groupby("coupon")["hrc"].var().mean() / 5
    assert own.pairs.indent_variance == pytest.approx(within)
    assert "error in variables, with loads" in set(own.sensitivity["line"])


def test_coupons_without_hardness_are_left_out_and_told() -> None:
    frame = toughness_frame(3)
    units = [*UNITS, "coupon"]
    twice = pd.concat([frame, frame], ignore_index=True)
    twice["hrc"] += np.tile([0.1, -0.1], len(frame))
    energy = qb.mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
    some = twice[~twice["coupon"].isin(["K0", "K5"])]
    hardness = qb.mixed_model(some, "hrc", fixed=FIXED, strata=units)
    own = qb.equal_hardness_contrast(energy, hardness, compare=COMPARE)
    assert len(own.pairs.response.coupons) == len(frame) - 2
    assert any(note.startswith("2 of 36") and "no hrc" in note for note in own.notes)


# --- refusals ----------------------------------------------------------------------------------


def test_one_temper_is_refused() -> None:
    frame = toughness_frame(1)
    one = frame[frame["temper"] == "T1"]
    with pytest.raises(EstimabilityError, match="not in the analysis of impact"):
        qb.equal_hardness_contrast(*models(one, "route", ["load"]), compare=COMPARE)


def test_one_temper_in_an_arm_is_refused() -> None:
    frame = toughness_frame(1)
    frame = frame[(frame["route"] == "a") | (frame["temper"] == "T0")]
    with pytest.raises(EstimabilityError, match="B had one temper only"):
        compared(frame)


def test_one_load_is_refused() -> None:
    frame = toughness_frame(1)
    one = frame[frame["load"] == "L0"]
    with pytest.raises(EstimabilityError, match="needed to tell the tempers apart"):
        qb.equal_hardness_contrast(*models(one, FIXED, ["batch"]), compare=COMPARE)


def test_a_batch_for_each_temper_shared_by_all_loads_is_refused() -> None:
    frame = toughness_frame(1)
    frame["batch"] = "oven" + frame["temper"]
    with pytest.raises(EstimabilityError, match="needed to tell the tempers apart"):
        compared(frame)


def test_arms_that_never_had_the_same_hardness_are_refused() -> None:
    with pytest.raises(EstimabilityError, match="never had the same hardness"):
        compared(toughness_frame(1, harder=6.0))


def test_a_weak_hardness_effect_of_the_temper_is_no_reason_to_refuse() -> None:
    own = compared(toughness_frame(2, step=0.3, harder=0.0))
    assert np.isfinite(own.adjusted.std_error)


def test_hardness_on_a_log_scale_is_refused() -> None:
    frame = toughness_frame(1)
    energy, _ = models(frame)
    other = qb.mixed_model(frame, "hrc", fixed=FIXED, strata=UNITS, scale="log")
    with pytest.raises(EstimabilityError, match="own scale"):
        qb.equal_hardness_contrast(energy, other, compare=COMPARE)


def test_rows_of_different_coupons_are_refused() -> None:
    frame = toughness_frame(1)
    energy, _ = models(frame)
    _, other = models(frame.iloc[::-1])
    with pytest.raises(EstimabilityError, match="not the same coupons"):
        qb.equal_hardness_contrast(energy, other, compare=COMPARE)


def test_frames_of_unequal_length_without_a_coupon_column_are_refused() -> None:
    frame = toughness_frame(1)
    energy, _ = models(frame)
    _, other = models(frame.iloc[1:])
    with pytest.raises(EstimabilityError, match="no column names the coupon"):
        qb.equal_hardness_contrast(energy, other, compare=COMPARE)


def test_an_untried_level_is_refused() -> None:
    energy, hardness = models(toughness_frame(1))
    with pytest.raises(EstimabilityError, match="was not tried"):
        qb.equal_hardness_contrast(energy, hardness, compare={"route": ["z", "a"]})


def test_two_factors_at_once_are_refused() -> None:
    energy, hardness = models(toughness_frame(1))
    with pytest.raises(EstimabilityError, match="two levels of one factor"):
        qb.equal_hardness_contrast(
            energy, hardness, compare={"route": ["b", "a"], "temper": ["T0", "T1"]}
        )


def test_the_temper_itself_is_not_compared() -> None:
    energy, hardness = models(toughness_frame(1))
    with pytest.raises(EstimabilityError, match="levels of another factor"):
        qb.equal_hardness_contrast(energy, hardness, compare={"temper": ["T0", "T1"]})


# --- warnings ----------------------------------------------------------------------------------


def test_one_spare_batch_gets_its_own_t() -> None:
    own = compared(toughness_frame(4, loads=2, tempers=2, coupons=4))
    assert own.adjusted.howe
    assert any("one spare batch" in note and "Howe" in note for note in own.notes)
    single = own.adjusted.std_error * 2.1
    low, high = own.adjusted.limits(0.95)
    assert (high - low) / 2 > single


def test_two_spare_batches_get_one_t() -> None:
    assert not compared(toughness_frame(4, loads=3, tempers=2, coupons=3)).adjusted.howe


def test_tempers_that_span_little_are_warned_of() -> None:
    own = compared(toughness_frame(2, harder=0.3, step=0.5))
    assert any(
        note.startswith("Weak line: the tempers as they came out moved") for note in own.notes
    )


def test_planned_span_decides_the_warning_where_it_is_told() -> None:
    own = compared(toughness_frame(2, harder=0.3, step=0.5), planned_span=3.0)
    assert not any(note.startswith("Weak line") for note in own.notes)
    own = compared(toughness_frame(2), planned_span=1.0)
    assert any("were planned to move the hardness by 1.00" in note for note in own.notes)


def test_tempers_of_single_coupons_lose_no_part_of_the_noise() -> None:
    # temper set for single coupons, loads that hold two of three routes: both parts are of coupons
    rng = np.random.default_rng(1)
    rows = [
        (f"L{load}", f"T{temper}", route)
        for load in range(9) for temper in range(2) for route in ("ab", "bc", "ac")[load % 3]
        for _ in range(2)
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["load", "temper", "route"])
    cold = frame["route"].map({"a": 0.0, "b": 1.0, "c": 0.5}).to_numpy()
    made = cold - 2.0 * frame["temper"].str[1:].astype(int).to_numpy()
    frame["hrc"] = 61 + made + rng.normal(0, 0.45, len(frame))
    frame["impact"] = np.exp(3 + 0.1 * cold - 0.12 * made + rng.normal(0, 0.15, len(frame)))
    response = qb.mixed_model(frame, "impact", fixed="route + temper", strata=["load"], scale="log")
    hardness = qb.mixed_model(frame, "hrc", fixed="route + temper", strata=["load"])
    own = qb.equal_hardness_contrast(response, hardness, compare={"route": ["b", "a"]})
    assert response.method_of("route") != "stratum"
    assert len(own.adjusted.parts) == 2
    total = sum(part for part, _ in own.adjusted.parts.values())
    assert total == pytest.approx(own.adjusted.variance)


def test_two_tempers_cannot_show_a_straight_line() -> None:
    own = compared(toughness_frame(4, tempers=2, coupons=3))
    assert any("Two tempers cannot show" in note for note in own.notes)
    assert {check.check for check in own.checks} == {"parallel"}


def test_a_bent_line_is_told() -> None:
    frame = toughness_frame(5, coupons=4, cv=0.02, batch_sd=0.005)
    bent = frame.assign(impact=frame["impact"] * np.where(frame["temper"] == "T1", 1.5, 1.0))
    assert any("do not lie on one straight line" in note for note in compared(bent).notes)


def test_lines_that_are_not_parallel_give_no_single_number() -> None:
    own = compared(toughness_frame(6, coupons=4, cv=0.05, bend=-0.3))
    assert not own.one_number
    assert "at equal hardness" not in set(own.to_frame()["line"])
    assert own.to_frame()["line"].str.startswith("at hardness").sum() == 2
    assert any("did not pass as parallel" in note for note in own.notes)


def test_passing_as_parallel_is_called_no_proof(result: EqualHardness) -> None:
    assert result.one_number
    assert any("no proof that they are" in note for note in result.notes)


def test_unequal_scatter_of_the_arms_is_told() -> None:
    frame = toughness_frame(7, coupons=6)
    wild = np.random.default_rng(1).normal(0, 0.6, len(frame))
    frame["impact"] *= np.exp(np.where(frame["route"] == "b", wild, 0.0))
    assert any("scatter unequally" in note for note in compared(frame).notes)


def test_tempers_without_batches_are_told() -> None:
    energy, hardness = models(toughness_frame(3).drop(columns="batch"), FIXED, ["load"])
    own = qb.equal_hardness_contrast(energy, hardness, compare=COMPARE)
    assert any("No temper batches are told" in note for note in own.notes)


def test_one_route_in_a_batch_is_judged_on_batches() -> None:
    frame = toughness_frame(8, coupons=3)
    frame["batch"] = frame["batch"] + frame["route"]
    own = compared(frame)
    # rows of a batch differ by nothing but the reading, so the batch is the lowest stratum
    assert set(own.adjusted.parts) == {"coupon"}
    assert own.pairs.response.data.lowest == "batch"
    assert own.adjusted.df == pytest.approx(18 - 3 - 1 - 2)
    # SE^2 = MS_U (v_U + d_H^2 / sum hH^2), of balanced plans
    square = own.slope.variance
    moved = (frame.groupby("temper")["hrc"].mean() - frame["hrc"].mean()) ** 2
    mean_square = square * 6 * float(moved.sum())
    difference = own.hardness_difference.estimate
    expected = mean_square * (2 / 9 + difference**2 / (6 * float(moved.sum())))
    assert own.adjusted.variance == pytest.approx(expected)


# --- more --------------------------------------------------------------------------------------


def test_assumed_slopes_answer_where_there_is_no_line() -> None:
    frame = toughness_frame(1)
    one = frame[frame["temper"] == "T1"]
    energy, hardness = models(one, "route", ["load"])
    table = qb.assumed_slopes(energy, hardness, compare=COMPARE, slopes=[0.0, -0.1])
    means = one.assign(y=np.log(one["impact"])).groupby("route")[["y", "hrc"]].mean().diff()
    total, difference = means.loc["b", "y"], means.loc["b", "hrc"]
    assert table["estimate"].tolist() == pytest.approx([total, total + 0.1 * difference])
    assert set(table["note"]) == {"assumption"}


def test_combinations_can_be_added_to_both_responses() -> None:
    frame = toughness_frame(3, coupons=3).assign(side=["left", "right", "left"] * 18)
    energy, hardness = models(frame, "route + temper + side")
    own = qb.equal_hardness_contrast(energy, hardness, compare=COMPARE, combinations=["route:side"])
    assert "route:side" in own.pairs.response.terms.names


def test_incomplete_batches_are_weighted_over_all_strata(plane_irons_records: Any) -> None:
    energy = qb.mixed_model(plane_irons_records, "impact_j")
    hardness = qb.mixed_model(plane_irons_records, "hardness_hrc")
    own = qb.equal_hardness_contrast(
        energy, hardness, compare={"cold_route": ["liquid_nitrogen", "dry_ice"]}
    )
    estimate, std_error, df = energy.estimates(
        own.pairs.response.precision.coefficients.T * 0 + _row(own)
    )
    assert own.total.estimate == pytest.approx(estimate[0])
    assert (own.total.std_error, own.total.df) == pytest.approx((std_error[0], df[0]))
    assert any("weighted over all strata" in note for note in own.notes)
    assert len(own.coupons) == 24


def _row(own: EqualHardness) -> np.ndarray:
    from quenchbook.fit.hardness_effects import contrast_row

    return contrast_row(own.pairs, own.factor, own.level, own.against)


def test_demo_routes_that_never_met_in_hardness_are_refused(plane_irons_records: Any) -> None:
    energy = qb.mixed_model(plane_irons_records, "impact_j")
    hardness = qb.mixed_model(plane_irons_records, "hardness_hrc")
    with pytest.raises(EstimabilityError, match=r"0\.91"):
        qb.equal_hardness_contrast(energy, hardness, compare={"cold_route": ["dry_ice", "none"]})
