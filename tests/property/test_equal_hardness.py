"""What must not change a comparison at equal hardness."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.toughness import FIXED, UNITS, toughness_frame

import quenchbook as qb
from quenchbook.fit.equal_hardness import EqualHardness

seeds = st.integers(0, 10_000)


def compared(frame: pd.DataFrame) -> EqualHardness:
    energy = qb.mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
    hardness = qb.mixed_model(frame, "hrc", fixed=FIXED, strata=UNITS)
    return qb.equal_hardness_contrast(
        energy, hardness, compare={"route": ["b", "a"]}, indent_variance=0.05
    )


def numbers(own: EqualHardness) -> np.ndarray:
    frame = own.to_frame()
    low, high = own.common_range
    checks = [(check.statistic, check.df, check.df_error) for check in own.checks]
    columns = frame[["estimate", "std_error", "df", "conf_low", "conf_high"]]
    return np.concatenate([columns.to_numpy().ravel(), np.ravel(checks), [high - low]])


@settings(max_examples=5, deadline=None)
@given(seed=seeds, shift=st.floats(-30, 30))
def test_a_constant_added_to_the_hardness_changes_nothing(seed: int, shift: float) -> None:
    frame = toughness_frame(seed)
    moved = frame.assign(hrc=frame["hrc"] + shift)
    # small differences are left by solving with larger numbers
    assert numbers(compared(moved)) == pytest.approx(
        numbers(compared(frame)), rel=1e-6, abs=1e-8, nan_ok=True
    )


@settings(max_examples=5, deadline=None)
@given(seed=seeds, unit=st.floats(0.01, 100))
def test_the_unit_of_the_energy_changes_nothing(seed: int, unit: float) -> None:
    frame = toughness_frame(seed)
    other = frame.assign(impact=frame["impact"] * unit)
    assert numbers(compared(other)) == pytest.approx(
        numbers(compared(frame)), rel=1e-6, abs=1e-8, nan_ok=True
    )


@settings(max_examples=5, deadline=None)
@given(seed=seeds, order=st.integers(0, 10_000))
def test_the_order_of_rows_changes_nothing(seed: int, order: int) -> None:
    frame = toughness_frame(seed)
    shuffled = frame.sample(frac=1, random_state=order).reset_index(drop=True)
    assert numbers(compared(shuffled)) == pytest.approx(
        numbers(compared(frame)), rel=1e-6, abs=1e-8, nan_ok=True
    )


@settings(max_examples=5, deadline=None)
@given(seed=seeds)
def test_the_contrast_is_the_total_less_slope_times_difference(seed: int) -> None:
    own = compared(toughness_frame(seed))
    made = own.slope.estimate * own.hardness_difference.estimate
    assert own.adjusted.estimate == pytest.approx(own.total.estimate - made, abs=1e-10)
    first, second = own.values["estimate"]
    assert first - second == pytest.approx(own.adjusted.estimate, abs=1e-10)


@settings(max_examples=5, deadline=None)
@given(seed=seeds)
def test_levels_the_other_way_round_turn_the_sign(seed: int) -> None:
    frame = toughness_frame(seed)
    energy = qb.mixed_model(frame, "impact", fixed=FIXED, strata=UNITS, scale="log")
    hardness = qb.mixed_model(frame, "hrc", fixed=FIXED, strata=UNITS)
    one, two = (
        qb.equal_hardness_contrast(energy, hardness, compare={"route": pair})
        for pair in (["b", "a"], ["a", "b"])
    )
    assert two.adjusted.estimate == pytest.approx(-one.adjusted.estimate, abs=1e-10)
    assert two.adjusted.std_error == pytest.approx(one.adjusted.std_error)
    assert two.common_range == pytest.approx(one.common_range)
