"""Proofs that something drawn at random is drawn evenly: p-values that a fault makes tiny.

Each proof fails at p < `FAULT`; its power is shown by the shuffles and plans with a fault below.
"""

from __future__ import annotations

import importlib
import itertools
import pkgutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
from scipy import stats

import quenchbook.plan
from quenchbook.plan.labels import CHARACTERS
from quenchbook.plan.streams import Stream
from quenchbook.study.definition import Study

FAULT = 1e-6
DRAWS = 8000  # enough to find the naive swap of 4 items (shared notes, designs.md section 2)


def stream_users() -> list[ModuleType]:
    """Modules of the plan that draw from streams."""
    names = [
        f"quenchbook.plan.{own.name}" for own in pkgutil.iter_modules(quenchbook.plan.__path__)
    ]
    modules = [importlib.import_module(name) for name in names]
    return [own for own in modules if hasattr(own, "Stream") and own.__name__ != Stream.__module__]


Shuffle = Callable[[Stream, Sequence[Any]], list[Any]]


def naive_swap(stream: Stream, items: Sequence[Any]) -> list[Any]:
    """Faulty: each item changes places with any item."""
    order = list(items)
    for place in range(len(order)):
        other = stream.below(len(order))
        order[place], order[other] = order[other], order[place]
    return order


def cyclic_shuffle(stream: Stream, items: Sequence[Any]) -> list[Any]:
    """Faulty: no item may stay in its place (Sattolo's algorithm)."""
    order = list(items)
    for last in range(len(order) - 1, 0, -1):
        other = stream.below(last)
        order[last], order[other] = order[other], order[last]
    return order


def sorted_keys(stream: Stream, items: Sequence[Any]) -> list[Any]:
    """Order of sorted raw draws, as the bars use it."""
    return [items[place] for place in np.argsort(stream.keys(1, len(items))[0])]


def p_of_orders(shuffle: Shuffle, *, items: int = 4, draws: int = DRAWS) -> float:
    """Chi-square over all orders."""
    stream = Stream(11, "proof")
    counts = dict.fromkeys(itertools.permutations(range(items)), 0)
    for _ in range(draws):
        counts[tuple(shuffle(stream, range(items)))] += 1
    return float(stats.chisquare(list(counts.values())).pvalue)


def p_of_places(shuffle: Shuffle, *, items: int, draws: int = DRAWS) -> float:
    """Chi-square over item by place: each row and column adds up, hence the factor and the df."""
    stream = Stream(12, "proof")
    counts = np.zeros((items, items))
    for _ in range(draws):
        counts[np.arange(items), shuffle(stream, range(items))] += 1
    expected = draws / items
    statistic = (items - 1) / items * np.sum((counts - expected) ** 2) / expected
    return float(stats.chi2.sf(statistic, (items - 1) ** 2))


def p_of_no_shift(samples: np.ndarray) -> float:
    """Hotelling's test that the mean of every column is 0; the variance is that of the samples.

    Places in one plan depend on one another, so no table of counts has the chi-square
    distribution of independent draws; plans of different seeds are independent.
    """
    count, mean = len(samples), samples.mean(axis=0)
    sizes, directions = np.linalg.eigh(np.atleast_2d(np.cov(samples, rowvar=False)))
    varies = sizes > 1e-9 * max(1.0, sizes.max())
    constant = np.abs(mean @ directions[:, ~varies]).max(initial=0.0)
    if constant > 1e-9:
        return 0.0
    rank = int(varies.sum())
    assert sizes.max() > 0, "nothing varies, so nothing is proven"
    statistic = count * np.sum((mean @ directions[:, varies]) ** 2 / sizes[varies])
    return float(stats.f.sf(statistic * (count - rank) / (rank * (count - 1)), rank, count - rank))


def excess(place: pd.Series, level: pd.Series, places: Sequence[Any]) -> np.ndarray:
    """Coupons of each level in each place less its share of the coupons there, as one row."""
    is_level = pd.get_dummies(level).to_numpy(float)
    is_place = np.column_stack([place == own for own in places]).astype(float)
    return (is_place.T @ (is_level - is_level.mean(axis=0)))[:, :-1].ravel()


def small_study(plane_irons: Study) -> Study:
    """Four loads on two days, four routes and two tempers in each, four bars with a spare each."""
    austenitize, route, temper, _ = plane_irons.factors
    return replace(
        plane_irons,
        factors=(replace(austenitize, levels=(940.0, 1030.0), shape="linear"), route, temper),
        responses=tuple(replace(r, coupons=r.coupons and 16) for r in plane_irons.responses),
        questions=(),
        layout=replace(
            plane_irons.layout, furnace_loads=4, coupons_per_load=8, loads_per_day=2,
            coupons_per_temper_batch=4, bars=4, coupons_per_bar=9, bar_ends=1, furnace_places=9,
        ),
    )  # fmt: skip


def plan_rows(frame: pd.DataFrame) -> dict[str, np.ndarray]:
    """What one plan of `small_study` gave to each place, less its share; the names say what."""
    loads = frame.drop_duplicates("furnace_load")
    load, route, temper = frame["furnace_load"], frame["cold_route"], frame["temper_c"]
    turn, broken = (frame["hardness_hrc_order"] - 1) // 4, (frame["impact_j_order"] - 1) // 4
    batches = frame.groupby(["day", "temper_c"])["temper_batch"]
    is_later = frame["temper_batch"] > batches.transform("min")
    parts = {
        "temperature by load": (loads["furnace_load"], loads["austenitize_c"], range(1, 5)),
        "route by place in the load": (frame["load_place"], route, range(1, 9)),
        "temper by place in the load": (frame["load_place"], temper, range(1, 9)),
        "route by furnace place": (frame["furnace_place"], route, range(1, 10)),
        "turn in the load by furnace place": (
            frame["furnace_place"], frame["load_place"], range(1, 10),
        ),
        "temper by temper batch": (frame["temper_batch"], temper, range(1, 9)),
        "load and route by the later batch of a day and temper": (
            is_later, load.astype(str) + route, [True],
        ),
        "route by bar": (frame["bar"], route, range(1, 5)),
        "load by bar": (frame["bar"], load, range(1, 5)),
        "route by place in the bar": (frame["bar_position"], route, range(1, 10)),
        "load by place in the bar": (frame["bar_position"], load, range(1, 10)),
        "route by turn at the hardness tester": (turn, route, range(8)),
        "load by turn at the hardness tester": (turn, load, range(8)),
        "route by turn at the impact tester": (broken, route, range(4)),
        "load by turn at the impact tester": (broken, load, range(4)),
        "route by first character of the code": (frame["coupon"].str[0], route, CHARACTERS),
        "load by first character of the code": (frame["coupon"].str[0], load, CHARACTERS),
        "temper by last character of the code": (frame["coupon"].str[3], temper, CHARACTERS),
    }  # fmt: skip
    return {name: excess(*part) for name, part in parts.items()}


def plan_samples(frames: Sequence[pd.DataFrame]) -> dict[str, np.ndarray]:
    """Rows of `plan_rows` for plans of many seeds, shape (plans, cells) for each name."""
    rows = [plan_rows(frame) for frame in frames]
    return {name: np.array([row[name] for row in rows]) for name in rows[0]}


def stuck_stream(*names: str) -> type[Stream]:
    """Faulty: streams of these names leave every order as it is."""

    class Stuck(Stream):
        def __init__(self, seed: int, name: str) -> None:
            super().__init__(seed, name)
            self.is_stuck = name in names

        def shuffled(self, items: Sequence[Any]) -> list[Any]:
            return list(items) if self.is_stuck else super().shuffled(items)

    return Stuck


def with_repeats(samples: np.ndarray, *, every: int) -> np.ndarray:
    """Faulty: every second (third ...) plan is the first one once more."""
    mixed = samples.copy()
    mixed[::every] = mixed[0]
    return mixed
