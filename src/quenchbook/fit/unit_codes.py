"""Units as whole-number codes of the coupons: their means, and which are nested or crossed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from quenchbook.study.terms import Array

Codes = npt.NDArray[np.int64]


def group_means(values: Array, codes: Codes) -> Array:
    """Mean of the rows of each group, shape (groups, columns)."""
    from scipy import sparse

    ones = np.ones(len(codes))
    shape = (int(codes.max()) + 1, len(codes))
    sums = sparse.csr_array((ones, (codes, np.arange(len(codes)))), shape=shape) @ values
    return np.asarray(sums) / np.bincount(codes)[:, None]


def connected_sets(first: Codes, second: Codes) -> Codes:
    """Connected set of each unit of `second` when units share coupons with units of `first`."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    n, m = int(first.max()) + 1, int(second.max()) + 1
    graph = coo_array((np.ones(len(first)), (first, n + second)), shape=(n + m, n + m))
    labels = connected_components(graph, directed=False)[1]
    return np.unique(labels[n:], return_inverse=True)[1].astype(np.int64)


def nested_chain(codes: Mapping[str, Codes]) -> tuple[list[str], list[str]]:
    """Nested units from coarse to fine, and the units crossed with them."""
    ordered = sorted(codes, key=lambda unit: int(codes[unit].max()))
    best: list[str] = []
    for start in ordered:
        chain = [start]
        for unit in ordered:
            finer = int(codes[unit].max()) > int(codes[chain[-1]].max())
            if finer and is_nested(codes[unit], codes[chain[-1]]):
                chain.append(unit)
        if len(chain) > len(best):
            best = chain
    return best, [unit for unit in ordered if unit not in best]


def is_nested(inner: Codes, outer: Codes) -> bool:
    """Whether each inner unit lies in one outer unit."""
    return len(np.unique(np.column_stack([inner, outer]), axis=0)) == int(inner.max()) + 1


def are_crossed(one: Codes, two: Codes) -> bool:
    """Whether neither unit is nested in the other."""
    return not is_nested(one, two) and not is_nested(two, one)


def same_partition(codes: Mapping[str, Codes]) -> dict[str, str]:
    """Units that group the coupons exactly as an earlier unit does."""
    merged: dict[str, str] = {}
    names = list(codes)
    for place, unit in enumerate(names):
        for earlier in names[:place]:
            same = int(codes[unit].max()) == int(codes[earlier].max())
            if earlier not in merged and same and is_nested(codes[unit], codes[earlier]):
                merged[unit] = earlier
                break
    return merged
