"""Laws of the delay answers: what must change nothing, changes nothing."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.delay_studies import simulated_frame, written_study

import quenchbook as qb
from quenchbook.fit.half_loss_profile import allowed_times, broken_lines, explained_squares

GAINS = st.lists(st.floats(-1.0, 3.0), min_size=3, max_size=4)


def answers(frame: pd.DataFrame, levels: tuple[str, ...] = ()) -> np.ndarray:
    """Change for each decade with its limits, then half-loss time, its set and its bounds."""
    with tempfile.TemporaryDirectory() as folder:
        model = qb.mixed_model(written_study(Path(folder), frame, levels=levels), "hardness_hrc")
    each = qb.decade_change(model).to_frame().iloc[0]
    half = qb.half_loss_time(model, level="cold")
    numbers = [each["estimate"], each["conf_low"], each["conf_high"], half.estimate]
    return np.array([*numbers, half.conf_low, half.conf_high, half.step_low, half.step_high])


@settings(max_examples=12, deadline=None)
@given(gains=GAINS, seed=st.integers(0, 10_000), shift=st.floats(-40.0, 0.0))
def test_a_constant_added_to_every_reading_changes_nothing(gains, seed, shift) -> None:
    frame = simulated_frame(gains, 6.0 * 10.0 ** np.arange(len(gains)), seed=seed)
    shifted = frame.assign(hardness_hrc=(frame["hardness_hrc"] + round(shift, 2)).round(6))
    np.testing.assert_allclose(answers(shifted), answers(frame), rtol=1e-6, atol=1e-7)


@settings(max_examples=12, deadline=None)
@given(gains=GAINS, seed=st.integers(0, 10_000))
def test_the_order_of_rows_changes_nothing(gains, seed) -> None:
    frame = simulated_frame(gains, 6.0 * 10.0 ** np.arange(len(gains)), seed=seed)
    turned = frame.sample(frac=1, random_state=seed)
    np.testing.assert_allclose(answers(turned), answers(frame), rtol=1e-6, atol=1e-7)


@settings(max_examples=8, deadline=None)
@given(gains=GAINS, seed=st.integers(0, 10_000))
def test_delays_in_hours_are_the_same_delays(gains, seed) -> None:
    minutes = 6.0 * 10.0 ** np.arange(len(gains))
    frame = simulated_frame(gains, minutes, seed=seed)
    hours = tuple(f"{own / 60:.10g} h" for own in minutes)
    np.testing.assert_allclose(answers(frame, hours), answers(frame), rtol=1e-9)


@settings(max_examples=30, deadline=None)
@given(gains=GAINS, factor=st.floats(0.1, 10.0), square=st.floats(0.01, 1.0))
def test_the_set_does_not_depend_on_the_scale_of_the_response(gains, factor, square) -> None:
    lines = broken_lines(tuple(float(n) for n in range(len(gains))))
    covariance = (np.eye(len(gains)) + 1.0) / 3
    values = np.array(gains)

    def found(size: float) -> np.ndarray:
        squares = explained_squares(lines, size * values, covariance)
        # a set that ends within a rounding error of a grid point may end on either side of it
        return allowed_times(squares, np.array(size**2 * square), np.array(8.0), 0.95)

    assert np.mean(found(1.0) == found(factor)) > 0.98


@settings(max_examples=30, deadline=None)
@given(gains=GAINS, square=st.floats(0.01, 1.0))
def test_more_confidence_never_excludes_more(gains, square) -> None:
    lines = broken_lines(tuple(float(n) for n in range(len(gains))))
    squares = explained_squares(lines, np.array(gains), (np.eye(len(gains)) + 1.0) / 3)
    narrow, wide = (
        allowed_times(squares, np.array(square), np.array(8.0), level) for level in (0.8, 0.95)
    )
    assert not np.any(narrow & ~wide)
    assert narrow.any()
