"""Best plans against published ones and exact bounds (published_designs/PROVENANCE.toml)."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from tests.conftest import REFERENCE

from quenchbook.plan.coordinates import Array, ChoiceProblem, Coordinate, coupon_precision
from quenchbook.plan.exchange import exchanged_choices

FOLDER = REFERENCE / "published_designs"


def rows(name: str) -> list[pd.Series]:
    return [row for _, row in pd.read_csv(FOLDER / name).iterrows()]


def _name(row: pd.Series) -> str:
    return "-".join(f"{value:g}" for value in row)


def levels(values: tuple[float, ...], factors: int) -> Array:
    return np.array(list(itertools.product(values, repeat=factors)))


def quadratic(grid: Array) -> Array:
    pairs = itertools.combinations(range(grid.shape[1]), 2)
    products = [grid[:, i] * grid[:, j] for i, j in pairs]
    return np.column_stack([np.ones(len(grid)), grid, *products, grid**2])


def in_loads(
    table: Array, loads: int, coupons: int, eta: float, shape: tuple[int, int]
) -> ChoiceProblem:
    load = np.repeat(np.arange(loads), coupons)
    parts = (
        Coordinate("hard", load, shape[0]),
        Coordinate("easy", np.arange(len(load)), shape[1]),
    )
    precision = coupon_precision({"load": load}, {"load": eta}, len(load))
    return ChoiceProblem(parts, table, precision, region=table.T @ table / len(table))


@pytest.mark.parametrize("row", rows("split_plot.csv"), ids=_name)
def test_split_plots_are_as_good_as_the_published_ones(row: pd.Series) -> None:
    hard, easy = int(row["hard"]), int(row["easy"])
    table = quadratic(levels((-1.0, 0.0, 1.0), hard + easy))
    problem = in_loads(
        table, int(row["loads"]), int(row["coupons_per_load"]), row["eta"], (3**hard, 3**easy)
    )
    least = row["least_log_determinant_over_p"]
    p = table.shape[1]
    found = exchanged_choices(problem, starts=3000, seed=1, enough=least * p)
    assert found.log_determinant / p >= least
    # The value is that of the choices, not only of the updates that led there.
    X = problem.rows(found.choices)
    own = np.linalg.slogdet(X.T @ problem.precision @ X)[1]
    assert own == pytest.approx(found.log_determinant, abs=1e-8)


@pytest.mark.parametrize("row", rows("orthogonal.csv"), ids=_name)
def test_two_level_plans_reach_the_orthogonal_bound(row: pd.Series) -> None:
    w, a, b = levels((-1.0, 1.0), 3).T
    table = np.column_stack([np.ones(8), w, a, b, w * a, w * b, a * b])
    loads, coupons = int(row["loads"]), int(row["coupons_per_load"])
    found = exchanged_choices(in_loads(table, loads, coupons, row["eta"], (2, 4)), seed=1)
    assert found.log_determinant / 7 == pytest.approx(row["log_determinant_over_p"], abs=1e-6)
    if coupons > 2:  # the last row of the table is no bound
        n = loads * coupons
        bound = (7 * np.log(n) - 2 * np.log1p(coupons * row["eta"])) / 7
        assert found.log_determinant / 7 == pytest.approx(bound, abs=1e-9)


@pytest.mark.parametrize("row", rows("one_stratum.csv"), ids=_name)
def test_plans_without_units_agree_with_another_program(row: pd.Series) -> None:
    factors, n = int(row["factors"]), int(row["runs"])
    table = quadratic(levels((-1.0, 0.0, 1.0), factors))
    problem = ChoiceProblem(
        (Coordinate("all", np.arange(n), len(table)),),
        table, np.eye(n), region=table.T @ table / len(table),
    )  # fmt: skip
    d = exchanged_choices(problem, starts=60, seed=1)
    assert np.exp(d.log_determinant / table.shape[1]) / n == pytest.approx(row["d"], abs=6e-7)
    if not np.isnan(row["i"]):
        i = exchanged_choices(problem, criterion="I", starts=60, seed=1)
        assert n * i.average_variance == pytest.approx(row["i"], abs=6e-7)
