"""Speed of planning: ``OMP_NUM_THREADS=1 python tests/benchmarks/bench_planning.py``.

One core; the number of threads is set below where it is not set outside. Targets: best of 20 starts
for 24, 96, 384 coupons within 2, 3, 15 s; each published plan within 20 s; 1,000 coupons work; power of all questions of a
plan within 20 ms; 20,000 simulated balanced studies within 1 s.
"""

# ruff: noqa: E402 - threads are set before numpy is loaded

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import dataclasses
import itertools
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import quenchbook as qb
from quenchbook.plan.coordinates import (
    Array,
    ChoiceProblem,
    Coordinate,
    Criterion,
    coupon_precision,
)
from quenchbook.plan.exchange import exchanged_choices
from quenchbook.study.definition import Noise, PlanWish

DATA = Path(__file__).parents[2] / "data"
TARGETS = {24: 2.0, 96: 3.0, 384: 15.0}
PUBLISHED = {(9, 3, 2): 2.072572, (21, 2, 4): 2.600836}
"""(loads, coupons a load, easy factors): ln|M|/p of Goos and Vandebroek 2003, less 0.001."""


def quadratic(grid: Array) -> Array:
    pairs = itertools.combinations(range(grid.shape[1]), 2)
    crossed = [grid[:, i] * grid[:, j] for i, j in pairs]
    return np.column_stack([np.ones(len(grid)), grid, *crossed, grid**2])


def heat_treatment(loads: int, groups: int, coupons: int, *, ovens: bool) -> ChoiceProblem:
    """Austenitize curve of the load by route of the cold batch, temper curve: 18 columns."""
    n = loads * groups * coupons
    load, group = np.arange(n) // (groups * coupons), np.arange(n) // coupons
    temper = (np.arange(n) + load) % max(3, n // 12) if ovens else np.arange(n)
    levels = np.linspace(-1, 1, 5)
    rows = []
    routes = np.vstack([np.eye(3), -np.ones(3)])
    for a, route, t in itertools.product(levels, routes, (-1.0, 0.0, 1.0)):
        curve = [a, a * a - 0.5]
        by = [c * r for c in curve for r in route]
        rows.append([1.0, *curve, *route, *by, t, t * t - 2 / 3, a * t, *(t * route), t * t * a])
    table = np.array(rows)
    table = table[:, :18]
    units = {"furnace_load": load, "cold_batch": group}
    ratios = {"furnace_load": 1.0, "cold_batch": 0.5, "temper_batch": 0.5}
    if ovens:
        units["temper_batch"] = temper
    coordinates = (
        Coordinate("austenitize", load, 5),
        Coordinate("route", group, 4),
        Coordinate("temper", temper, 3),
    )
    precision = coupon_precision(units, ratios, n)
    return ChoiceProblem(coordinates, table, precision, region=table.T @ table / len(table))


def split(loads: int, coupons: int, easy: int) -> ChoiceProblem:
    n = loads * coupons
    load = np.repeat(np.arange(loads), coupons)
    grid = np.array(list(itertools.product((-1.0, 0.0, 1.0), repeat=1 + easy)))
    parts = (Coordinate("hard", load, 3), Coordinate("easy", np.arange(n), 3**easy))
    return ChoiceProblem(parts, quadratic(grid), coupon_precision({"load": load}, {"load": 1.0}, n))


def timed(problem: ChoiceProblem, criterion: Criterion, **more: object) -> tuple[float, object]:
    started = time.perf_counter()
    found = exchanged_choices(problem, criterion=criterion, **more)  # type: ignore[arg-type]
    return time.perf_counter() - started, found


def median_time(what: Callable[[], object], repeats: int = 5) -> float:
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        what()
        times.append(time.perf_counter() - started)
    return float(np.median(times))


def whole_studies() -> None:
    """The demonstration (96 coupons, crossed temper batches) and a balanced plan."""
    study = qb.read_study(DATA / "plane_irons")
    seconds = median_time(lambda: qb.coupon_matrix(study, seed=1))
    print(f"crossed plan of 96 coupons: {seconds * 1e3:.0f} ms")
    best = dataclasses.replace(study, plan=PlanWish("best"))
    print(
        f"best plan of 96 coupons: {median_time(lambda: qb.coupon_matrix(best, seed=1), 1):.1f} s"
    )
    layout = dataclasses.replace(study.layout, furnace_loads=125, bars=0, coupons_per_bar=0)
    large = dataclasses.replace(study, layout=layout)
    print(
        f"crossed plan of 1,000 coupons: {median_time(lambda: qb.coupon_matrix(large, seed=1), 1):.1f} s"
    )
    matrix = qb.coupon_matrix(study, seed=1)
    first = median_time(lambda: qb.question_outlooks(matrix).to_frame(), 1)
    again = median_time(lambda: qb.question_outlooks(matrix).to_frame(), 20)
    print(
        f"power of all 10 questions: {first * 1e3:.0f} ms with the strata of the plan, then "
        f"{again * 1e3:.1f} ms for each other noise (target 20 ms)"
    )
    corrosion = qb.read_study(DATA / "coated_bars")
    plan = qb.read_plan(DATA / "coated_bars" / "plan", corrosion)
    noise = {"resistance": Noise({"furnace_load": 10.0, "coupon": 10.0}, "a number")}
    seconds = median_time(lambda: qb.simulated_outlook(plan, noise=noise, studies=20_000), 3)
    print(f"20,000 simulated balanced studies, 3 tests each: {seconds:.2f} s (target 1 s)")
    seconds = median_time(lambda: qb.simulated_outlook(matrix, studies=20_000), 1)
    print(f"20,000 simulated studies of the demonstration, 10 questions: {seconds:.1f} s")
    print(f"what certainty costs: {median_time(lambda: qb.certainty_costs(study), 1):.1f} s")
    print(f"4 next loads: {median_time(lambda: qb.next_coupons(matrix, 4, seed=2), 1):.1f} s")


def main() -> None:
    whole_studies()
    for loads, groups, coupons in ((6, 2, 2), (8, 4, 3), (12, 8, 4)):
        n = loads * groups * coupons
        for criterion in ("D", "I"):
            for ovens in (False, True):
                seconds, found = timed(
                    heat_treatment(loads, groups, coupons, ovens=ovens), criterion
                )
                where = "temper batches crossed" if ovens else "temper of each coupon"
                print(
                    f"{n} coupons, {criterion}, {where}: {seconds:.2f} s (target {TARGETS[n]:g} s)  {found}"
                )
    for criterion in ("D", "I"):
        seconds, found = timed(heat_treatment(25, 8, 5, ovens=True), criterion, starts=5, redraws=5)
        print(f"1,000 coupons, {criterion}, best of 5: {seconds:.1f} s  {found}")
    for (loads, coupons, easy), value in PUBLISHED.items():
        problem = split(loads, coupons, easy)
        p = problem.table.shape[1]
        times = [
            timed(problem, "D", starts=5000, seed=seed, enough=value * p)[0] for seed in range(12)
        ]
        print(
            f"{loads * coupons} runs in {loads} of {coupons}, to ln|M|/{p} of {value}: median "
            f"{np.median(times):.2f} s, most {max(times):.2f} s of 12 seeds (target 20 s)"
        )


if __name__ == "__main__":
    sys.exit(main())
