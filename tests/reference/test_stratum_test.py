"""Check numbers of the stratum test (provenance: stratum_test/PROVENANCE.toml)."""

from __future__ import annotations

import pandas as pd
import pytest
from tests.conftest import r_reference

import quenchbook as qb
from quenchbook.fit.mixed import MixedModel

THREE = "temp * route + route * temper + temp:temper"


def balanced() -> MixedModel:
    data, _ = r_reference("c_balanced")
    return qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])


def fewer() -> MixedModel:
    data, _ = r_reference("c_balanced")
    number = data["coupon"].str.extract(r"(\d+)")[0].astype(int)
    return qb.mixed_model(
        data[number % 7 != 3], "y", fixed="temp * route", strata=["load", "coupon"]
    )


def three() -> MixedModel:
    data, _ = r_reference("e_three_strata")
    units = ["load", "coldbatch", "temperbatch", "coupon"]
    return qb.mixed_model(data, "y", fixed=THREE, strata=units)


@pytest.mark.parametrize(
    ("model", "term", "statistic", "df", "df_error", "p_value", "safety"),
    [
        (balanced, "temp", 5.51776, 3, 4, 0.06623, 1),
        (balanced, "route", 12.13340, 3, 44, None, 1),
        (fewer, "temp", 5.52007, 3, 3.9995, 0.066196, 1.01524),
        (fewer, "route", 10.36681, 3, 35, None, 1),
        (three, "temp", 0.64802, 2, 3.0000, 0.583551, 1.00000),
        (three, "route", 45.77635, 2, 5.9948, 0.000234, 1.00020),
        (three, "temper", 4.09546, 1, 4.0000, 0.113017, 1.00000),
    ],
)
def test_tests_reproduce_the_check_numbers(
    model, term, statistic, df, df_error, p_value, safety
) -> None:
    row = model().tests().set_index("term").loc[term]
    assert row["statistic"] == pytest.approx(statistic, abs=5.1e-6)
    assert row["df"] == df
    assert row["df_error"] == pytest.approx(df_error, abs=5.1e-5)
    assert row["safety_factor"] == pytest.approx(safety, abs=5.1e-6)
    if p_value is not None:
        assert row["p_value"] == pytest.approx(p_value, abs=5.1e-6)


@pytest.mark.parametrize(
    ("model", "factor", "estimate", "std_error"),
    [
        (balanced, "temp", 0.77688, 0.40539),
        (fewer, "temp", 0.69896, 0.41444),
        (three, "temp", -0.71800, 1.11959),
        (three, "route", 1.24926, 0.13333),
        (three, "temper", 0.89125, 0.44040),
    ],
)
def test_first_minus_last_level_reproduces_the_check_numbers(
    model, factor, estimate, std_error
) -> None:
    means = qb.marginal_means(model(), factor)
    weights = [1.0, *[0.0] * (len(means.grid) - 2), -1.0]
    row = means.contrast({"first - last": weights}).to_frame().iloc[0]
    assert row["estimate"] == pytest.approx(estimate, abs=5.1e-6)
    assert row["std_error"] == pytest.approx(std_error, abs=5.1e-6)


@pytest.mark.parametrize(
    ("model", "low", "high"), [(balanced, -0.3487, 1.9024), (fewer, -0.4518, 1.8497)]
)
def test_intervals_reproduce_the_check_numbers(model, low, high) -> None:
    row = (
        qb.marginal_means(model(), "temp")
        .contrast({"first - last": [1, 0, 0, -1]})
        .to_frame()
        .iloc[0]
    )
    assert row["conf_low"] == pytest.approx(low, abs=5.1e-5)
    assert row["conf_high"] == pytest.approx(high, abs=5.1e-5)


@pytest.mark.parametrize(
    ("model", "components"),
    [
        (fewer, {"load": 0.12332, "coupon": 0.320723}),
        (
            three,
            {"load": 1.23574, "coldbatch": 0.016078, "temperbatch": 0.278522, "coupon": 0.215219},
        ),
    ],
)
def test_components_of_the_strata_reproduce_the_check_numbers(model, components) -> None:
    own = model().precision.components
    for unit, variance in components.items():
        assert float(own[unit][0]) == pytest.approx(variance, abs=5.1e-6)


def test_a_change_of_unit_changes_no_test() -> None:
    data, _ = r_reference("e_three_strata")
    units = ["load", "coldbatch", "temperbatch", "coupon"]
    first = qb.mixed_model(data, "y", fixed=THREE, strata=units).tests()
    other = data.assign(y=1234.5 * data["y"] - 70000)
    second = qb.mixed_model(other, "y", fixed=THREE, strata=units).tests()
    numbers = ["df", "df_error", "statistic", "p_value", "safety_factor"]
    pd.testing.assert_frame_equal(first[numbers], second[numbers], rtol=1e-7)


def test_other_names_and_another_order_of_rows_change_no_test() -> None:
    data, _ = r_reference("e_three_strata")
    units = ["load", "coldbatch", "temperbatch", "coupon"]
    first = qb.mixed_model(data, "y", fixed=THREE, strata=units).tests().set_index("term")
    other = data.sample(frac=1, random_state=3).reset_index(drop=True)
    for unit in units:
        names = sorted(other[unit].unique(), reverse=True)
        other[unit] = other[unit].map({name: f"u{place}" for place, name in enumerate(names)})
    second = qb.mixed_model(other, "y", fixed=THREE, strata=units).tests().set_index("term")
    numbers = ["df", "df_error", "statistic", "p_value", "safety_factor"]
    pd.testing.assert_frame_equal(first[numbers], second.loc[first.index, numbers], rtol=1e-7)
