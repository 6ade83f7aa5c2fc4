"""What a tester sees would be the same if the coupons had been treated otherwise."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from quenchbook.bench.forms import entry_forms
from quenchbook.bench.sheets import bench_sheets
from quenchbook.plan.matrix import CouponMatrix

SEEN = ("coupon", "hardness_hrc_order", "impact_j_order")


def treated_otherwise(matrix: CouponMatrix) -> CouponMatrix:
    """Same codes and test orders, everything else given to other coupons."""
    frame = matrix.frame.copy()
    others = [name for name in frame if name not in SEEN]
    order = np.random.default_rng(3).permutation(len(frame))
    frame[others] = frame[others].iloc[order].to_numpy()
    return replace(matrix, frame=frame.astype(matrix.frame.dtypes.to_dict()))


def test_tester_sheets_and_forms_do_not_depend_on_the_treatment(
    plane_irons_matrix: CouponMatrix,
) -> None:
    other = treated_otherwise(plane_irons_matrix)
    assert other.plan_hash != plane_irons_matrix.plan_hash

    def seen(matrix: CouponMatrix) -> list[object]:
        sheets = [replace(sheet, foot_left="") for sheet in bench_sheets(matrix).tests]
        return [*sheets, *(form for form in entry_forms(matrix) if form.response is not None)]

    assert len(seen(other)) > 2
    assert seen(other) == seen(plane_irons_matrix)


def test_load_sheets_do_depend_on_it(plane_irons_matrix: CouponMatrix) -> None:
    other = treated_otherwise(plane_irons_matrix)
    assert bench_sheets(other).loads[0].rows != bench_sheets(plane_irons_matrix).loads[0].rows


def test_pieces_of_a_bar_show_code_and_place_only(plane_irons_matrix: CouponMatrix) -> None:
    frame = plane_irons_matrix.frame.copy()
    for factor in plane_irons_matrix.study.factors:
        frame[factor.column] = np.roll(frame[factor.column].to_numpy(), 5)
    other = replace(plane_irons_matrix, frame=frame)
    bars = [replace(bar, foot_left="") for bar in bench_sheets(plane_irons_matrix).bars]
    assert [replace(bar, foot_left="") for bar in bench_sheets(other).bars] == bars
