"""Spread labels over items as evenly as they go, from a random start.

Where not all combinations of levels fit into the coupons that can be afforded, the next best plan
holds each level equally often in each load, with each level of the other factors, and with each
pair of them.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from quenchbook.plan.streams import Stream

Codes = npt.NDArray[np.int64]

_NEVER: Final = 2**40  # price of a swap that is not allowed


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
    alike = _shared_cells(margins, items)
    apart = np.where(groups[:, None] == groups, 2 * (len(margins) - alike), _NEVER)
    best: Codes | None = None
    best_score = np.inf
    floor = _even_score(margins, label_codes)
    for _ in range(starts):
        assigned = _random_start(label_codes, groups, stream)
        score = _exchange(assigned, alike, apart, stream)
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


def _shared_cells(margins: list[Codes], items: int) -> Codes:
    """In how many margins two items share a cell, shape (items, items)."""
    alike = np.zeros((items, items), dtype=np.int64)
    for cells in margins:
        alike += cells[:, None] == cells
    return alike


def _random_start(labels: Codes, groups: Codes, stream: Stream) -> Codes:
    assigned = np.empty_like(labels)
    for group in range(int(groups.max()) + 1):
        members = np.flatnonzero(groups == group)
        assigned[members] = stream.shuffled(labels[members].tolist())
    return assigned


def _even_score(margins: list[Codes], labels: Codes) -> float:
    """Sum of squared counts when every margin is as even as whole numbers allow."""
    share = np.bincount(labels) / len(labels)
    is_even = np.allclose(share, share[0])

    @functools.cache
    def of_cell(size: int) -> float:
        if is_even:
            low, more = divmod(size, len(share))
            return float(more * (low + 1) ** 2 + (len(share) - more) * low**2)
        return float(np.sum((size * share) ** 2))

    return sum(of_cell(size) for cells in margins for size in np.bincount(cells).tolist())


def _exchange(assigned: Codes, alike: Codes, apart: Codes, stream: Stream) -> float:
    """Swap labels of two items while that makes the margins more even; change `assigned`.

    Parameters
    ----------
    assigned : array, shape (items,)
    alike, apart : array, shape (items, items)
        In how many margins two items share a cell; twice in how many they do not.
    stream : Stream

    Returns
    -------
    float
        Sum of squared counts over the cells of all margins. It is also the sum of `held`, how
        often an item's cells hold its own label, so no table of counts is needed.
    """
    items = np.arange(len(assigned))
    labels = np.arange(assigned.max() + 1)
    held = (labels[:, None] == assigned).astype(np.int64) @ alike  # shape (labels, items)
    own = held[assigned, items]
    improved = True
    while improved:
        improved = False
        for item in stream.shuffled(range(len(assigned))):
            mine = assigned[item]
            half_change = held[assigned, item] - held[mine, item] + held[mine] - own + apart[item]
            other = int(half_change.argmin())
            if half_change[other] < 0:
                theirs, change = assigned[other], alike[other] - alike[item]
                held[mine] += change
                held[theirs] -= change
                assigned[item], assigned[other] = theirs, mine
                own = held[assigned, items]
                improved = True
    return float(own.sum())


def codes_of(values: Sequence[object]) -> list[int]:
    """Number of each value, in the order in which they first occur."""
    known = {value: number for number, value in enumerate(dict.fromkeys(map(str, values)))}
    return [known[str(value)] for value in values]
