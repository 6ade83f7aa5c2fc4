"""Whole plans are even over thousands of seeds, and faulty draws do not pass."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from tests.evenness import (
    FAULT,
    excess,
    p_of_no_shift,
    plan_samples,
    small_study,
    stream_users,
    stuck_stream,
    with_repeats,
)

from quenchbook.plan.bars import AllotmentRule, accepted_allotments, allotment_rule
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.study.definition import Study

pytestmark = pytest.mark.simulation


@pytest.fixture(scope="module")
def frames(plane_irons: Study) -> list[pd.DataFrame]:
    study = small_study(plane_irons)
    return [coupon_matrix(study, seed=seed).frame for seed in range(2000)]


@pytest.fixture(scope="module")
def samples(frames: list[pd.DataFrame]) -> dict[str, np.ndarray]:
    return plan_samples(frames)


def test_every_part_of_a_plan_is_even_over_seeds(samples: dict[str, np.ndarray]) -> None:
    values = {name: p_of_no_shift(own) for name, own in samples.items()}
    assert min(values.values()) > FAULT, values


def test_plans_that_repeat_are_found(samples: dict[str, np.ndarray]) -> None:
    assert all(p_of_no_shift(with_repeats(own, every=5)) < FAULT for own in samples.values())


@pytest.mark.parametrize(
    ("steps", "proof"),
    [
        (("place in load",), "route by place in the load"),
        (("furnace places",), "turn in the load by furnace place"),
        (
            ("temper batch numbers of day 1", "temper batch numbers of day 2"),
            "temper by temper batch",
        ),
        (("test order of hardness_hrc",), "load by turn at the hardness tester"),
        (("test order of impact_j",), "load by turn at the impact tester"),
        (("coupon codes",), "load by first character of the code"),
    ],
)
def test_a_step_that_is_not_randomized_is_found(
    plane_irons: Study, monkeypatch: pytest.MonkeyPatch, steps: tuple[str, ...], proof: str
) -> None:
    for module in stream_users():
        monkeypatch.setattr(module, "Stream", stuck_stream(*steps))
    study = small_study(plane_irons)
    faulty = plan_samples([coupon_matrix(study, seed=seed).frame for seed in range(150)])
    assert p_of_no_shift(faulty[proof]) < FAULT


@pytest.mark.parametrize("column", ["cold_route", "temper_c", "temper_batch"])
def test_every_coupon_of_a_load_gets_every_treatment_equally_often(
    frames: list[pd.DataFrame], column: str
) -> None:
    rows = []
    for frame in frames:
        place = pd.Series(frame.index)
        if column == "temper_batch":  # those of a day
            first = frame[frame["day"] == 1]
            rows.append(excess(place[: len(first)], first[column], first.index))
        else:
            rows.append(excess(place, frame[column], frame.index))
    assert p_of_no_shift(np.array(rows)) > FAULT


# --- bars of the demonstration: 96 coupons, eight bars, delays that exist for some coupons only ---


@pytest.fixture(scope="module")
def rule(plane_irons: Study, plane_irons_matrix: CouponMatrix) -> AllotmentRule:
    study = replace(plane_irons, layout=replace(plane_irons.layout, bar_ends=1))
    return allotment_rule(study, plane_irons_matrix.frame, seed=2)


@pytest.fixture(scope="module")
def places(rule: AllotmentRule) -> np.ndarray:
    accepted = accepted_allotments(rule)
    return np.array([next(accepted).places for _ in range(3000)])


@pytest.mark.parametrize("column", ["cold_route", "temper_c", "delay_minutes", "furnace_load"])
def test_balanced_bars_give_every_place_every_level_equally_often(
    places: np.ndarray, plane_irons_matrix: CouponMatrix, column: str
) -> None:
    level = plane_irons_matrix.frame[column]
    rows = [excess(pd.Series(own[:, 1]), level, range(1, 13)) for own in places]
    assert p_of_no_shift(np.array(rows)) > FAULT
    rows = [excess(pd.Series(own[:, 0]), level, range(1, 9)) for own in places]
    assert p_of_no_shift(np.array(rows)) > FAULT


def test_balanced_bars_give_every_coupon_an_end_piece_equally_often(places: np.ndarray) -> None:
    is_end = np.isin(places[:, :, 1], (1, 12)).astype(float)
    assert p_of_no_shift(is_end - is_end.mean(axis=1, keepdims=True)) > FAULT
    twice = is_end.copy()
    twice[:, 0] = np.maximum(is_end[:, 0], is_end[:, 1])  # faulty: the first coupon twice as often
    assert p_of_no_shift(twice - twice.mean(axis=1, keepdims=True)) < FAULT
