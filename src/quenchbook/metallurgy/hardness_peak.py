"""Where the hardest austenitize temperature is expected, without and with a cold step.

More heat dissolves more carbon, which hardens the martensite, and leaves less carbide and more soft
austenite; the two balance at the peak. The computed curve is flat (A2: at most 0.2 HRC between 950
and 1000 °C), so the peak is a region. Only its place is told here, never the hardness.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from quenchbook.metallurgy.austenite import Austenite
from quenchbook.metallurgy.expected import Array
from quenchbook.metallurgy.martensite import RATE, RATE_RANGE, ROOM_C
from quenchbook.metallurgy.quenched_hardness import (
    AUSTENITE_HV,
    AUSTENITE_HV_RANGE,
    mixture_vickers,
)
from quenchbook.units import interval_text, number_text, with_unit

_START_SHIFT_C: Final = 40.0
CHROMIUM_MOST: Final = 8.0  # above, the chain leaves too little austenite [mass per cent]
_DISSOLVED: Final = 0.001  # share of carbide below which nothing more is to be dissolved
_REGION_STEP_C: Final = 5.0  # ends of a region are rounded outward to this
_SHIFT_STEP_C: Final = 10.0

_MIDDLE: Final = (0.0, AUSTENITE_HV, RATE)
_CORNERS: Final = tuple(
    itertools.product((-_START_SHIFT_C, _START_SHIFT_C), AUSTENITE_HV_RANGE, RATE_RANGE)
)


@dataclass(frozen=True)
class PeakRegion:
    """Region in which the hardest austenitize temperature is expected.

    Attributes
    ----------
    cold_c : float
        Coldest temperature of the route [degC]; 20 without a cold step.
    centre_c : float or None
        Middle of the expectation [degC]; None when hardness is expected to rise until no carbide is
        left, or when nothing is known.
    low_c, high_c : float or None
        Ends of the region [degC], rounded outward; None when nothing is known.
    low_open, high_open : bool
        Whether the region may go on beyond its end.
    reason : str
        Why there is no centre; empty when there is one.
    """

    cold_c: float
    centre_c: float | None = None
    low_c: float | None = None
    high_c: float | None = None
    low_open: bool = False
    high_open: bool = False
    reason: str = ""

    @property
    def known(self) -> bool:
        """Whether a region can be told."""
        return self.low_c is not None and self.high_c is not None

    def range_words(self) -> str:
        """Ends of the region: ``920 to 1030 °C``, ``1045 °C or more``."""
        if self.low_c is None or self.high_c is None:
            return "not known"
        low, high = number_text(self.low_c, 0), number_text(self.high_c, 0)
        if self.low_open:
            low = f"{with_unit(low, 'degC')} or less"
        if self.high_open and self.centre_c is None:
            return f"{with_unit(low, 'degC')} or more"
        return f"{low} to {with_unit(high, 'degC')}" + (" or more" if self.high_open else "")

    def words(self) -> str:
        """Middle and ends of the region: ``980 °C (920 to 1030 °C)``."""
        if self.centre_c is None:
            return self.range_words()
        return f"{with_unit(number_text(self.centre_c, 0), 'degC')} ({self.range_words()})"


@dataclass(frozen=True)
class PeakShift:
    """How far a cold step is expected to move the peak up.

    Attributes
    ----------
    cold_c : float
        Temperature of the cold step [degC].
    low_delta_c, high_delta_c : float
        Least and most, rounded outward [degC].
    """

    cold_c: float
    low_delta_c: float
    high_delta_c: float

    def words(self) -> str:
        """Range in words: ``30 to 80 °C``."""
        return with_unit(interval_text(self.low_delta_c, self.high_delta_c, 0), "degC")


def peak_region(austenites: Sequence[Austenite], cold_c: float = ROOM_C) -> PeakRegion:
    """Region of the hardness peak after a quench and a cold step.

    Hardness = carbide + (1 - carbide) [(1 - RA) (884 C (1 - 0.3 C^2) + 294) + RA HV_RA], with C of
    the austenite up to 1, and RA by Koistinen and Marburger. The region spans the peaks of eight
    combinations: martensite start 40 °C lower and higher, HV of austenite 300 and 500, rate 0.009
    and 0.014 1/K.

    Parameters
    ----------
    austenites : sequence of Austenite
        What the steel can have, from `possible_austenites`.
    cold_c : float
        Coldest temperature of the route [degC].

    Returns
    -------
    PeakRegion
        Without ends above 8 % Cr in the steel, where the computed peak lies 70 to 85 °C too hot.

    References
    ----------
    Martensite: Yurioka (1987) [from memory], stated below 0.8 % C and used to 1 % here. Hardness of
    carbides and austenite from memory. A prior only: compared with hardening ranges, not with
    measured peaks.
    """
    if chromium := _too_much_chromium(austenites):
        return PeakRegion(
            cold_c,
            reason=f"above about {CHROMIUM_MOST:.0f} % chromium (here "
            f"{number_text(chromium, 1)} %) the equations place the peak far too hot",
        )
    centre = float(np.mean([_peak_c(own, cold_c, *_MIDDLE) for own in austenites]))
    peaks = _corner_peaks(austenites, cold_c).ravel()
    start = austenites[0].limits_c[0]
    last, gone = _dissolution_c(austenites[0])
    # the table has no rows inside the last stretch before the carbides are gone
    high_open = bool(peaks.max() > last)
    low = min(math.floor(peaks.min() / _REGION_STEP_C) * _REGION_STEP_C, last)
    high = gone if high_open else math.ceil(peaks.max() / _REGION_STEP_C) * _REGION_STEP_C
    level = centre > last
    return PeakRegion(
        cold_c,
        None if level else round(centre),
        max(low, start),
        high,
        low_open=bool(peaks.min() <= start),
        high_open=high_open,
        reason=f"hardness is expected to rise until no carbide is left, near "
        f"{with_unit(number_text(gone, 0), 'degC')}, and to stay level above"
        if level
        else "",
    )


def peak_shift(austenites: Sequence[Austenite], cold_c: float) -> PeakShift | None:
    """How far a cold step moves the peak up; None where the peaks cannot all be placed.

    Parameters
    ----------
    austenites : sequence of Austenite
    cold_c : float
        Temperature of the cold step [degC].

    Returns
    -------
    PeakShift or None
        Range over the combinations of `peak_region`, each compared with itself; None above 8 % Cr,
        and where a peak without cold lies at the full dissolution of the carbides.
    """
    if _too_much_chromium(austenites) or cold_c >= ROOM_C:
        return None
    room = _corner_peaks(austenites, ROOM_C)
    if room.max() > _dissolution_c(austenites[0])[0]:
        return None
    shifts = _corner_peaks(austenites, cold_c) - room
    low = math.floor(shifts.min() / _SHIFT_STEP_C) * _SHIFT_STEP_C
    high = math.ceil(shifts.max() / _SHIFT_STEP_C) * _SHIFT_STEP_C
    return PeakShift(cold_c, low, high)


def _too_much_chromium(austenites: Sequence[Austenite]) -> float:
    chromium = austenites[0].steel.get("Cr", 0.0)
    return chromium if chromium > CHROMIUM_MOST else 0.0


def _dissolution_c(austenite: Austenite) -> tuple[float, float]:
    """Last temperature of the table with carbide, first without; both its end if never."""
    carbide = np.sum(list(austenite.carbides.values()), axis=0)
    with_carbide = np.flatnonzero(carbide >= _DISSOLVED)
    last = int(with_carbide[-1]) if with_carbide.size else 0
    first = min(last + 1, len(carbide) - 1)
    return float(austenite.temperature_c[last]), float(austenite.temperature_c[first])


def _corner_peaks(austenites: Sequence[Austenite], cold_c: float) -> Array:
    return np.array([[_peak_c(own, cold_c, *corner) for corner in _CORNERS] for own in austenites])


def _peak_c(
    austenite: Austenite, cold_c: float, start_shift_c: float, austenite_hv: float, rate: float
) -> float:
    """Hardest austenitize temperature of one combination, to 1 °C [degC]."""
    low, high = austenite.limits_c
    temperature = np.arange(low, high + 0.5)
    hardness = mixture_vickers(
        austenite,
        temperature,
        cold_c,
        start_shift_c=start_shift_c,
        austenite_hv=austenite_hv,
        rate=rate,
    )
    return float(temperature[np.argmax(hardness)])
