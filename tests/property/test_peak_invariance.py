"""Sets of peaks, shifts and windows depend on no centre, unit, order or name."""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import quenchbook as qb
from quenchbook.fit.fitted_curve import common_curvature, curve_of
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peak_shift import shift_set

CLOSE = 1e-8 * 120.0  # of the range


def frame_of() -> pd.DataFrame:
    """Four temperatures, two loads, three routes, a twelfth of the coupons lost."""
    rng = np.random.default_rng(8)
    rows = [
        (f"L{temp}{number}", float(temp), route)
        for temp in (940, 980, 1020, 1060) for number in range(2) for route in "abcabc"
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["load", "temp", "route"])
    peak = frame["route"].map({"a": 985.0, "b": 1000.0, "c": 1020.0})
    loads = pd.factorize(frame["load"])[0]
    noise = rng.normal(0, 0.25, len(frame)) + rng.normal(0, 0.15, 8)[loads]
    frame["y"] = 63 - 1.3 * ((frame["temp"] - peak) / 60) ** 2 + noise
    return frame.drop(index=frame.index[5::12]).reset_index(drop=True)


def model_of(frame: pd.DataFrame) -> MixedModel:
    shapes: Any = {"temp": "quadratic"}
    return qb.mixed_model(frame, "y", fixed="temp * route", strata=["load"], shapes=shapes)


def numbers(model: MixedModel, within: float, route: str = "b", other: str = "a") -> list[float]:
    place = qb.peak_place(model, "temp", at={"route": route})
    window = qb.working_window(model, "temp", within, at={"route": route})
    shared = common_curvature(model, "temp", "route")
    weights = np.array([[0.0, 1, 0, 0, -1, 0], [0, 0, 0.5, 0, 0, 0.5]])
    pair = [{"route": route}, {"route": other}]
    curve = curve_of(model, "temp", pair, curves=shared, weights=weights)
    ((low, high),) = shift_set(curve, 0.95)
    return [*place.pieces[0], *window.lower_set, *window.upper_set, low, high]


@functools.cache
def reference() -> tuple[float, ...]:
    return tuple(numbers(model_of(frame_of()), 0.3))


@settings(max_examples=6, deadline=None)
@given(
    factor=st.floats(0.05, 50.0),
    offset=st.floats(-1e3, 1e3),
)
def test_another_unit_of_the_response_moves_nothing(factor: float, offset: float) -> None:
    frame = frame_of()
    frame["y"] = factor * frame["y"] + offset
    assert numbers(model_of(frame), 0.3 * factor) == pytest.approx(reference(), abs=CLOSE)


@settings(max_examples=5, deadline=None)
@given(factor=st.floats(0.2, 5.0), offset=st.floats(-2000.0, 2000.0))
def test_another_centre_or_range_of_the_setting_moves_sets_alike(
    factor: float, offset: float
) -> None:
    frame = frame_of()
    frame["temp"] = factor * frame["temp"] + offset
    own = np.array(numbers(model_of(frame), 0.3))
    own[:6] -= offset
    assert own / factor == pytest.approx(np.array(reference()), abs=CLOSE)


@settings(max_examples=5, deadline=None)
@given(seed=st.integers(0, 1000))
def test_order_of_coupons_and_names_of_routes_change_nothing(seed: int) -> None:
    frame = frame_of().sample(frac=1.0, random_state=seed).reset_index(drop=True)
    names = np.random.default_rng(seed).permutation(["x", "y", "z"])
    renamed = dict(zip("abc", names.tolist(), strict=True))
    frame["route"] = frame["route"].map(renamed)
    frame["load"] = frame["load"].map(lambda load: f"{(7 * int(load[1:]) + seed) % 1000}-{load}")
    own = numbers(model_of(frame), 0.3, renamed["b"], renamed["a"])
    assert own == pytest.approx(reference(), abs=CLOSE)


def test_a_set_grows_with_its_confidence() -> None:
    model = model_of(frame_of())
    ((low, high),) = qb.peak_place(model, "temp", confidence=0.8).pieces
    ((lower, higher),) = qb.peak_place(model, "temp", confidence=0.95).pieces
    assert lower < low < high < higher
