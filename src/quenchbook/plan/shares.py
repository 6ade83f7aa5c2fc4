"""How many units each level gets: whole numbers in proportion to the repeats of the levels."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

from quenchbook.study.factors import Factor, Level


def repeats_of(factors: Sequence[Factor], setting: Mapping[str, Level]) -> int:
    """How often a setting is used relative to others: the product over its factors.

    Parameters
    ----------
    factors : sequence of Factor
    setting : mapping of column to level
        A level that is none of the factor's (it does not exist there) counts once.
    """
    return math.prod(
        factor.repeats[factor.levels.index(setting[factor.column])]
        for factor in factors
        if factor.repeats and setting[factor.column] in factor.levels
    )


def shares(
    total: int,
    weights: Sequence[int],
    order: Sequence[int],
    *,
    least: Sequence[int] | None = None,
) -> list[int]:
    """Whole shares of a total, as near to their weights as they go.

    Each share gets its least number first; what is left goes one by one to the share that lags
    behind most (divisor method with 1, 3, 5 ...; Webster 1832, Sainte-Lague 1910), ties in `order`.

    Parameters
    ----------
    total : int
        At least the sum of `least`.
    weights : sequence of int, shape (shares,)
    order : sequence of int, shape (shares,)
        Numbers of the shares in the order in which ties are broken.
    least : sequence of int, optional
        1 for each while the total is enough for that, else 0.

    Returns
    -------
    list of int

    Examples
    --------
    >>> shares(10, [2, 1, 2], [0, 1, 2])
    [4, 2, 4]
    >>> shares(4, [1, 1, 1], [2, 0, 1])
    [1, 1, 2]
    """
    enough = 1 if total >= len(weights) else 0
    counts = list(least) if least is not None else [enough] * len(weights)
    for _ in range(total - sum(counts)):
        lagging = max(order, key=lambda own: Fraction(weights[own], 2 * counts[own] + 1))
        counts[lagging] += 1
    return counts
