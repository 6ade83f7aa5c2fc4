"""Growth of a coupon when austenite becomes martensite in the cold: a micrometer reads it."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.metallurgy.expected import Array, Expected

AUSTENITE_CARBON: Final = (0.6, 0.8)  # carbon held in the austenite of usual tool steels [%]
MICROMETER_MM: Final = 0.002  # either way, each of the two readings: common practice, no source
GROWTH_SOURCE: Final = "volume of austenite to martensite +(4.64 - 0.53 C) %, handbook, from memory"


def growth_share(carbon: ArrayLike) -> Array:
    """Growth in length when all of a piece turns from austenite to martensite, as a share.

    The cube root of the volume growth of (4.64 - 0.53 C) %: the same in all directions.

    Parameters
    ----------
    carbon : array_like
        Carbon dissolved in the austenite, not that of the steel [mass per cent].

    >>> print(np.round(60 * 10 * growth_share([0.6, 0.8]), 1))  # um for 1 % on 60 mm
    [8.5 8.3]
    """
    volume = (4.64 - 0.53 * np.asarray(carbon, dtype=float)) / 100
    return np.asarray(np.cbrt(1 + volume) - 1)


def transformed_austenite(
    length_before_mm: ArrayLike,
    length_after_mm: ArrayLike,
    *,
    micrometer_mm: float = MICROMETER_MM,
    carbon: tuple[float, float] = AUSTENITE_CARBON,
) -> Expected:
    """Austenite that became martensite between two length readings [% of the coupon].

    Parameters
    ----------
    length_before_mm, length_after_mm : array_like, shape (n,)
        Length at one and the same temperature, before and after the cold step [mm].
    micrometer_mm : float
        What each reading may be wrong, either way [mm].
    carbon : tuple of float
        Lowest and highest carbon that the austenite may hold [mass per cent].

    Returns
    -------
    Expected
        Per cent of the whole coupon. An end of the range below zero means that nothing may have
        transformed. No temper may lie between the readings: it shortens martensite.

    Notes
    -----
    The two readings are wrong independently, so their difference is wrong by the root of two times
    `micrometer_mm`. Growth is taken to be the same along and across the bar; no number for its
    direction was found, so none is in the range.
    """
    before = np.asarray(length_before_mm, dtype=float)
    grown = (np.asarray(length_after_mm, dtype=float) - before) / before
    unsure = np.sqrt(2.0) * micrometer_mm / before
    shares = 100 / growth_share(np.asarray(carbon))
    ends = np.stack([(grown + way * unsure) * share for way in (-1, 1) for share in shares])
    value = grown * shares.mean()
    return Expected(
        value, ends.min(axis=0), ends.max(axis=0), GROWTH_SOURCE,
        f"austenite with {carbon[0]:g} to {carbon[1]:g} % C; one temperature, no temper between",
        standing="measured",
    )  # fmt: skip
