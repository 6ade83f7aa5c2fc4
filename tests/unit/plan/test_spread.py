from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import pytest

from quenchbook.plan.randomization import coupon_matrix
from quenchbook.plan.spread import spread_evenly
from quenchbook.plan.streams import Stream
from quenchbook.study.definition import Study


def plain_spread(
    labels: Sequence[int],
    covariates: Mapping[str, Sequence[int]],
    stream: Stream,
    within: Sequence[int],
) -> list[int]:
    """The rule of `spread_evenly` in plain loops: count every table anew for every swap."""
    items = range(len(labels))
    single = [list(own) for own in covariates.values()]
    pairs = [list(zip(a, b, strict=True)) for a, b in itertools.combinations(single, 2)]
    margins = [[0 for _ in items], *single, *(p for p in pairs if len(set(p)) < len(labels))]
    values = sorted(set(labels))

    def score(assigned: list[int]) -> int:
        total = 0
        for cells in margins:
            counts: dict[object, int] = {}
            for key in zip(cells, assigned, strict=True):
                counts[key] = counts.get(key, 0) + 1
            total += sum(count**2 for count in counts.values())
        return total

    lowest = 0.0
    for cells in margins:
        for cell in set(cells):
            size = cells.count(cell)
            shares = [labels.count(value) / len(labels) for value in values]
            if len({round(share, 9) for share in shares}) == 1:
                low, more = divmod(size, len(values))
                lowest += more * (low + 1) ** 2 + (len(values) - more) * low**2
            else:
                lowest += sum((size * share) ** 2 for share in shares)
    best, best_score = list(labels), float("inf")
    for _ in range(12):
        assigned = list(labels)
        for group in sorted(set(within)):
            members = [item for item in items if within[item] == group]
            own = stream.shuffled([labels[item] for item in members])
            for item, label in zip(members, own, strict=True):
                assigned[item] = label
        improved = True
        while improved:
            improved = False
            for item in stream.shuffled(items):
                before, found, gain = score(assigned), -1, 0
                for other in items:
                    if within[other] == within[item]:
                        trial = list(assigned)
                        trial[item], trial[other] = trial[other], trial[item]
                        change = score(trial) - before
                        if change < gain:
                            found, gain = other, change
                if found >= 0:
                    assigned[item], assigned[found] = assigned[found], assigned[item]
                    improved = True
        if score(assigned) < best_score:
            best, best_score = list(assigned), score(assigned)
        if best_score <= lowest + 1e-9:
            break
    return best


@pytest.mark.parametrize("case", range(8))
def test_labels_are_those_of_the_plain_rule(case: int) -> None:
    draw = np.random.default_rng(case)
    items, count = int(draw.integers(5, 13)), int(draw.integers(2, 4))
    labels = [item % count for item in range(items)]
    if case % 2:
        labels = [*range(count), *draw.integers(0, count, items - count).tolist()]
    covariates = {name: draw.integers(0, 3, items).tolist() for name in "abc"[: 1 + case % 3]}
    within = (draw.integers(0, 2, items) if case % 4 == 3 else np.zeros(items, int)).tolist()
    expected = plain_spread(labels, covariates, Stream(case, "s"), within)
    assert spread_evenly(labels, covariates, Stream(case, "s"), within=within) == expected


@pytest.mark.parametrize(
    ("layout", "seed", "begin"),
    [  # hashes of plans made at commit e376e49, before spreading was made faster
        ({}, 0, "a7f83e00"),
        ({}, 1, "44f4ec86"),
        ({"coupons_per_load": 6, "bars": 0}, 0, "f9102b68"),
        ({"coupons_per_load": 6, "bars": 0}, 1, "ba6f81d3"),
        ({"furnace_loads": 9, "coupons_per_load": 9}, 0, "9bc0e954"),
        ({"furnace_loads": 9, "coupons_per_load": 9}, 1, "79047167"),
        ({"loads_per_day": 0}, 0, "0b85372b"),
        ({"loads_per_day": 0}, 1, "a5360aa3"),
        ({"coupons_per_load": 12, "furnace_loads": 8, "loads_per_day": 2}, 0, "63ee4731"),
        ({"coupons_per_load": 12, "furnace_loads": 8, "loads_per_day": 2}, 1, "5a61d51b"),
        ({"coupons_per_temper_batch": 0}, 0, "acda46f0"),
        ({"coupons_per_temper_batch": 0}, 1, "ccac1865"),
    ],
)
def test_plans_are_those_of_earlier_versions(
    plane_irons: Study, layout: dict[str, int], seed: int, begin: str
) -> None:
    study = replace(plane_irons, layout=replace(plane_irons.layout, **layout))
    assert coupon_matrix(study, seed=seed).short_hash == begin


@pytest.mark.parametrize("seed", range(5))
def test_an_even_spread_is_found_where_one_exists(seed: int) -> None:
    rows, columns = np.divmod(np.arange(36), 6)
    labels = [place % 6 for place in range(36)]
    chosen = np.array(
        spread_evenly(labels, {"row": rows.tolist(), "column": columns.tolist()}, Stream(seed, "s"))
    )
    for block in (rows, columns):
        counts = np.zeros((6, 6), dtype=int)
        np.add.at(counts, (block, chosen), 1)
        assert counts.max() - counts.min() <= 1


def test_a_plan_of_a_thousand_coupons_is_made(plane_irons: Study) -> None:
    layout = replace(
        plane_irons.layout, furnace_loads=100, coupons_per_load=10, bars=50, coupons_per_bar=20
    )
    frame = coupon_matrix(replace(plane_irons, layout=layout), seed=1).frame
    assert len(frame) == 1000
    assert frame["coupon"].is_unique
    counts = frame.groupby(["furnace_load", "cold_route"]).size()
    assert counts.min() == 2
    assert counts.max() == 3
