"""Split of effort against the check numbers of the project and against statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.power import TTestIndPower

from quenchbook.outlook.effort import (
    Scatter,
    UnitCosts,
    cheapest_split,
    cost_times_variance,
    effective_indents,
    even_coupons,
    even_indents,
    even_split,
    indent_correlation,
    mean_variance,
    two_sample_power,
)

COSTS = UnitCosts(load=60.0, coupon=4.0, indent=0.5)


def scatter(rho: float) -> Scatter:
    return Scatter(load=0.3, coupon=0.45, indent=0.6, rho=rho)


@pytest.mark.parametrize(
    ("costs", "rho", "indents", "coupons", "whole"),
    [
        (COSTS, 0.0, 3.77, 5.81, (6, 4)),
        (COSTS, 0.3, 2.55, 7.19, (7, 3)),
        (UnitCosts(30.0, 8.0, 0.5), 0.3, 3.60, 3.60, (4, 3)),
    ],
)
def test_best_split_for_the_cost(
    costs: UnitCosts, rho: float, indents: float, coupons: float, whole: tuple[int, int]
) -> None:
    assert even_indents(scatter(rho), costs) == pytest.approx(indents, abs=0.005)
    assert even_coupons(scatter(rho), costs) == pytest.approx(coupons, abs=0.005)
    assert even_split(scatter(rho), costs) == whole


@pytest.mark.parametrize("rho", [0.0, 0.3])
def test_eight_coupons_of_five_indents_cost_5_percent_more(rho: float) -> None:
    least = cost_times_variance(scatter(rho), COSTS, *even_split(scatter(rho), COSTS))
    more = cost_times_variance(scatter(rho), COSTS, 8, 5) / least
    assert more == pytest.approx(1.05, abs=0.005)


def test_the_optimum_is_flat_along_each_number() -> None:
    """The note says within 5 % for k 2 to 5 and m 5 to 11: true for one of them at a time."""
    own = scatter(0.3)
    least = cost_times_variance(own, COSTS, 7, 3)
    along_indents = [cost_times_variance(own, COSTS, 7, k) / least for k in range(2, 6)]
    along_coupons = [cost_times_variance(own, COSTS, m, 3) / least for m in range(5, 12)]
    assert max(along_indents) < 1.055
    assert max(along_coupons) < 1.055


@pytest.mark.parametrize(
    ("rho", "indents", "coupons", "cost"),
    [
        (0.0, range(1, 11), 20, 240.0),
        (0.3, range(1, 11), 26, 286.0),
        (0.3, [1], 37, 333.0),
        (0.3, [5], 24, 312.0),
        (0.3, [10], 23, 414.0),
    ],
)
def test_cheapest_comparison_inside_loads(
    rho: float, indents: list[int], coupons: int, cost: float
) -> None:
    found = cheapest_split(scatter(rho), COSTS, 0.5, between="coupons", indents=indents)
    assert (found.coupons, found.cost) == (coupons, cost)


@pytest.mark.parametrize(("rho", "indents"), [(0.0, 4), (0.3, 3)])
def test_indents_of_the_cheapest_comparison_inside_loads(rho: float, indents: int) -> None:
    assert cheapest_split(scatter(rho), COSTS, 0.5, between="coupons").indents == indents


def test_cheapest_comparison_of_two_temperatures() -> None:
    found = cheapest_split(scatter(0.3), COSTS, 1.0, between="loads")
    assert (found.loads, found.coupons, found.indents, found.cost) == (4, 5, 3, 700.0)
    usual = cheapest_split(scatter(0.3), COSTS, 1.0, between="loads", coupons=[8], indents=[5])
    assert usual.cost == 896.0


@pytest.mark.parametrize(
    ("spacing", "count", "rho", "effective"),
    # "3 over 24 mm 2.9" of the note is three indents 24 mm apart; over 24 mm in all it is 2.5
    [(3.0, 5, 0.41, 1.9), (12.0, 5, 0.06, 4.0), (24.0, 3, 0.01, 2.9)],
)
def test_correlation_of_indents_in_a_row(
    spacing: float, count: int, rho: float, effective: float
) -> None:
    own = indent_correlation(spacing, count, 6.0)
    assert own == pytest.approx(rho, abs=0.005)
    assert effective_indents(count, own) == pytest.approx(effective, abs=0.05)


@pytest.mark.parametrize(("count", "shift"), [(2, 0.5), (4, 1.5), (20, 0.9), (20, 5.0)])
def test_two_sample_power_agrees_with_statsmodels(count: int, shift: float) -> None:
    own = two_sample_power(shift, np.array([2.0 / count]), np.array([2 * (count - 1)]), 0.95)
    other = TTestIndPower().power(shift, count, 0.05)
    assert own[0] == pytest.approx(other, abs=1e-9)


def test_variance_of_a_mean_agrees_with_simulated_readings() -> None:
    loads, coupons, indents, rho, draws = 3, 4, 5, 0.3, 40_000
    own, rng = scatter(rho), np.random.default_rng(5)
    shared = rng.normal(0, own.indent * np.sqrt(rho), (draws, loads, coupons))
    single = rng.normal(0, own.indent * np.sqrt(1 - rho), (draws, loads, coupons, indents))
    values = rng.normal(0, own.coupon, shared.shape) + shared + single.mean(axis=3)
    means = (rng.normal(0, own.load, (draws, loads)) + values.mean(axis=2)).mean(axis=1)
    # standard error of a variance from n draws: sqrt(2 / n), here 0.7 %
    assert means.var() == pytest.approx(mean_variance(own, loads, coupons, indents), rel=0.03)


def test_a_difference_that_is_too_small_is_refused() -> None:
    with pytest.raises(ValueError, match="do not find a difference this small"):
        cheapest_split(scatter(0.0), COSTS, 0.01, between="coupons", indents=[1], most=20)
