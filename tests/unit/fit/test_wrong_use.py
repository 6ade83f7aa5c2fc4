"""Wrong uses that would print a wrong number are refused, or warned of, in words that teach."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError, QuenchbookWarning
from quenchbook.fit.diagnostics import order_effects


def readings(noise: int = 1) -> pd.DataFrame:
    """Four loads at two temperatures, two routes, two coupons each, three readings a coupon."""
    rng = np.random.default_rng(noise)
    rows = [
        (f"L{load}", f"T{load // 2}", route, f"L{load}{route}{coupon}", rng.normal())
        for load in range(4)
        for route in "ab"
        for coupon in range(2)
        for _ in range(3)
    ]
    return pd.DataFrame(rows, columns=["load", "temp", "route", "coupon", "y"])


def fit(frame: pd.DataFrame, **options: Any) -> qb.MixedModel:
    given: dict[str, Any] = {"fixed": "temp * route", "strata": ["load", "coupon"], **options}
    return qb.mixed_model(frame, "y", **given)


def test_one_mistyped_cell_of_a_coupon_is_named_with_both_values() -> None:
    frame = readings()
    frame.loc[4, "route"] = "b"
    with pytest.raises(EstimabilityError, match="coupon L0a1: route is a and b"):
        fit(frame)


def test_a_coupon_that_stands_in_two_loads_is_named() -> None:
    frame = readings()
    frame.loc[4, "load"] = "L1"
    with pytest.raises(EstimabilityError, match="coupon L0a1: load is L0 and L1"):
        fit(frame)


def test_codes_used_again_in_each_load_get_a_warning() -> None:
    frame = readings().drop(columns="coupon")
    frame["piece"] = "p" + (frame.index // 3 % 4).astype(str)
    with pytest.warns(QuenchbookWarning, match="load and piece joined"):
        model = fit(frame, strata=["load", "piece"])
    assert any("load and piece are taken as crossed" in note for note in model.notes)


def test_crossed_batches_are_no_misuse() -> None:
    # Warnings are errors in this test run.
    rng = np.random.default_rng(3)
    rows = [
        (f"L{i}", f"B{j}", f"T{i % 2}", rng.normal())
        for i in range(4)
        for j in range(4)
        for _ in range(2)
    ]
    frame = pd.DataFrame(rows, columns=["load", "batch", "temp", "y"])
    assert fit(frame, fixed="temp", strata=["load", "batch"]).tests()["p_value"].notna().all()


def test_the_name_of_a_column_changes_no_mean() -> None:
    rng = np.random.default_rng(4)
    frame = readings().groupby(["load", "temp", "route", "coupon"], as_index=False)["y"].mean()
    frame["mass"] = rng.normal(5.0, 0.2, len(frame)).round(3)
    one = fit(frame, fixed="temp + route + mass", strata=["load"])
    renamed = frame.rename(columns={"mass": "weight"})
    two = fit(renamed, fixed="temp + route + weight", strata=["load"])
    for name in ("estimate", "std_error", "df"):
        means = [qb.marginal_means(model, "temp").to_frame()[name] for model in (one, two)]
        assert means[0].to_numpy() == pytest.approx(means[1].to_numpy())


@pytest.mark.parametrize("column", ["y", "mass"])
def test_infinite_cells_are_refused(column: str) -> None:
    frame = readings().assign(mass=lambda f: 5.0 + np.sin(f.index))
    frame.loc[7, column] = np.inf
    with pytest.raises(EstimabilityError, match=f"{column} is infinite in row 7"):
        fit(frame, fixed="temp + route + mass", strata=["load"])


def test_words_among_numbers_are_refused() -> None:
    frame = readings()
    frame["route"] = [1 if route == "a" else "b" for route in frame["route"]]
    with pytest.raises(EstimabilityError, match="mixes numbers and words"):
        fit(frame)


def test_settings_in_round_numbers_stay_levels_with_one_load_each() -> None:
    frame = (
        readings()
        .query("load != 'L3' and load != 'L1'")
        .assign(temp=lambda f: f["temp"].map({"T0": 800, "T1": 830}))
    )
    more = frame.query("temp == 830").assign(load="L9", temp=860)
    more["coupon"] = more["coupon"] + "x"
    frame = pd.concat([frame, more], ignore_index=True)
    assert frame.groupby("temp")["load"].nunique().tolist() == [1, 1, 1]
    tests = fit(frame).tests().set_index("term")
    assert np.isnan(tests.loc["temp", "p_value"])
    assert tests.loc["temp", "method"] == "no test: no spare load"


def test_load_codes_of_a_plain_frame_are_no_order_and_lists_no_units() -> None:
    frame = readings().rename(columns={"load": "furnace_load"}).assign(x=lambda f: [[1]] * len(f))
    found = qb.diagnostics(fit(frame, strata=["furnace_load", "coupon"]))
    assert found is not None
    assert order_effects(fit(frame, strata=["furnace_load", "coupon"])).empty


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"strata": ["load", "temp"]}, "fixed part and among the strata"),
        ({"fixed": "y * route"}, "both sides"),
        ({"scale": "cube"}, "linear or log"),
        ({"confidence": 95}, "such as 0.95"),
        ({"strata": ["oven"]}, "no column oven"),
        ({"df_method": "wald"}, "Known: auto"),
    ],
)
def test_arguments_out_of_place_are_refused(options: dict[str, Any], words: str) -> None:
    with pytest.raises(EstimabilityError, match=words):
        fit(readings(), **options)


def test_one_stratum_may_be_written_as_a_word() -> None:
    frame = readings()
    means = frame.groupby(["load", "temp", "route", "coupon"], as_index=False)["y"].mean()
    one = fit(means, strata="load").tests()
    two = fit(frame).tests()
    assert one["p_value"].to_numpy() == pytest.approx(two["p_value"].to_numpy())


def test_units_that_hold_the_same_coupons_are_one_and_it_is_said() -> None:
    frame = readings().assign(day=lambda f: "day " + f["load"])
    model = fit(frame, strata=["load", "day", "coupon"])
    assert any("cannot be told apart" in note for note in model.notes)
    plain = fit(frame)
    assert model.tests()["p_value"].to_numpy() == pytest.approx(plain.tests()["p_value"].to_numpy())


def test_a_measured_column_is_not_taken_for_a_unit() -> None:
    # Warnings are errors in this test run: a second response must not look like loads.
    frame = readings().assign(energy=lambda f: 20.0 + pd.factorize(f["load"])[0])
    assert fit(frame, strata=["load", "coupon"]).tests()["p_value"].notna().all()


def test_contrasts_and_families_that_mean_nothing_are_refused() -> None:
    means = qb.marginal_means(fit(readings()), "route")
    with pytest.raises(EstimabilityError, match="finite weights"):
        means.contrast({"nothing": [0, 0]})
    with pytest.raises(EstimabilityError, match="finite weights"):
        means.contrast({"unknown": [np.nan, 1]})
    with pytest.raises(EstimabilityError, match="at least one factor"):
        qb.marginal_means(fit(readings()), [])
    with pytest.raises(EstimabilityError, match="Use against"):
        qb.pairs(means, adjustment="dunnett")
    with pytest.raises(EstimabilityError, match="Use pairs"):
        qb.against(means, "a", adjustment="tukey")
    with pytest.raises(EstimabilityError, match="not among a, b"):
        qb.against(means, "c")


def test_a_mean_says_whose_noise_it_carries() -> None:
    model = fit(readings())
    routes = qb.marginal_means(model, "route")
    assert routes.to_frame()["strata"].tolist() == ["coupon + load"] * 2
    inside = routes.contrast({"a - b": [1, -1]}).to_frame()
    assert inside["strata"].tolist() == ["coupon"]
