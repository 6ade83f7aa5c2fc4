from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from tests.conftest import r_reference

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.outlook.error_df import error_df_frame


def study_of_loads(loads: int, per_level: int = 2, seed: int = 1) -> pd.DataFrame:
    """Coupons of a two-factor study: temperature for each load, route inside."""
    rng = np.random.default_rng(seed)
    rows = []
    for load in range(loads):
        for route in ("a", "b", "c"):
            rows += [(f"L{load}", f"T{load // per_level}", route, rng.normal())] * 1
            rows += [(f"L{load}", f"T{load // per_level}", route, rng.normal())]
    return pd.DataFrame(rows, columns=["load", "temp", "route", "y"])


def test_one_load_a_temperature_gets_no_test_and_the_rest_is_given() -> None:
    model = qb.mixed_model(study_of_loads(3, 1), "y", fixed="temp * route", strata=["load"])
    tests = model.tests().set_index("term")
    assert np.isnan(tests.loc["temp", "p_value"])
    assert tests.loc["temp", "method"] == "no test: no spare load"
    assert np.isfinite(tests.loc["route", "p_value"])


def test_coupon_level_test_agrees_with_ordinary_regression_on_load_dummies() -> None:
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    data = study_of_loads(6).iloc[:-3]  # unbalanced
    model = qb.mixed_model(data, "y", fixed="temp + route", strata=["load"])
    ours = model.tests().set_index("term").loc["route"]
    theirs = anova_lm(ols("y ~ C(load) + C(route)", data).fit(), typ=2).loc["C(route)"]
    assert ours["statistic"] == pytest.approx(theirs["F"], rel=1e-9)
    assert ours["p_value"] == pytest.approx(theirs["PR(>F)"], rel=1e-9)


def test_load_level_test_of_a_balanced_study_is_the_anova_of_load_means() -> None:
    data = study_of_loads(6)
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load"])
    means = data.groupby(["temp", "load"])["y"].mean().reset_index()
    theirs = stats.f_oneway(*(own["y"] for _, own in means.groupby("temp")))
    ours = model.tests().set_index("term").loc["temp"]
    assert ours["statistic"] == pytest.approx(theirs.statistic, rel=1e-9)
    assert ours["p_value"] == pytest.approx(theirs.pvalue, rel=1e-9)


def test_a_contrast_is_the_same_combination_of_coefficients() -> None:
    data, _ = r_reference("c_balanced")
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])
    means = qb.marginal_means(model, "route")
    one = means.contrast({"d": [1, -1, 0, 0]})
    two = means.contrast({"a": [1, 0, 0, 0], "b": [0, 1, 0, 0]}).contrast({"d": [1, -1]})
    pd.testing.assert_frame_equal(one.to_frame(), two.to_frame())


def test_a_combination_that_was_never_run_is_named_and_the_rest_is_given() -> None:
    data = study_of_loads(6)
    data = data[~((data["temp"] == "T0") & (data["route"] == "a"))]
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load"])
    assert "temp:route" not in model.terms.names
    assert any("not every combination of temp and route" in note for note in model.notes)
    assert np.isfinite(model.tests()["p_value"]).all()


def test_blank_readings_are_counted() -> None:
    data = study_of_loads(6)
    data.loc[[2, 5], "y"] = np.nan
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load"])
    assert "2 of 36 rows not used" in model.notes[0]


@pytest.mark.parametrize(
    ("formula", "message"),
    [
        ("temp * rout", "no column rout"),
        ("__import__('os')", "more than names"),
        ("np.log(temp)", "more than names|no column"),
    ],
)
def test_a_formula_is_only_names_and_operators(formula: str, message: str) -> None:
    with pytest.raises(EstimabilityError, match=message):
        qb.mixed_model(study_of_loads(6), "y", fixed=formula, strata=["load"])


def test_a_level_that_was_not_tried_is_refused() -> None:
    model = qb.mixed_model(study_of_loads(6), "y", fixed="temp * route", strata=["load"])
    with pytest.raises(EstimabilityError, match="was not tried; levels are a, b, c"):
        qb.marginal_means(model, "route", at={"route": "z"})


def test_two_readings_of_a_coupon_are_not_two_coupons() -> None:
    data, _ = r_reference("c_balanced")
    model = qb.mixed_model(data, "y", fixed="temp * route", strata=["load", "coupon"])
    assert model.tests().set_index("term").loc["route", "df_error"] == pytest.approx(44)
    assert "320 readings, 64 coupons, 8 loads" in model.units_ladder()


def test_the_plan_tells_the_error_df_before_any_steel_is_cut(plane_irons_matrix) -> None:
    table = error_df_frame(plane_irons_matrix).set_index(["response", "term"])["df_error"]
    assert table["hardness_hrc", "austenitize"] == 12 - 3 - 2  # loads, curve with mean, days
    assert table["hardness_hrc", "temper"] == 12 - 2 - 2  # batches, tempers in days
    assert table["hardness_hrc", "cold_route"] == 17


def test_the_wrong_analysis_reverses_all_three_verdicts_of_the_coated_bars() -> None:
    # Wrong-model figures: shared notes, checks.md section 0.1 (R, statsmodels and pingouin agree).
    data, _ = r_reference("b_corrosion")
    model = qb.mixed_model(data, "y", fixed="temp * coating", strata=["heat"])
    wrong = qb.unit_blind_tests(model).set_index("term")
    right = model.tests().set_index("term")
    expected = {
        "temp": (10.2256, 0.0026),
        "coating": (1.1026, 0.386),
        "temp:coating": (0.4203, 0.852),
    }
    for term, (statistic, p_value) in expected.items():
        assert wrong.loc[term, "statistic"] == pytest.approx(statistic, abs=5e-5)
        assert wrong.loc[term, "p_value"] == pytest.approx(p_value, abs=6e-4)
        assert (wrong.loc[term, "p_value"] < 0.05) != (right.loc[term, "p_value"] < 0.05)
