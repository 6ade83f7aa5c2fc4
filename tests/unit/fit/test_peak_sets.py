"""Sets of places that a test accepts, and what is refused."""

from __future__ import annotations

import math
import warnings

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.inversion import accepted_runs, excess_runs, golden_minimum, hull
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peaks import fieller_pieces
from quenchbook.fit.working_window import end_accepted, window_of


def made(
    temperatures: int, loads: int, *, cubic: float = 0.0, sd: float = 0.15, seed: int = 1
) -> MixedModel:
    rng = np.random.default_rng(seed)
    rows = [
        (f"L{temp:.0f}{number}", temp, route)
        for temp in np.linspace(940.0, 1060.0, temperatures)
        for number in range(loads) for route in "abab"
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["load", "temp", "route"])
    x = (frame["temp"] - 1000) / 60
    frame["y"] = 63 + 0.2 * x - x**2 + cubic * x**3 + rng.normal(0, sd, len(frame))
    return qb.mixed_model(
        frame, "y", fixed="temp * route", strata=["load"], shapes={"temp": "quadratic"}
    )


def test_runs_of_accepted_places_have_exact_ends() -> None:
    runs = accepted_runs(lambda x: (np.abs(x) < 0.3) | (x > 0.8), np.linspace(-1, 1, 21))
    assert runs[0] == pytest.approx((-0.3, 0.3), abs=1e-9)
    assert runs[1] == pytest.approx((0.8, 1.0), abs=1e-9)
    assert hull(runs) == pytest.approx((-0.3, 1.0), abs=1e-9)
    assert math.isnan(hull([])[0])


def test_golden_section_finds_the_minimum() -> None:
    place = golden_minimum(lambda x: (x - 0.37) ** 2, np.array([0.0]), np.array([1.0]))
    assert place[0] == pytest.approx(0.37, abs=1e-5)


@pytest.mark.parametrize(
    ("numbers", "pieces"),
    [
        ((1.0, 0.0, -1.0, 0.0, -1.0), [(-1.0, 1.0)]),  # bounded
        ((1.0, 0.0, -1.0, 0.0, 1.0), []),  # a low point
        ((-1.0, 0.0, -1.0, 0.1, -0.1), [(-math.inf, math.inf)]),  # everything
        ((-1.0, 0.0, 1.0, 1.0, -0.1), [(1.0, math.inf)]),  # rises between the roots
        ((-1.0, 0.0, 1.0, -1.0, -0.1), [(-math.inf, -1.0)]),  # falls between the roots
    ],
)
def test_the_direction_rule_keeps_what_can_be_a_peak(
    numbers: tuple[float, ...], pieces: list[tuple[float, float]]
) -> None:
    assert fieller_pieces(*numbers) == pieces


def test_one_spare_load_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="Only 1 spare"):
        qb.peak_place(made(4, 1), "temp")


def test_a_straight_line_has_no_peak() -> None:
    model = made(4, 2)
    frame = model.coupons.rename(columns={"value": "v"}).drop(columns=["readings"])
    line = qb.mixed_model(
        frame, "y", fixed="temp * route", strata=["load"], shapes={"temp": "linear"}
    )
    with pytest.raises(EstimabilityError, match="not analysed as a quadratic"):
        qb.peak_place(line, "temp")


def test_a_level_that_was_not_tried_is_named() -> None:
    with pytest.raises(EstimabilityError, match="'z' was not tried"):
        qb.peak_place(made(4, 2), "temp", at={"route": "z"})


def test_a_cubic_stands_beside_the_quadratic_from_five_settings_on() -> None:
    assert qb.peak_place(made(4, 3), "temp").cubic is None
    place = qb.peak_place(made(5, 3, cubic=-0.4), "temp")
    assert place.cubic is not None
    # slope 0.2 - 2 x - 1.2 x^2 is zero at x = 0.0944
    assert place.cubic.conf_low < 1000 + 60 * 0.0944 < place.cubic.conf_high
    assert place.cubic.curve.unit_df == place.curve.unit_df - 1
    assert list(place.to_frame()["curve_shape"]) == ["quadratic", "cubic"]


def test_a_flat_curve_has_the_wider_limits_of_its_height() -> None:
    flat = qb.peak_height(made(4, 2, sd=2.0), "temp")
    assert flat.is_wide
    assert flat.conf_low <= flat.simple_low
    assert flat.conf_high >= flat.simple_high
    assert not qb.peak_height(made(4, 2), "temp").is_wide


def test_smallest_q_of_a_window_end_is_that_of_a_fine_search() -> None:
    curve = qb.working_window(made(4, 2, sd=0.5), "temp", 0.3).curve
    x = np.linspace(-1.5, 1.5, 13)
    steps = np.linspace(0, 8, 4001)
    slope, bend = curve.slope_rows(x), curve.bend_row()[0]
    for side in (1, -1):
        inside = end_accepted(curve, x, 0.3, side)
        for number in range(len(x)):
            rows = np.broadcast_to(np.stack([slope[number], bend]), (len(steps), 2, 3))
            q, df = curve.noise.joint_q(rows, np.stack([side * steps, -(steps**2) / 1.2], axis=-1))
            best = q.argmin()
            from quenchbook.fit.inversion import t_limit

            limit = float(t_limit(df[best], 0.95)) ** 2
            assert inside[number] == (q[best] <= limit)


def test_zones_of_a_window_fill_the_range_once() -> None:
    curve = qb.working_window(made(4, 2, sd=0.4), "temp", 0.3).curve
    own = window_of(curve, 0.3)
    length = sum(last - first for first, last in [*own.certain, *own.possible, *own.excluded])
    assert length == pytest.approx(120.0, abs=1e-6)


def test_a_difference_of_zero_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="above zero"):
        qb.working_window(made(4, 2), "temp", 0.0)


def test_results_show_themselves_as_text_and_html() -> None:
    model = made(5, 2)
    shift = qb.peak_shift(model, "temp", "route", "b", "a")
    results = [
        qb.peak_place(model, "temp"), qb.peak_height(model, "temp"), shift,
        qb.working_window(model, "temp", 0.3), qb.target_window(model, "temp", 62.0),
    ]  # fmt: skip
    for own in results:
        assert own.summary()
        assert "<table" in own._repr_html_()
        assert "\n" not in repr(own)
        assert len(own.to_frame())


def test_batches_without_spare_leave_the_peak_but_no_height() -> None:
    """One temper batch for each temper: their noise is in every height alike, in no slope."""
    rng = np.random.default_rng(5)
    rows = [
        (f"L{temp:.0f}{number}", temp, temper)
        for temp in (940.0, 980.0, 1020.0, 1060.0)
        for number in range(2)
        for temper in "ppqq"
    ]
    frame = pd.DataFrame(rows, columns=["load", "temp", "temper"])
    frame["oven"] = "oven " + frame["temper"]
    frame["y"] = 63 - ((frame["temp"] - 990) / 60) ** 2 + rng.normal(0, 0.1, len(frame))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the crossed codes are meant
        model = qb.mixed_model(
            frame,
            "y",
            fixed="temp + temper",
            strata=["load", "oven"],
            shapes={"temp": "quadratic"},
        )
    place = qb.peak_place(model, "temp")
    assert place.conf_low < 990 < place.conf_high
    assert place.curve.untold == ("ovens",)
    with pytest.raises(EstimabilityError, match="noise of ovens"):
        qb.peak_height(model, "temp")
    with pytest.raises(EstimabilityError, match="no chance can be told"):
        qb.target_window(model, "temp", 62.0)


def shifted(sd: float, seed: int) -> MixedModel:
    """Peak of b 0.6 / 2.6 half ranges above that of a; much more precise than a grid is fine."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"L{temp:.0f}{number}", temp, route)
        for temp in np.linspace(940.0, 1060.0, 5) for number in range(2) for route in "aabb"
    ]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["load", "temp", "route"])
    x = (frame["temp"] - 1000) / 60
    frame["y"] = 63 + 0.6 * x * frame["route"].eq("b") - 1.3 * x**2 + rng.normal(0, sd, len(frame))
    return qb.mixed_model(
        frame, "y", fixed="temp * route", strata=["load"], shapes={"temp": "quadratic"}
    )


@pytest.mark.parametrize("sd", [0.1, 0.02, 0.005, 0.001])
def test_sets_narrower_than_a_step_of_the_grid_are_found(sd: float) -> None:
    for seed in range(6):
        model = shifted(sd, seed)
        shift = qb.peak_shift(model, "temp", "route", "b", "a")
        assert shift.is_bent
        assert shift.conf_low < shift.estimate < shift.conf_high
        assert shift.free_low < shift.free_estimate < shift.free_high
        window = qb.working_window(model, "temp", 0.3, at={"route": "a"})
        assert window.lower_set[0] < window.lower < window.lower_set[1]
        assert window.upper_set[0] < window.upper < window.upper_set[1]
        # what lies between what is excluded and what is certain is possible, however narrow
        assert len(window.possible) == 2
        assert window.possible[0] == pytest.approx(window.lower_set, abs=1e-6)
        assert window.possible[1] == pytest.approx(window.upper_set, abs=1e-6)


def test_a_minimum_between_two_places_of_a_grid_is_found() -> None:
    runs = excess_runs(lambda x: (x - 0.123) ** 2 - 1e-8, np.linspace(-1, 1, 21))
    assert runs[0] == pytest.approx((0.1229, 0.1231), abs=1e-9)
    # and a known place beyond the grid
    runs = excess_runs(lambda x: np.abs(x - 7) - 1e-6, np.linspace(-1, 1, 21), known=[7.0])
    assert runs[0] == pytest.approx((7 - 1e-6, 7.0), abs=1e-9)
