"""Which columns of a model the columns before them already tell."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from quenchbook.plan.coordinates import Array


def dependent_terms(rows: Array, names: Sequence[str]) -> tuple[str, ...]:
    """Terms with a column that the columns before it already tell.

    Parameters
    ----------
    rows : ndarray, shape (rows, p)
    names : sequence of str, shape (p,)
        Term of each column; without names, columns are numbered.

    Returns
    -------
    tuple of str
        Each once, in the order of the columns; empty when all can be estimated.
    """
    basis: list[Array] = []
    found: list[str] = []
    for place, column in enumerate(rows.T):
        left = column.astype(float)
        for _ in range(2):  # twice, so that rounding of the first round is gone
            for known in basis:
                left = left - known * (known @ left)
        size = float(np.linalg.norm(left))
        if size > 1e-7 * max(float(np.linalg.norm(column)), 1e-12):
            basis.append(left / size)
        else:
            found.append(names[place] if names else f"column {place + 1}")
    return tuple(dict.fromkeys(found))
