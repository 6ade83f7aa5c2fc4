"""Rockwell C to Vickers and back, through the published table only, and for reading only.

A converted number never goes into an analysis: the two scales press different shapes at different
depths, so the relation depends on the steel, and equal steps on one scale are not equal steps on
the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array
from quenchbook.shown import ShowsItself
from quenchbook.units import number_text, with_unit

SOURCE: Final = "ASTM E140 Table 1"
READING_ONLY: Final = "for reading only: converted values are an indication"
LOWEST_HRC: Final = 20
HIGHEST_HRC: Final = 68
# ASTM E140 Table 1, HRC 20 to 68 in steps of one (a stored copy of the whole table; 25 rows equal
# in a second copy).
_VICKERS: Final = (
    238, 243, 248, 254, 260, 266, 272, 279, 286, 294, 302, 310, 318, 327, 336, 345, 354, 363, 372,
    382, 392, 402, 412, 423, 434, 446, 458, 471, 484, 498, 513, 528, 544, 560, 577, 595, 613, 633,
    653, 674, 697, 720, 746, 772, 800, 832, 865, 900, 940,
)  # fmt: skip
_ROCKWELL: Final = np.arange(LOWEST_HRC, HIGHEST_HRC + 1, dtype=float)


@dataclass(frozen=True, eq=False, repr=False)
class ConvertedHardness(ShowsItself):
    """Hardness numbers of one scale beside those of another that a table gives for them.

    Attributes
    ----------
    given, converted : ndarray, shape (n,)
        As measured, and as the table gives it; linear between its rows.
    given_scale, converted_scale : str
        ``HRC`` or ``HV``.
    note : str
        What the numbers may be used for.
    source : str
    """

    given: Array
    converted: Array
    given_scale: str
    converted_scale: str
    note: str = READING_ONLY
    source: str = SOURCE

    def to_frame(self) -> pd.DataFrame:
        """Return a new frame with ``hardness_hrc`` and ``hardness_hv``, as measured first."""
        names = {"HRC": "hardness_hrc", "HV": "hardness_hv"}
        return pd.DataFrame(
            {names[self.given_scale]: self.given, names[self.converted_scale]: self.converted}
        )

    def summary(self) -> str:
        """Say the conversions in words; Vickers in whole numbers, as the standard asks."""
        decimals = {"HRC": 1, "HV": 0}
        pairs = [
            f"{with_unit(f'{given:g}', self.given_scale)} is about "
            f"{with_unit(number_text(found, decimals[self.converted_scale]), self.converted_scale)}"
            for given, found in zip(self.given, self.converted, strict=True)
        ]
        return f"{'; '.join(pairs)} ({self.source}; {self.note})."

    def __repr__(self) -> str:
        count = len(self.given)
        return f"<ConvertedHardness {self.given_scale} to {self.converted_scale}: {count} values>"


def vickers_hardness(hardness_hrc: ArrayLike) -> ConvertedHardness:
    """Vickers hardness that the published table gives for Rockwell C.

    Parameters
    ----------
    hardness_hrc : array_like, shape (n,) or ()
        Rockwell hardness, 20 to 68 [HRC].

    Returns
    -------
    ConvertedHardness

    Raises
    ------
    EstimabilityError
        Below 20 HRC, where the scale is not used, and above 68, where the table ends.

    References
    ----------
    ASTM E140 Table 1, linear interpolation between whole Rockwell numbers.

    >>> vickers_hardness([60.0, 60.5]).converted
    array([697. , 708.5])
    """
    given = _given(hardness_hrc, "HRC", LOWEST_HRC, HIGHEST_HRC)
    return ConvertedHardness(given, np.interp(given, _ROCKWELL, _VICKERS), "HRC", "HV")


def rockwell_hardness(hardness_hv: ArrayLike) -> ConvertedHardness:
    """Rockwell C that the published table gives for Vickers hardness.

    Parameters
    ----------
    hardness_hv : array_like, shape (n,) or ()
        Vickers hardness, 238 to 940 [HV].

    Returns
    -------
    ConvertedHardness

    Raises
    ------
    EstimabilityError
        Outside the table.

    References
    ----------
    ASTM E140 Table 1, linear interpolation between whole Rockwell numbers.
    """
    given = _given(hardness_hv, "HV", _VICKERS[0], _VICKERS[-1])
    return ConvertedHardness(given, np.interp(given, _VICKERS, _ROCKWELL), "HV", "HRC")


def _given(values: ArrayLike, scale: str, low: float, high: float) -> Array:
    """Values that stand in the table; the others are named and refused."""
    given = np.atleast_1d(np.asarray(values, dtype=float))
    outside = given[~((given >= low) & (given <= high))]
    if outside.size:
        why = "below 20 HRC the scale is not used" if scale == "HRC" else "20 HRC is its lower end"
        raise EstimabilityError(
            f"{outside[0]:g} {scale} cannot be converted: {SOURCE} holds {low:g} to {high:g} "
            f"{scale}; {why}, and above 68 HRC there is no published value. Test it on the scale "
            "that is asked for."
        )
    return given
