"""Comparison at equal hardness against the check numbers of the project."""

from __future__ import annotations

import pandas as pd
import pytest
from tests.conftest import REFERENCE

import quenchbook as qb
from quenchbook.fit.equal_hardness import EqualHardness


@pytest.fixture(scope="module")
def found() -> EqualHardness:
    frame = pd.read_csv(
        REFERENCE / "equal_hardness" / "a_toughness.csv", keep_default_na=False
    )  # a route is called none
    units = ["load", "batch"]
    energy = qb.mixed_model(frame, "impact_J", fixed="route + temper", strata=units, scale="log")
    hardness = qb.mixed_model(frame, "hrc_mean5", fixed="route + temper", strata=units)
    return qb.equal_hardness_contrast(
        energy, hardness, compare={"route": ["cold", "none"]}, indent_variance=0.36 / 5
    )


def test_differences_of_the_routes(found: EqualHardness) -> None:
    assert found.hardness_difference.estimate == pytest.approx(0.99611, abs=5e-6)
    assert found.total.estimate == pytest.approx(-0.092087, abs=5e-7)
    assert found.total.std_error == pytest.approx(0.044665, abs=5e-7)
    assert found.total.df == pytest.approx(26)
    assert found.total.limits(0.95) == pytest.approx((-0.18390, -0.00028), abs=5e-6)


def test_slope_of_the_temper_line(found: EqualHardness) -> None:
    assert found.slope.estimate == pytest.approx(-0.096081, abs=5e-7)
    assert found.slope.std_error == pytest.approx(0.021694, abs=5e-7)
    assert found.slope.df == pytest.approx(4)


def test_contrast_at_equal_hardness(found: EqualHardness) -> None:
    own = found.adjusted
    assert own.estimate == pytest.approx(0.003621, abs=5e-7)
    assert own.std_error == pytest.approx(0.055150, abs=5e-7)
    assert own.df == pytest.approx(29.894, abs=5e-4)
    assert own.limits(0.95) == pytest.approx((-0.10903, 0.11627), abs=5e-6)
    inside, df = own.parts["coupon"]
    assert inside * 36 / 4 == pytest.approx(0.0231706, abs=5e-8)
    assert df == 26


def test_check_of_parallel_lines(found: EqualHardness) -> None:
    (parallel,) = [own for own in found.checks if own.check == "parallel"]
    assert (parallel.df, parallel.df_error) == (2, 24)
    assert parallel.statistic == pytest.approx(4.1984, abs=5e-5)
    assert parallel.p_value == pytest.approx(0.0273, abs=5e-5)


def test_common_range(found: EqualHardness) -> None:
    assert found.common_range == pytest.approx((59.315, 61.457), abs=5e-4)


def test_sensitivity_lines(found: EqualHardness) -> None:
    lines = found.sensitivity.set_index("line")
    plain = lines.loc["covariance analysis"]
    assert plain["estimate"] == pytest.approx(-0.020924, abs=5e-7)
    assert plain["std_error"] == pytest.approx(0.052096, abs=5e-7)
    assert plain["df"] == 33
    assert lines.at["covariance analysis with loads", "estimate"] == pytest.approx(
        -0.021067, abs=5e-7
    )
    dummies = lines.loc["covariance analysis with loads and temper batches"]
    assert dummies["estimate"] == pytest.approx(-0.132333, abs=5e-7)
    assert dummies["slope"] == pytest.approx(0.0404, abs=5e-5)
    assert lines.at["error in variables, with loads", "estimate"] == pytest.approx(
        -0.018606, abs=5e-7
    )


@pytest.mark.parametrize(
    ("tempers", "coupons", "step", "cv", "width"),
    [
        (3, 2, 1.5, 0.15, 0.227),
        (3, 2, 0.75, 0.15, 0.286),
        (2, 3, 1.5, 0.15, 0.273),
        (3, 2, 1.5, 0.20, 0.297),
        (3, 4, 1.5, 0.15, 0.159),
    ],
)
def test_planned_width(tempers: int, coupons: int, step: float, cv: float, width: float) -> None:
    plan = qb.TemperPlan(loads=3, tempers=tempers, coupons=coupons, step=step)
    noise = qb.ToughnessNoise(
        cv=cv, line_slope=-0.12, scatter_slope=-0.12, coupon_sd=0.45, indent_sd=0.6, indents=5,
        batch_sd=0.03,
    )  # fmt: skip
    own = qb.equal_hardness_outlook(plan, noise, difference=1.0)
    assert own.width == pytest.approx(width, abs=5e-4)
