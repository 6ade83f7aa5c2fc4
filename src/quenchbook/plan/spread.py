"""Spread labels over items as evenly as they go, from a random start.

Where not all combinations of levels fit into the coupons that can be afforded, the next best plan
holds each level equally often in each load, with each level of the other factors, and with each
pair of them.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from quenchbook.plan.streams import Stream

Codes = npt.NDArray[np.int64]


def spread_evenly(
    labels: Sequence[int],
    covariates: Mapping[str, Sequence[int]],
    stream: Stream,
    *,
    within: Sequence[int] | None = None,
    starts: int = 12,
) -> list[int]:
    """Assign labels to items so that counts in all margins differ as little as possible.

    Parameters
    ----------
    labels : sequence of int, shape (items,)
        Labels to hand out, each as often as it stands here.
    covariates : mapping of name to sequence of int, shape (items,)
        What is already fixed for the items (load, temperature, route ...). Each covariate and each
        pair of them is a margin.
    stream : Stream
        Random stream; the result is one random plan among equally even ones.
    within : sequence of int, optional
        Labels are exchanged only between items with the same value here.
    starts : int
        Random starts of the exchange.

    Returns
    -------
    list of int
        A label for each item.
    """
    items = len(labels)
    groups = np.zeros(items, dtype=np.int64) if within is None else _codes(within)
    label_codes = _codes(labels)
    margins = _margins(covariates, items)
    best: Codes | None = None
    best_score = np.inf
    floor = _even_score(margins, label_codes)
    for _ in range(starts):
        assigned = _random_start(label_codes, groups, stream)
        score = _exchange(assigned, margins, groups, int(label_codes.max()) + 1, stream)
        if score < best_score:
            best, best_score = assigned, score
        if best_score <= floor:
            break
    values = sorted(set(labels))
    assert best is not None
    return [values[code] for code in best]


def _codes(values: Sequence[int]) -> Codes:
    return np.unique(np.asarray(values), return_inverse=True)[1].astype(np.int64)


def _margins(covariates: Mapping[str, Sequence[int]], items: int) -> list[Codes]:
    single = [_codes(values) for values in covariates.values()]
    margins = [np.zeros(items, dtype=np.int64), *single]
    for first, second in itertools.combinations(single, 2):
        pair = _codes((first * (second.max() + 1) + second).tolist())
        if pair.max() + 1 < items:  # a cell for each item says nothing
            margins.append(pair)
    return margins


def _random_start(labels: Codes, groups: Codes, stream: Stream) -> Codes:
    assigned = np.empty_like(labels)
    for group in range(int(groups.max()) + 1):
        members = np.flatnonzero(groups == group)
        assigned[members] = stream.shuffled(labels[members].tolist())
    return assigned


def _even_score(margins: list[Codes], labels: Codes) -> float:
    """Sum of squared counts when every margin is as even as whole numbers allow."""
    score = 0.0
    share = np.bincount(labels) / len(labels)
    for cells in margins:
        for size in np.bincount(cells):
            if np.allclose(share, share[0]):
                low, more = divmod(int(size), len(share))
                score += more * (low + 1) ** 2 + (len(share) - more) * low**2
            else:
                score += float(np.sum((size * share) ** 2))
    return score


def _exchange(
    assigned: Codes, margins: list[Codes], groups: Codes, label_count: int, stream: Stream
) -> float:
    """Swap labels of two items while that makes the margins more even; change `assigned`."""
    tables = [np.zeros((int(cells.max()) + 1, label_count), dtype=np.int64) for cells in margins]
    for table, cells in zip(tables, margins, strict=True):
        np.add.at(table, (cells, assigned), 1)
    improved = True
    while improved:
        improved = False
        for item in stream.shuffled(range(len(assigned))):
            gain = np.zeros(len(assigned), dtype=np.int64)
            mine = assigned[item]
            for table, cells in zip(tables, margins, strict=True):
                here, there = table[cells[item]], table[cells]
                rows = np.arange(len(assigned))
                change = (
                    -2 * here[mine] + 2 + 2 * here[assigned]
                    - 2 * there[rows, assigned] + 2 + 2 * there[:, mine]
                )  # fmt: skip
                gain += np.where(cells == cells[item], 0, change)
            gain[(assigned == mine) | (groups != groups[item])] = 0
            other = int(np.argmin(gain))
            if gain[other] < 0:
                for table, cells in zip(tables, margins, strict=True):
                    table[cells[item], mine] -= 1
                    table[cells[other], assigned[other]] -= 1
                    table[cells[item], assigned[other]] += 1
                    table[cells[other], mine] += 1
                assigned[item], assigned[other] = assigned[other], mine
                improved = True
    return float(sum(np.sum(table**2) for table in tables))
