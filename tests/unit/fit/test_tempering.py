from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from scipy import stats

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.tempering import PARAMETER, cubic_beside, temper_curve, temper_set
from quenchbook.metallurgy.tempering import tempering_parameter


def tempered(
    tempers: tuple[float, ...],
    curve: Any,
    *,
    shape: Any = "levels",
    repeats: int = 6,
    noise: float = 0.2,
    seed: int = 7,
) -> MixedModel:
    """One stratum: coupons tempered one by one."""
    rng = np.random.default_rng(seed)
    temper = np.repeat(tempers, repeats)
    frame = pd.DataFrame({"temper": temper, "y": curve(temper) + rng.normal(0, noise, len(temper))})
    return qb.mixed_model(frame, "y", fixed="temper", shapes={"temper": shape})


def test_the_set_of_a_straight_line_is_that_of_fieller() -> None:
    model = tempered((150.0, 175.0, 200.0), lambda x: 65 - 0.02 * x, shape="linear")
    found = temper_set(temper_curve(model), 61.6)
    x, y = model.coupons["temper"].to_numpy(), model.coupons["value"].to_numpy()
    line = sm.OLS(y, sm.add_constant(x)).fit()
    (a, b), v = line.params, line.cov_params()
    w = stats.t.ppf(0.975, line.df_resid) ** 2
    # (a - 61.6 + b x)^2 = w (v00 + 2 v01 x + v11 x^2), Fieller (1954) [from memory]
    ends = np.roots(
        [b**2 - w * v[1, 1], 2 * ((a - 61.6) * b - w * v[0, 1]), (a - 61.6) ** 2 - w * v[0, 0]]
    )
    assert found.pieces[0] == pytest.approx(sorted(ends), abs=1e-4)
    assert found.estimates == pytest.approx([(61.6 - a) / b], abs=1e-4)


def test_two_tempers_allow_only_a_straight_line_and_it_is_said() -> None:
    model = tempered((150.0, 175.0), lambda x: 65 - 0.02 * x)
    curve = temper_curve(model)
    assert curve.degree == 1
    assert curve.notes == ("Two temper levels: only a straight line between them can be told.",)
    with pytest.raises(EstimabilityError, match="needs 3 tempers; there are 2"):
        temper_curve(model, degree=2)


def test_a_low_temper_that_raises_hardness_gives_two_tempers_for_one_value() -> None:
    model = tempered((100.0, 150.0, 200.0, 250.0), lambda x: 64 - ((x - 150) / 50) ** 2, noise=0.05)
    curve = temper_curve(model)
    assert curve.degree == 2
    found = temper_set(curve, 63.5)
    assert found.estimates == pytest.approx([150 - 50 * 0.5**0.5, 150 + 50 * 0.5**0.5], abs=4.0)
    assert len(found.pieces) == 2
    assert not found.is_empty


def test_secondary_hardening_is_not_forced_to_fall() -> None:
    model = tempered((200.0, 350.0, 500.0), lambda x: 58 + ((x - 350) / 75) ** 2, noise=0.05)
    table = temper_curve(model).to_frame([200.0, 350.0, 500.0])
    assert table["estimate"].to_numpy() == pytest.approx([62.0, 58.0, 62.0], abs=0.2)


def test_five_tempers_get_a_cubic_beside_the_quadratic() -> None:
    tempers = (150.0, 250.0, 350.0, 450.0, 550.0)
    curve = temper_curve(tempered(tempers, lambda x: 60 - 0.01 * x))
    cubic = cubic_beside(curve)
    assert cubic is not None
    assert cubic.degree == 3
    assert cubic_beside(temper_curve(tempered(tempers[:4], lambda x: 60 - 0.01 * x))) is None


def test_a_value_that_no_temper_gives_leaves_an_empty_set() -> None:
    found = temper_set(temper_curve(tempered((150.0, 175.0), lambda x: 65 - 0.02 * x)), 60.0)
    assert found.is_empty
    assert found.nearest == 175.0
    assert found.mean_less_target == pytest.approx(1.5, abs=0.3)


def test_a_flat_curve_through_the_value_excludes_no_temper() -> None:
    found = temper_set(temper_curve(tempered((150.0, 175.0), lambda x: 62 + 0 * x)), 62.0)
    assert found.is_everything
    assert found.pieces == ((-math.inf, math.inf),)


def test_a_set_says_its_tempers_in_words() -> None:
    hill = tempered((100.0, 150.0, 200.0, 250.0), lambda x: 64 - ((x - 150) / 50) ** 2, noise=0.05)
    found = temper_set(temper_curve(hill), 63.5)
    words = found.summary()
    assert words.startswith("Mean of 63.5, tempers of 100 to 250 tried: ")
    for low, high in found.pieces:
        assert f"{low:.0f} to {high:.0f}" in words
    line = temper_curve(tempered((150.0, 175.0), lambda x: 65 - 0.02 * x))
    assert temper_set(line, 60.0).summary().endswith("none gives it.")
    assert "150 to 175 tried" in temper_set(line, 61.9).summary()
    assert " or less." in temper_set(line, 62.0).summary()


def test_the_set_does_not_depend_on_unit_or_origin_of_the_response() -> None:
    model = tempered((150.0, 175.0, 200.0), lambda x: 65 - 0.02 * x)
    frame = model.coupons.assign(y=3.0 * model.coupons["value"] - 100.0)[["temper", "y"]]
    other = qb.mixed_model(frame, "y", fixed="temper", shapes={"temper": "levels"})
    one = temper_set(temper_curve(model), 61.6)
    two = temper_set(temper_curve(other), 3.0 * 61.6 - 100.0)
    assert one.pieces[0] == pytest.approx(two.pieces[0], abs=1e-4)


def test_one_temper_tells_nothing_of_another() -> None:
    frame = pd.DataFrame({"temper": [150.0] * 6, "route": list("aabbcc"), "y": np.arange(6.0)})
    with pytest.raises(EstimabilityError, match="temper"):
        temper_curve(qb.mixed_model(frame, "y", fixed="route + temper"))


def crossed(seed: int = 3) -> pd.DataFrame:
    """Loads with two austenitize levels, three temper batches each load; temper acts both ways."""
    rng = np.random.default_rng(seed)
    rows = []
    for load in range(8):
        hot = load % 2
        common = rng.normal(0, 0.1)
        for temper in (100.0, 150.0, 200.0):
            batch = rng.normal(0, 0.05)
            # common practice, no source: a low temper raises hardness after a high austenitize
            # and lowers it after a low one
            slope = 0.01 if hot else -0.01
            for _ in range(3):
                y = 62 + slope * (temper - 150) + common + batch + rng.normal(0, 0.1)
                rows.append(
                    (f"L{load}", f"L{load}T{temper:.0f}", "hot" if hot else "cool", temper, y)
                )
    return pd.DataFrame(rows, columns=["load", "batch", "austenitize", "temper", "y"])


def test_a_low_temper_may_raise_hardness_after_one_austenitize_and_lower_it_after_another() -> None:
    model = qb.mixed_model(
        crossed(), "y", fixed="austenitize * temper", strata=["load", "batch"],
        shapes={"temper": "levels"},
    )  # fmt: skip
    rise = {}
    for level in ("hot", "cool"):
        curve = temper_curve(model, at={"austenitize": level})
        ends = curve.to_frame([100.0, 200.0])
        rise[level] = float(ends["estimate"].iloc[1] - ends["estimate"].iloc[0])
        assert set(curve.coupons()["x"]) == {100.0, 150.0, 200.0}
    assert rise["hot"] > 0.7
    assert rise["cool"] < -0.7
    assert any("acts differently with austenitize" in note for note in temper_curve(model).notes)


def test_an_interaction_that_was_not_analysed_is_said_to_be_assumed_away() -> None:
    model = qb.mixed_model(
        crossed(), "y", fixed="austenitize + temper", strata=["load", "batch"],
        shapes={"temper": "levels"},
    )  # fmt: skip
    notes = temper_curve(model, at={"austenitize": "hot"}).notes
    assert "That the temper acts alike at every austenitize was assumed." in notes


def test_temper_and_hold_on_one_axis_find_the_line_of_the_parameter() -> None:
    rng = np.random.default_rng(5)
    rows = [
        (temper, minutes)
        for temper in (150.0, 200.0, 250.0)
        for minutes in (60.0, 240.0, 960.0)
        for _ in range(3)
    ]
    frame = pd.DataFrame(rows, columns=["temper", "hold"])
    parameter = tempering_parameter(frame["temper"], frame["hold"] / 60)
    frame["y"] = 80 - 2e-3 * parameter + rng.normal(0, 0.05, len(frame))
    model = qb.mixed_model(
        frame, "y", fixed="temper + hold", shapes={"temper": "levels", "hold": "levels"}
    )
    curve = temper_curve(model, hold="hold")
    assert curve.model.terms.variable("temper").column == PARAMETER
    low, high = curve.limits
    assert (low, high) == pytest.approx((parameter.min(), parameter.max()))
    table = curve.to_frame([low, high])
    slope = (table["estimate"].iloc[1] - table["estimate"].iloc[0]) / (high - low)
    assert slope == pytest.approx(-2e-3, rel=0.05)


def test_coupons_of_the_curve_scatter_about_it_as_the_residuals_do() -> None:
    model = tempered((150.0, 175.0, 200.0), lambda x: 65 - 0.02 * x)
    curve = temper_curve(model)
    coupons = curve.coupons()
    fitted = curve.rows(coupons["x"]) @ curve.model.precision.coefficients[:, 0]
    assert coupons["value"].to_numpy() - fitted == pytest.approx(curve.model.residuals())
