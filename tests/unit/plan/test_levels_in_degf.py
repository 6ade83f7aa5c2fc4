from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np

import quenchbook as qb
from quenchbook.study.definition import Study


def test_a_plan_with_levels_that_are_not_round_in_storage_units_is_read_again(
    tmp_path: Path, coated_bars: Study
) -> None:
    levels = tuple((x - 32) / 1.8 for x in (675, 700, 725))
    first, second = coated_bars.factors
    study = dataclasses.replace(
        coated_bars, factors=(dataclasses.replace(first, levels=levels), second), published=False
    )
    matrix = qb.coupon_matrix(study, seed=3)
    qb.write_plan(matrix, tmp_path)
    again = qb.read_plan(tmp_path, study)
    assert again.plan_hash == matrix.plan_hash
    assert np.array_equal(again.frame["furnace_temp_c"], matrix.frame["furnace_temp_c"])
