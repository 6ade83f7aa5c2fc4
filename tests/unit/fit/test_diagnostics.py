from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE, ROOT

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.diagnostics import (
    diagnostics,
    grubbs_critical,
    lack_of_fit,
    load_influence,
    order_effects,
    outlier_screen,
    spread_by_factor,
    without,
)
from quenchbook.fit.means import slopes
from quenchbook.fit.noise import error_shares


@pytest.fixture(scope="module")
def demo():
    study = qb.read_study(ROOT / "data" / "plane_irons")
    matrix = qb.read_plan(ROOT / "data" / "plane_irons" / "plan", study)
    return qb.mixed_model(
        qb.read_records(ROOT / "data" / "plane_irons" / "records", matrix), "hardness_hrc"
    )


def changed(model, coupon: str, by: float):
    """The same model with one coupon's readings moved."""
    from dataclasses import replace

    from quenchbook.fit.fitting import fitted_model

    coupons, readings = model.data.coupons.copy(), model.data.readings.copy()
    coupons.loc[coupons["coupon"] == coupon, "value"] += by
    readings.loc[readings["coupon"] == coupon, "value"] += by
    return fitted_model(replace(model.data, coupons=coupons, readings=readings))


def test_grubbs_values_agree_with_the_table() -> None:
    table = pd.read_csv(REFERENCE / "tables" / "grubbs_critical.csv")
    for row in table.itertuples():
        assert grubbs_critical(int(row.n)) == pytest.approx(row._5, abs=5.1e-5)
        assert grubbs_critical(int(row.n), confidence=0.99) == pytest.approx(row._6, abs=5.1e-5)


def test_the_screen_of_a_plain_sample_is_grubbs_test() -> None:
    # NIST e-Handbook 1.3.5.17.1 (Tietjen and Moore 1972): G 2.46876, beyond 2.0317 one-sided.
    sample = [199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57]
    frame = pd.DataFrame({"y": sample})
    table = outlier_screen(qb.mixed_model(frame, "y", fixed="1"))
    largest = table.iloc[0]
    assert largest["statistic"] * np.sqrt(7 / 8) == pytest.approx(2.46876, abs=5e-6)
    assert bool(largest["flagged"])


def test_a_planted_outlier_is_flagged_and_stays(demo) -> None:
    coupon = demo.coupons["coupon"].iloc[10]
    own = changed(demo, coupon, 3.0)
    table = outlier_screen(own)
    assert table.iloc[0]["coupon"] == coupon
    assert table.iloc[0]["flagged"]
    notes = diagnostics(own).summary()
    assert f"Coupon {coupon}" in notes
    assert "It stays" in notes
    assert len(own.coupons) == len(demo.coupons)


def test_with_and_without_a_coupon_differ_and_the_coupon_is_named(demo) -> None:
    coupon = demo.coupons["coupon"].iloc[10]
    own = changed(demo, coupon, 3.0)
    less = without(own, [coupon])
    assert len(less.coupons) == len(own.coupons) - 1
    assert f"Left out for comparison: {coupon}." in less.notes
    assert less.variances["coupon"] < own.variances["coupon"]
    with pytest.raises(EstimabilityError, match="not among the coupons"):
        without(own, ["ZZZZ"])


def test_a_load_that_moves_a_contrast_is_found(demo) -> None:
    moved = demo
    for coupon in demo.coupons.query("furnace_load == 5 and cold_route == 'dry_ice'")["coupon"]:
        moved = changed(moved, coupon, 4.0)
    means = qb.marginal_means(moved, "cold_route")
    contrast = means.contrast({"dry_ice - none": [-1, 0, 1, 0]})
    table = load_influence(contrast)
    assert len(table) == 12
    assert int(table.loc[table["change"].abs().idxmax(), "furnace_load"]) == 5


def test_the_demo_has_no_drift_no_lack_of_fit_and_even_spread(demo) -> None:
    assert (order_effects(demo)["p_value"] > 0.01).all()
    assert len(order_effects(demo)) >= 2
    fit = lack_of_fit(demo).iloc[0]
    assert (fit["term"], fit["df"]) == ("austenitize", 1)
    assert fit["p_value"] > 0.01
    assert (spread_by_factor(demo)["p_value"] > 0.005).all()


def test_a_drift_along_the_furnace_order_is_found(demo) -> None:
    moved = demo
    from dataclasses import replace

    from quenchbook.fit.fitting import fitted_model

    coupons = demo.data.coupons.copy()
    coupons["value"] += 0.15 * coupons["load_place"]
    moved = fitted_model(replace(demo.data, coupons=coupons))
    row = order_effects(moved).set_index("term").loc["order_of_load_place"]
    assert row["p_value"] < 1e-4
    assert row["estimate"] == pytest.approx(0.15, abs=0.05)


def test_the_slope_is_the_derivative_of_the_curve(demo) -> None:
    at = [950.0, 1000.0]
    table = slopes(demo, "austenitize", at=at).to_frame()
    step = 0.01
    for row, x in zip(table.itertuples(), at, strict=True):
        around = qb.marginal_means(demo, "austenitize", at={"austenitize": [x - step, x + step]})
        low, high = around.to_frame()["estimate"]
        assert row.estimate == pytest.approx((high - low) / (2 * step), rel=1e-6)
    with pytest.raises(EstimabilityError, match="no slope"):
        slopes(demo, "temper", at=[160.0])


def test_shares_of_the_error_add_up_and_loads_inside_cancel(demo) -> None:
    means = qb.marginal_means(demo, "cold_route")
    table = error_shares(means.contrast({"dry_ice - none": [-1, 0, 1, 0]})).set_index("stratum")
    assert table["share"].sum() == pytest.approx(1.0)
    assert table.loc["furnace_load", "share"] < 0.02  # every load holds every route
    assert table.loc["furnace_load", "times_to_halve"] == pytest.approx(4.0)
    assert table.loc["indent", "times_to_halve"] > 4
    hot = qb.marginal_means(demo, "austenitize", at={"austenitize": [970.0, 1030.0]})
    loads = error_shares(hot.contrast({"hot - usual": [-1, 1]})).set_index("stratum")
    assert loads.loc["furnace_load", "share"] > 0.5
    assert np.isinf(loads.loc["indent", "times_to_halve"])  # more indents never do
