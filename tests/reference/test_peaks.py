"""Check numbers of peaks, shifts, heights and windows (provenance: peaks/PROVENANCE.toml).

They are met through the public path: a data frame into the model, then the public functions.
"""

from __future__ import annotations

import functools
import math

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE

import quenchbook as qb
from quenchbook.fit.fitted_curve import curve_of, primary_curves
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peak_shift import PeakShift, smallest_over_places
from quenchbook.fit.peaks import fieller_pieces
from quenchbook.fit.stratum_covariance import noisy_rows, stratum_covariance


@functools.cache
def model_of(which: str) -> MixedModel:
    data = pd.read_csv(REFERENCE / "peaks" / "p_balanced.csv", keep_default_na=False)
    if which == "69 coupons":
        data = data[data["coupon"].str[1:].astype(int) % 7 != 3]
    return qb.mixed_model(
        data, "y", fixed="temp * route", strata=["load", "coupon"], shapes={"temp": "quadratic"}
    )


@functools.cache
def shift_of(which: str) -> PeakShift:
    return qb.peak_shift(model_of(which), "temp", "route", "LN2", "none")


def digits(text: str) -> tuple[float, float]:
    """Number and half of the last digit printed."""
    return float(text), 0.5001 * 10.0 ** -len(text.partition(".")[2])


def same(own: float, text: str) -> bool:
    value, half = digits(text)
    return abs(own - value) <= half


BOTH = ("balanced", "69 coupons")


@pytest.mark.parametrize(
    ("which", "square", "df", "s2", "df_coupon", "c_e"),
    [
        ("balanced", ".0399030", "7.000", ".2465843", 61, ".125"),
        ("69 coupons", ".0415354", "6.980954", ".2614066", 49, ".1507124"),
    ],
)
def test_mean_squares_and_their_df_are_those_of_the_recipe(
    which: str, square: str, df: str, s2: str, df_coupon: int, c_e: str
) -> None:
    model = model_of(which)
    covariance = stratum_covariance(model.strata)
    precision = model.precision
    assert covariance.units == ("coupon", "load")
    assert same(precision.mean_squares["load"][0], square)
    assert same(precision.df_error["load"][0], df)
    assert same(precision.mean_squares["coupon"][0], s2)
    assert precision.df_error["coupon"][0] == df_coupon
    assert same(precision.expected_weights(model.strata.stage("load"))["coupon"], c_e)


@pytest.mark.parametrize(
    ("which", "coefficients"),
    [
        ("balanced", ("63.182057", "-.525600", "-1.517714")),
        ("69 coupons", ("63.224377", "-.510766", "-1.739270")),
    ],
)
def test_coefficients_of_a_route_are_those_of_the_recipe(
    which: str, coefficients: tuple[str, ...]
) -> None:
    curve = qb.peak_place(model_of(which), "temp", at={"route": "none"}).curve
    assert (curve.centre, curve.half) == (1000.0, 60.0)
    for own, text in zip(curve.noise.estimates[:, 0], coefficients, strict=True):
        assert same(own, text)


@pytest.mark.parametrize(
    ("which", "route", "vertex", "low", "high", "outcome"),
    [
        ("balanced", "none", "989.6107", "979.8161", "996.2233", "inside"),
        ("balanced", "LN2", "1028.5993", "1013.9551", "1084.7829", "no upper limit"),
        ("69 coupons", "none", "991.1900", "982.2187", "998.1405", "inside"),
        ("69 coupons", "LN2", "1028.2516", "1012.0598", "1102.7544", "no upper limit"),
    ],
)
def test_peak_and_its_set_are_those_of_the_recipe(
    which: str, route: str, vertex: str, low: str, high: str, outcome: str
) -> None:
    place = qb.peak_place(model_of(which), "temp", at={"route": route})
    ((first, last),) = place.pieces
    assert same(place.vertex, vertex)
    assert same(first, low)
    assert same(last, high)
    assert place.outcome == outcome
    assert math.isinf(place.conf_high) == (outcome == "no upper limit")


@pytest.mark.parametrize(
    ("which", "bend", "slope", "p_value"),
    [
        ("balanced", ("-.852714", ".275029", "47.6621"), "-.892529", ".063167"),
        ("69 coupons", ("-.858733", ".297489", "47.0974"), "-.908778", ".083189"),
    ],
)
def test_bend_and_slope_at_the_end_are_those_of_the_recipe(
    which: str, bend: tuple[str, str, str], slope: str, p_value: str
) -> None:
    place = qb.peak_place(model_of(which), "temp", at={"route": "LN2"})
    own = (place.bend.estimate, place.bend.std_error, place.bend.df)
    assert all(same(value, text) for value, text in zip(own, bend, strict=True))
    assert same(place.slope_high.estimate, slope)
    assert same(place.slope_high.p_below, p_value)


@pytest.mark.parametrize(
    ("which", "shift", "low", "high", "difference"),
    [
        ("balanced", "28.4470", "17.9952", "42.0105", ("1.338500", ".229337", "64")),
        # The note prints 13.2693; the prototype's own file has 13.269215771832.
        ("69 coupons", "24.6743", "13.2692", "38.0459", ("1.234858", ".278001", "52")),
    ],
)
def test_shift_with_one_curvature_is_that_of_the_recipe(
    which: str, shift: str, low: str, high: str, difference: tuple[str, str, str]
) -> None:
    own = shift_of(which)
    assert same(own.estimate, shift)
    assert same(own.conf_low, low)
    assert same(own.conf_high, high)
    slope = own.slope_difference
    numbers = (slope.estimate, slope.std_error, slope.df)
    assert all(same(value, text) for value, text in zip(numbers, difference, strict=True))
    assert own.inside_loads


@pytest.mark.parametrize(
    ("which", "shift", "low", "high"),
    [
        ("balanced", "38.9886", "22.5767", "95.6568"),
        ("69 coupons", "37.0617", "18.9941", "111.816"),
    ],
)
def test_shift_without_that_assumption_is_that_of_the_recipe(
    which: str, shift: str, low: str, high: str
) -> None:
    own = shift_of(which)
    assert same(own.free_estimate, shift)
    assert same(own.free_low, low)
    assert same(own.free_high, high)


@pytest.mark.parametrize(
    ("which", "q", "df"),
    [("balanced", "34.2842", "33.541"), ("69 coupons", "25.6269", "49.056")],
)
def test_smallest_q_at_no_shift_is_that_of_the_recipe(which: str, q: str, df: str) -> None:
    own = curve_of(model_of(which), "temp", [{"route": "LN2"}, {"route": "none"}])
    smallest, its_df = smallest_over_places(own, np.zeros(1))
    assert same(float(smallest[0]), q)
    assert same(float(its_df[0]), df)


@pytest.mark.parametrize(
    ("which", "route", "low", "high"),
    [
        ("balanced", "none", "62.8750", "63.5813"),
        ("balanced", "LN2", "64.1228", "64.7606"),
        ("69 coupons", "none", "62.8825", "63.6415"),
        ("69 coupons", "LN2", "64.0595", "64.7362"),
    ],
)
def test_height_at_the_peak_is_that_of_the_recipe(
    which: str, route: str, low: str, high: str
) -> None:
    own = qb.peak_height(model_of(which), "temp", at={"route": route})
    assert not own.is_wide
    assert same(own.conf_low, low)
    assert same(own.conf_high, high)


@pytest.mark.parametrize(
    ("which", "lower", "upper"),
    [
        ("balanced", ("947.804", "971.594"), ("1009.659", "1023.657")),
        ("69 coupons", ("952.702", "974.363"), ("1009.162", "1024.919")),
    ],
)
def test_ends_of_the_working_window_are_those_of_the_recipe(
    which: str, lower: tuple[str, str], upper: tuple[str, str]
) -> None:
    own = qb.working_window(model_of(which), "temp", 0.3, at={"route": "none"})
    assert all(same(value, text) for value, text in zip(own.lower_set, lower, strict=True))
    assert all(same(value, text) for value, text in zip(own.upper_set, upper, strict=True))


@pytest.mark.parametrize(
    ("which", "at", "estimate", "std_error", "df"),
    [
        ("balanced", (1030.0, 1030.0), "1.89970", ".213996", "61"),
        ("balanced", (1030.0, 985.0), "1.22093", ".226840", "67.9999895"),
        ("69 coupons", (1030.0, 1030.0), "1.86124", ".235955", "49"),
        ("69 coupons", (1030.0, 985.0), "1.15206", ".246433", "55.3937"),
    ],
)
def test_routes_at_one_or_two_temperatures_are_those_of_the_recipe(
    which: str, at: tuple[float, float], estimate: str, std_error: str, df: str
) -> None:
    own = curve_of(model_of(which), "temp", [{"route": "LN2"}, {"route": "none"}])
    first, second = own.value_rows(own.x_of(np.array(at)))
    numbers = own.noise.of(np.concatenate([first, -second])[None, :])
    texts = (estimate, std_error, df)
    for value, text in zip(numbers, texts, strict=True):
        # df are a ratio of squares of nearly singular sums: the last two digits are rounding
        tolerance = 2e-6 if text == "67.9999895" else digits(text)[1]
        assert float(value[0, 0]) == pytest.approx(float(text), abs=tolerance)


def test_the_set_agrees_with_the_published_formula_of_fieller() -> None:
    """Fieller (1954) in its usual form with g, as quoted in public texts: another algebra.

    Published numbers of a worked ratio are met in test_tempering.py.
    """
    model = model_of("balanced")
    curve = qb.peak_place(model, "temp", at={"route": "none"}).curve
    b, cov = curve.noise.estimates[:, 0], curve.noise.covariance[0]
    df = float(curve.noise.of(curve.slope_rows(np.array([-b[1] / (2 * b[2])])))[2][0, 0])
    t = float(t_limit(df, 0.95))
    top, bottom = -b[1], 2 * b[2]
    v11, v12, v22 = cov[1, 1], -2 * cov[1, 2], 4 * cov[2, 2]
    ratio, g = top / bottom, t**2 * v22 / bottom**2
    root = math.sqrt(v11 - 2 * ratio * v12 + ratio**2 * v22 - g * (v11 - v12**2 / v22))
    ends = [(ratio - g * v12 / v22 + sign * t / bottom * root) / (1 - g) for sign in (1, -1)]
    w = t**2
    ((low, high),) = fieller_pieces(
        4 * (b[2] ** 2 - w * cov[2, 2]), 4 * (b[1] * b[2] - w * cov[1, 2]),
        b[1] ** 2 - w * cov[1, 1], b[1], b[2],
    )  # fmt: skip
    assert [low, high] == pytest.approx(ends, rel=1e-9)


@pytest.mark.parametrize(("count", "factor"), [(5, 3.407), (10, 2.355), (20, 1.926)])
def test_tolerance_factors_are_those_of_the_tables(count: int, factor: float) -> None:
    """One-sided factors k for 90 % of a normal population with 95 % confidence (from memory;
    printed in handbooks of tolerance limits)."""
    from scipy import special

    from quenchbook.fit.target_window import noncentral_t_quantile

    shift = special.ndtri(0.9) * math.sqrt(count)
    own = noncentral_t_quantile(0.95, count - 1, np.array([shift]))[0] / math.sqrt(count)
    assert own == pytest.approx(factor, abs=6e-4)  # half a digit, and the nodes of the integral


def test_the_sum_over_strata_is_the_covariance_at_the_expected_mean_squares() -> None:
    """With mean squares at their expectation the sum gives the true covariance, clipping aside."""
    model = model_of("balanced")
    own = primary_curves(model)
    covariance = stratum_covariance(own.strata)
    rows = np.eye(own.strata.coefficient_count)
    weights = np.array([own.strata.coupon_weights(row) for row in rows])
    loads = np.zeros((len(rows), 10))
    np.add.at(loads.T, own.strata.codes["load"], weights.T)
    truth = 0.3 * weights @ weights.T + 0.2 * loads @ loads.T
    squares = {"coupon": 0.3, "load": 0.2 + 0.3 * 0.125}
    found = sum(
        squares[unit] * shape
        for unit, shape in zip(covariance.units, noisy_rows(covariance, own.precision, rows).shapes,
                               strict=True)
    )  # fmt: skip
    assert np.allclose(found, truth, atol=1e-12)
