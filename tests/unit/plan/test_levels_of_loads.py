"""Levels of loads that cannot hold them all. The studies are invented."""

from __future__ import annotations

import collections
import dataclasses
import itertools

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import quenchbook as qb
from quenchbook.plan.levels_of_loads import crowded_factor
from quenchbook.plan.matrix import check_matrix
from quenchbook.study.definition import ForbiddenTreatment, Layout, Response, Study
from quenchbook.study.factors import Factor, Unit


def study(settings: int, routes: int, loads: int, size: int, tempers: int = 0, **layout: int):
    kinds: list[tuple[str, int, Unit]] = [
        ("austenitize", settings, "furnace_load"),
        ("cold_route", routes, "cold_batch"),
        ("temper", tempers, "temper_batch"),
    ]
    factors = tuple(
        Factor(name, name, tuple(f"{name} {number}" for number in range(count)), set_for=unit)
        for name, count, unit in kinds
        if count > 1
    )
    return Study(
        "invented", "Invented", "Which route?", "nobody", "2026-11-25", "CC0", factors,
        (Response("hardness_hrc", "hardness", "HRC"),), (), Layout(loads, size, **layout),
    )  # fmt: skip


def meetings(frame: pd.DataFrame, case: Study) -> list[int]:
    """In how many loads each pair of routes meets."""
    levels = sorted(map(str, case.factor("cold_route").levels))
    pairs: collections.Counter[tuple[str, str]] = collections.Counter()
    for _, own in frame.groupby("furnace_load")["cold_route"]:
        pairs.update(itertools.combinations(sorted(set(own)), 2))
    return [pairs[pair] for pair in itertools.combinations(levels, 2)]


@pytest.mark.parametrize(
    ("case", "times"),
    [
        (study(1, 4, 4, 3), 2),
        (study(1, 7, 7, 3), 1),
        (study(2, 7, 14, 3), 2),
        (study(1, 13, 13, 4), 1),
        (study(3, 4, 12, 2), 2),
        (study(1, 4, 8, 3, tempers=2), 4),
        (study(2, 4, 8, 6, tempers=2, cold_batches_per_load=3), 4),
    ],
)
@pytest.mark.parametrize("seed", [1, 2])
def test_every_pair_of_routes_meets_in_the_same_number_of_loads(case, times, seed) -> None:
    matrix = qb.coupon_matrix(case, seed=seed)
    check_matrix(matrix)
    assert set(meetings(matrix.frame, case)) == {times}
    note = f"every pair of levels meets in the same number of furnace loads ({times})"
    assert any(note in line for line in matrix.notes)


def test_pairs_meet_equally_often_at_each_furnace_setting_where_that_can_be() -> None:
    case = study(2, 7, 14, 3)
    frame = qb.coupon_matrix(case, seed=3).frame
    for _, own in frame.groupby("austenitize"):
        assert set(meetings(own, case)) == {1}


def test_routes_are_spread_over_furnace_settings_days_and_tempers() -> None:
    case = study(2, 4, 8, 3, tempers=2, loads_per_day=4)
    frame = qb.coupon_matrix(case, seed=3).frame
    for other in ("austenitize", "day", "temper"):
        assert set(frame.groupby([other, "cold_route"]).size()) == {3}


def test_a_load_holds_no_more_routes_than_cold_batches() -> None:
    case = study(2, 4, 8, 6, tempers=2, cold_batches_per_load=3)
    frame = qb.coupon_matrix(case, seed=1).frame
    assert (frame.groupby("furnace_load")["cold_batch"].nunique() == 3).all()
    assert set(frame.groupby(["furnace_load", "cold_batch", "temper"]).size()) == {1}


@pytest.mark.parametrize(("loads", "told"), [(6, True), (10, False), (4, False)])
def test_the_note_says_with_how_many_loads_pairs_could_meet_equally_often(loads, told) -> None:
    notes = " ".join(qb.coupon_matrix(study(1, 5, loads, 3), seed=1).notes)
    sentence = "With 10 furnace loads every pair could meet equally often."
    assert (sentence in notes) == told


def test_without_a_balanced_plan_the_note_has_the_efficiency_and_its_bound() -> None:
    case = study(1, 5, 6, 3)
    notes = qb.coupon_matrix(case, seed=1).notes
    (line,) = [line for line in notes if line.startswith("Cold route")]
    assert "pairs of levels meet in 1 to 3 furnace loads" in line
    assert (
        "have 0.8019 of the precision that complete furnace loads would give, at most 0.8333"
        in (line)
    )


@pytest.mark.parametrize("routes", [2, 3, 4])
def test_routes_that_fit_are_not_put_into_incomplete_blocks(routes) -> None:
    case = study(2, routes, 4, 4)
    assert crowded_factor(case, case.factors[1:]) is None
    assert not any("precision" in line for line in qb.coupon_matrix(case, seed=1).notes)


def test_forbidden_or_unequal_levels_are_left_to_the_even_spread() -> None:
    case = study(1, 4, 4, 3)
    (route,) = case.factors
    assert crowded_factor(case, [route]) == route
    never = ForbiddenTreatment({"cold_route": "cold_route 1"})
    assert crowded_factor(dataclasses.replace(case, forbidden=(never,)), [route]) is None
    unequal = dataclasses.replace(route, repeats=(2, 1, 1, 1))
    assert crowded_factor(case, [unequal]) is None
    assert crowded_factor(study(1, 4, 12, 1), [route]) is None  # a load with a single coupon


def test_each_route_is_equally_likely_in_each_load() -> None:
    """Table of missing route by load: (n - 1)/n chi-square has (n - 1)^2 df for permutations."""
    case, draws = study(1, 4, 4, 3), 800
    table = np.zeros((4, 4))
    for seed in range(draws):
        frame = qb.coupon_matrix(case, seed=seed).frame
        for load, own in frame.groupby("furnace_load")["cold_route"]:
            (missing,) = set(case.factors[0].levels) - set(own)
            table[load - 1, case.factors[0].levels.index(missing)] += 1
    statistic = 3 / 4 * np.sum((table - draws / 4) ** 2 / (draws / 4))
    assert stats.chi2.sf(statistic, 9) > 1e-6
