"""Named random streams that do not depend on a library's version.

Only the raw output of the PCG64 bit generator is used; its stream is fixed by definition. Every
step of a plan draws from its own stream, so adding a step never changes the others.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from typing import TypeVar

import numpy as np
import numpy.typing as npt

T = TypeVar("T")

BIT_GENERATOR = "PCG64"


class Stream:
    """Random draws of one step of a plan.

    Parameters
    ----------
    seed : int or SeedSequence
        Seed of the study's plan; or a seed that was made elsewhere, such as that of repeated work.
    name : str
        Name of the step of a plan, such as ``"furnace order"``.
    """

    def __init__(self, seed: int | np.random.SeedSequence, name: str = "") -> None:
        if not isinstance(seed, np.random.SeedSequence):
            seed = np.random.SeedSequence([seed, zlib.crc32(name.encode("utf-8"))])
        self._bits = np.random.PCG64(seed)

    def below(self, bound: int) -> int:
        """Draw a whole number from 0 to bound - 1, each equally likely."""
        limit = 2**64 - 2**64 % bound
        while (raw := int(self._bits.random_raw())) >= limit:
            pass
        return raw % bound

    def shuffled(self, items: Sequence[T]) -> list[T]:
        """Return the items in random order, every order equally likely (Fisher and Yates)."""
        order = list(items)
        for last in range(len(order) - 1, 0, -1):
            other = self.below(last + 1)
            order[last], order[other] = order[other], order[last]
        return order

    def keys(self, rows: int, columns: int) -> npt.NDArray[np.uint64]:
        """Draw whole numbers of 64 bits; sorting a row of them gives a random order.

        Every order is equally likely but for ties, which have a chance below ``columns**2 / 2**65``
        in a row.
        """
        return np.asarray(self._bits.random_raw(rows * columns)).reshape(rows, columns)

    def normal(self, mean: float, sd: float, size: tuple[int, ...]) -> npt.NDArray[np.float64]:
        """Draw normal numbers: 53 random bits each, through the inverse of the distribution.

        >>> Stream(1, "noise").normal(0.0, 1.0, (2, 3)).shape
        (2, 3)
        """
        from scipy import special

        raw = np.asarray(self._bits.random_raw(int(np.prod(size)))) >> np.uint64(11)
        shares = (raw.astype(np.float64) + 0.5) * 2.0**-53  # never 0 nor 1
        return np.asarray(mean + sd * special.ndtri(shares), dtype=np.float64).reshape(size)
