"""What repeated work is asked to do, and the parts in which it is sent out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from numbers import Integral
from typing import Any, Final

from quenchbook.errors import RepeatedWorkError
from quenchbook.work_backends import BACKENDS, Item

PART_SECONDS: Final = 1.0
"""Work sent at once: against the 2 ms that dask takes for a task, and little to lose."""


def items_of(count_or_items: Any) -> Sequence[Any]:
    """Return the items; numbers from 0 where it is told how many there are.

    Parameters
    ----------
    count_or_items : int or sequence

    Raises
    ------
    RepeatedWorkError
        If it is neither: a generator or a set gives no items by number.

    >>> items_of(3)
    range(0, 3)
    """
    if isinstance(count_or_items, Integral):
        count = int(count_or_items)
        if count < 0:
            raise RepeatedWorkError(f"The number of items is {count}. Write a whole number from 0.")
        return range(count)
    numbered = hasattr(count_or_items, "__len__") and hasattr(count_or_items, "__getitem__")
    if not numbered or isinstance(count_or_items, Mapping | str | bytes):
        raise RepeatedWorkError(
            f"The items are a {type(count_or_items).__name__}. Give a sequence, such as a list, or "
            "a whole number: how many there are."
        )
    items: Sequence[Any] = count_or_items
    return items


def check_options(seed: Any, backend: str | None, workers: Any, chunk: Any) -> None:
    """Refuse options of repeated work that make no sense."""
    if backend is not None and backend not in BACKENDS:
        raise RepeatedWorkError(
            f"backend is {backend!r}. Write one of {', '.join(BACKENDS)}, or leave it out."
        )
    if not isinstance(seed, Integral) or seed < 0:
        raise RepeatedWorkError(f"seed is {seed}. Write a whole number from 0.")
    for name, value in (("workers", workers), ("chunk", chunk)):
        if value is not None and (not isinstance(value, Integral) or value < 1):
            raise RepeatedWorkError(f"{name} is {value}. Write a whole number from 1.")


def part_size(count: int, seconds: float, workers: int) -> int:
    """Items to send at once: about a second of work, and two parts for each worker at least.

    Parameters
    ----------
    count : int
        Items that are left.
    seconds : float
        Work that one item takes [s].
    workers : int

    >>> part_size(2000, 0.01, 2), part_size(20, 0.01, 2), part_size(20, 30.0, 2)
    (100, 5, 1)
    """
    longest = max(1, round(PART_SECONDS / max(seconds, 1e-6)))
    return max(1, min(longest, math.ceil(count / (2 * workers)) if workers > 1 else longest))


def parted(items: Sequence[Item], size: int) -> list[Sequence[Item]]:
    """Return the items in parts of a size; the last one may be smaller.

    >>> parted([(0, "a"), (1, "b"), (2, "c")], 2)
    [[(0, 'a'), (1, 'b')], [(2, 'c')]]
    """
    return [items[start : start + size] for start in range(0, len(items), size)]
