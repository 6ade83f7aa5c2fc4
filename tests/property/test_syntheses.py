"""Laws of a mean of several studies that hold for any numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, special  # noqa: F401 - loaded before the first example is timed

from quenchbook.fit.random_effects import (
    between_by_likelihood,
    between_for_q,
    further_study,
    generalized_q,
    random_mean,
    restricted_likelihood,
)

numbers = st.integers(3, 12).flatmap(
    lambda count: st.tuples(
        st.lists(st.floats(-1, 1), min_size=count, max_size=count),
        st.lists(st.floats(1e-3, 1.0), min_size=count, max_size=count),
    )
)


@given(numbers, st.floats(-2, 2))
def test_a_shift_of_all_studies_shifts_the_mean_and_nothing_else(both, shift) -> None:
    effects, variances = map(np.array, both)
    own = random_mean(effects, variances, floor=True)
    moved = random_mean(effects + shift, variances, floor=True)
    assert moved.estimate == pytest.approx(own.estimate + shift, abs=1e-6)
    assert moved.between == pytest.approx(own.between, abs=1e-6)
    assert moved.std_error == pytest.approx(own.std_error, abs=1e-6)


@given(numbers)
def test_the_mean_lies_between_the_studies(both) -> None:
    effects, variances = map(np.array, both)
    own = random_mean(effects, variances, floor=False)
    assert effects.min() - 1e-12 <= own.estimate <= effects.max() + 1e-12
    assert own.between >= 0


@given(numbers)
def test_a_floor_never_narrows_an_interval(both) -> None:
    effects, variances = map(np.array, both)
    plain = random_mean(effects, variances, floor=False)
    assert random_mean(effects, variances, floor=True).std_error >= plain.std_error


@given(numbers, st.floats(0.001, 40))
def test_the_variance_found_for_a_sum_of_squares_gives_that_sum(both, wanted) -> None:
    effects, variances = map(np.array, both)
    between = between_for_q(effects, variances, np.array([wanted]))
    q, _ = generalized_q(effects, variances, between)
    if between[0] > 0:
        assert q[0] == pytest.approx(wanted, rel=1e-8)
    else:
        assert q[0] <= wanted * (1 + 1e-9)


@given(numbers)
def test_no_other_variance_between_the_studies_is_as_likely(both) -> None:
    effects, variances = map(np.array, both)
    between = between_by_likelihood(effects, variances)
    places = np.array([between, 0.0, *(between * f for f in (0.5, 0.9, 1.1, 2.0)), 1e-3, 0.1, 1.0])
    heights = restricted_likelihood(effects, variances, places)
    assert (heights <= heights[0] + 1e-9).all()


@given(numbers)
def test_turning_the_comparison_round_mirrors_the_mean(both) -> None:
    effects, variances = map(np.array, both)
    own, turned = (random_mean(sign * effects, variances, floor=True) for sign in (1, -1))
    assert turned.estimate == pytest.approx(-own.estimate, abs=1e-9)


@given(numbers)
def test_a_further_study_is_wider_than_the_studies_are_sure_of_their_mean(both) -> None:
    effects, variances = map(np.array, both)
    low, high = further_study(effects, variances, confidence=0.95, seed=1, draws=500)
    assert low <= high
    assert np.isfinite([low, high]).all()
