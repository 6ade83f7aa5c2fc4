"""The numerical core of best plans against computing everything anew."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from quenchbook.errors import PlanError
from quenchbook.plan.coordinates import (
    FREE,
    ChoiceProblem,
    Codes,
    Coordinate,
    Criterion,
    LeastLevels,
    coupon_precision,
)
from quenchbook.plan.exchange import _Search, exchanged_choices
from quenchbook.plan.linear_dependence import dependent_terms
from quenchbook.plan.start_choices import random_choices, redrawn_choices
from quenchbook.plan.streams import Stream


def crossed_problem(*, allowed: bool = False, fixed: bool = False) -> ChoiceProblem:
    """Loads of 6 with cold batches of 2 or 3, ovens across the loads, a choice of each coupon."""
    draw = np.random.default_rng(3)
    load = np.repeat(np.arange(4), 6)
    cold = np.repeat(np.arange(10), [2, 2, 2, 3, 3, 2, 2, 2, 3, 3])
    oven = np.arange(24) % 5
    table = np.column_stack([np.ones(72), draw.normal(size=(72, 5))])
    extra = draw.normal(size=(3, 6)) if fixed else None
    units = {"load": load, "cold": cold, "oven": oven}
    if fixed:
        units = {name: np.r_[own, [own.max() + 1, own.max() + 1, 0]] for name, own in units.items()}
    count = 27 if fixed else 24
    days = np.where(np.arange(count) % 24 < 12, 1.0, -1.0)[:, None]
    ratios = {"load": 1.0, "cold": 0.5, "oven": 0.7}
    return ChoiceProblem(
        coordinates=(
            Coordinate("load", load, 3),
            Coordinate("cold", cold, 4),
            Coordinate("oven", oven, 2),
            Coordinate("coupon", np.arange(24), 3),
        ),
        table=table,
        precision=coupon_precision(units, ratios, count, blocks=days),
        allowed=draw.uniform(size=72) > 0.1 if allowed else None,
        fixed=extra,
        region=table.T @ table / 72,
        names=tuple("abcdef"),
    )


def fresh(problem: ChoiceProblem, choices: list[Codes]) -> tuple[float, float]:
    X = problem.rows(choices)
    M = X.T @ problem.precision @ X
    assert problem.region is not None
    return float(np.linalg.slogdet(M)[1]), float(np.trace(np.linalg.solve(M, problem.region)))


@pytest.mark.parametrize("fixed", [False, True])
@pytest.mark.parametrize("place", [0, 1, 2, 3])
def test_updates_of_every_kind_of_unit_equal_a_fresh_computation(place: int, fixed: bool) -> None:
    problem = crossed_problem(fixed=fixed)
    stream = Stream(5, "updates")
    choices = random_choices(problem, stream)
    search = _Search(problem, "I", [own.copy() for own in choices], stream)
    search.refresh(0.0)
    before = fresh(problem, choices)
    assert search.variance == pytest.approx(before[1], rel=1e-10)
    for unit in range(problem.coordinates[place].unit_count):
        rows = search.members[place][unit]
        for choice in range(problem.coordinates[place].choices):
            if choice == choices[place][unit]:
                continue
            tried = [own.copy() for own in choices]
            tried[place][unit] = choice
            change = problem.table[problem.combinations(tried)][rows] - search.X[rows]
            wanted = fresh(problem, tried)
            judges = [search._small_unit, search._large_unit]
            judges += [search._one_coupon] if len(rows) == 1 else []
            for judge in judges:
                ratio, variance = judge(rows, change[None])
                assert np.log(ratio[0]) == pytest.approx(wanted[0] - before[0], abs=1e-8)
                assert variance[0] == pytest.approx(wanted[1], rel=1e-8)


@pytest.mark.parametrize("criterion", ["D", "I"])
def test_the_values_of_the_result_are_those_of_its_choices(criterion: Criterion) -> None:
    problem = crossed_problem(allowed=True, fixed=True)
    found = exchanged_choices(problem, criterion=criterion, starts=3, seed=2)
    log_determinant, variance = fresh(problem, list(found.choices))
    assert found.log_determinant == pytest.approx(log_determinant, abs=1e-8)
    assert found.average_variance == pytest.approx(variance, rel=1e-8)
    assert problem.allowed_combinations[problem.combinations(found.choices)].all()


def tiny_problem(*, fixed: bool = False) -> ChoiceProblem:
    """Two loads of two coupons: 2 x 2 settings of loads, 3 of each coupon, 324 plans."""
    grid = np.array(list(itertools.product((-1.0, 1.0), (-1.0, 0.0, 1.0))))
    table = np.column_stack([np.ones(6), grid, grid[:, 1] ** 2])
    load = np.array([0, 0, 1, 1])
    units, count = {"load": load}, 4
    if fixed:
        units, count = {"load": np.r_[load, 1]}, 5
    return ChoiceProblem(
        (Coordinate("load", load, 2), Coordinate("coupon", np.arange(4), 3)),
        table,
        coupon_precision(units, {"load": 0.8}, count),
        fixed=table[[3]] if fixed else None,
        region=table.T @ table / 6,
    )


@pytest.mark.parametrize("fixed", [False, True])
@pytest.mark.parametrize("criterion", ["D", "I"])
def test_the_best_of_all_plans_of_a_tiny_problem_is_found(
    criterion: Criterion, fixed: bool
) -> None:
    problem = tiny_problem(fixed=fixed)
    every = []
    for loads in itertools.product(range(2), repeat=2):
        for coupons in itertools.product(range(3), repeat=4):
            choices = [np.array(loads), np.array(coupons)]
            X = problem.rows(choices)
            if np.linalg.matrix_rank(X) == X.shape[1]:
                every.append(fresh(problem, choices))
    found = exchanged_choices(problem, criterion=criterion, seed=4)
    if criterion == "D":
        assert found.log_determinant == pytest.approx(max(d for d, _ in every), abs=1e-9)
    else:
        assert found.average_variance == pytest.approx(min(i for _, i in every), rel=1e-9)


def test_more_starts_never_make_it_worse() -> None:
    problem = crossed_problem()
    few = exchanged_choices(problem, starts=2, redraws=0, seed=7)
    many = exchanged_choices(problem, starts=6, redraws=0, seed=7)
    assert many.log_determinant >= few.log_determinant


def test_a_given_start_is_never_made_worse() -> None:
    problem = crossed_problem()
    given = random_choices(problem, Stream(9, "given"))
    found = exchanged_choices(problem, starts=0, redraws=0, given=[given])
    assert found.log_determinant >= fresh(problem, given)[0]


def test_the_same_seed_gives_the_same_choices_and_another_one_another_start() -> None:
    problem = crossed_problem()
    first, again = (exchanged_choices(problem, starts=3, seed=1) for _ in range(2))
    for own, other in zip(first.choices, again.choices, strict=True):
        np.testing.assert_array_equal(own, other)
    one, two = (random_choices(problem, Stream(seed, "x")) for seed in (1, 2))
    assert any((a != b).any() for a, b in zip(one, two, strict=True))


def test_held_units_keep_their_choice_and_enough_levels_stay_in_use() -> None:
    problem = crossed_problem()
    load, *others = problem.coordinates
    rule = LeastLevels(np.array([0, 1, 2]), 3)
    held = np.array([2, FREE, FREE, FREE])
    coordinate = Coordinate("load", load.units, 3, held=held, least=(rule,))
    # a table in which the second and third setting tell nothing pulls all loads to the first
    table = problem.table.reshape(3, 24, 6).copy()
    table[1:] *= 0.1
    problem = ChoiceProblem(
        (coordinate, *others), table.reshape(72, 6), problem.precision, region=problem.region
    )
    for seed in range(4):
        found = exchanged_choices(problem, starts=2, redraws=5, seed=seed)
        assert found.choices[0][0] == 2
        assert set(found.choices[0]) == {0, 1, 2}
        again = redrawn_choices(problem, found.choices, Stream(seed, "again"))
        assert again[0][0] == 2
        assert set(again[0]) == {0, 1, 2}


def test_a_singular_start_is_no_obstacle() -> None:
    problem = crossed_problem()
    same = [np.zeros(c.unit_count, dtype=np.int64) for c in problem.coordinates]
    assert np.linalg.matrix_rank(problem.rows(same)) == 1
    found = exchanged_choices(problem, starts=0, redraws=0, given=[same])
    assert np.isfinite(found.log_determinant)
    assert np.linalg.matrix_rank(problem.rows(found.choices)) == 6


def test_terms_that_cannot_be_estimated_are_named() -> None:
    problem = crossed_problem()
    table = problem.table.copy()
    table[:, 4] = table[:, 1] - 2 * table[:, 2]
    problem = ChoiceProblem(
        problem.coordinates, table, problem.precision, names=problem.names, region=problem.region
    )
    with pytest.raises(PlanError, match=r"cannot estimate e\. Add furnace loads"):
        exchanged_choices(problem, starts=2)
    assert dependent_terms(table, problem.names) == ("e",)


def test_forbidden_combinations_that_leave_nothing_are_refused() -> None:
    problem = crossed_problem()
    problem = ChoiceProblem(
        problem.coordinates, problem.table, problem.precision, allowed=np.zeros(72, dtype=bool)
    )
    with pytest.raises(PlanError, match="No plan keeps to the forbidden treatments"):
        exchanged_choices(problem)


def test_the_criterion_of_predictions_needs_a_region() -> None:
    problem = crossed_problem()
    problem = ChoiceProblem(problem.coordinates, problem.table, problem.precision)
    with pytest.raises(PlanError, match="needs a region"):
        exchanged_choices(problem, criterion="I")


def test_blocks_in_the_precision_equal_blocks_in_the_model() -> None:
    draw = np.random.default_rng(1)
    X, days = draw.normal(size=(12, 3)), np.repeat([1.0, -1.0], 6)[:, None]
    units, ratios = {"load": np.arange(12) // 3}, {"load": 2.0}
    plain = coupon_precision(units, ratios, 12)
    both = np.column_stack([X, days])
    covariance = np.linalg.inv(both.T @ plain @ both)[:3, :3]
    M = X.T @ coupon_precision(units, ratios, 12, blocks=days) @ X
    np.testing.assert_allclose(np.linalg.inv(M), covariance, atol=1e-12)
