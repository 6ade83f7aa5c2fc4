"""Where martensite starts to form, and how much austenite is left when cooling ends.

Every composition here is that of the *austenite*. The composition of a steel with undissolved
carbide (the mill sheet of a tool steel) never belongs into these equations: the carbon that is held
in carbide does not lower the martensite start. On seven selected published steels the computed
austenite gave the martensite start to 23 °C (root mean square), the whole steel in the same
equation to 106 °C.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array, Expected

Formula = Literal["van Bohemen 2012", "Barbier 2014"]

# constant [degC], amplitude [degC] and rate [1/%] of carbon, then degC for each per cent
_COEFFICIENTS: Final[Mapping[str, tuple[float, float, float, Mapping[str, float]]]] = {
    "van Bohemen 2012": (
        565.0, 600.0, 0.96, {"Mn": 31.0, "Si": 13.0, "Cr": 10.0, "Ni": 18.0, "Mo": 12.0},
    ),
    "Barbier 2014": (
        545.0, 601.2, 0.868, {"Mn": 34.4, "Si": 13.7, "Cr": 9.2, "Ni": 17.3, "Mo": 15.4},
    ),
}  # fmt: skip
_SOURCES: Final[Mapping[str, str]] = {
    "van Bohemen 2012": "van Bohemen, Mater. Sci. Technol. 28 (2012) 487",
    "Barbier 2014": "Barbier, Adv. Eng. Mater. 16 (2014) 122",
}

# nine of ten of 105 published martensite starts of austenite with 0.6 % C or more lie this near
START_RANGE_C: Final = 45.0

ROOM_C: Final = 20.0
RATE: Final = 0.011  # Koistinen and Marburger (1959), 0.37 to 1.1 % C [1/K]
RATE_RANGE: Final = (0.009, 0.014)  # austenite of hardened tool steels [1/K]
RATIO_RATE_RANGE: Final = (0.008, 0.020)  # any steel; 0.020 is a low-carbon value [1/K]
RETAINED_FACTOR: Final = 2.0  # absolute retained austenite is known to about this factor
COLDEST_LEFT: Final = 0.05  # austenite that may be left even after liquid nitrogen
_KM_SOURCE: Final = "Koistinen and Marburger, Acta Metall. 7 (1959) 59"
_KM_COLDEST_C: Final = -80.0  # the equation is said to hold down to here [from memory]


def martensite_start(
    austenite: Mapping[str, ArrayLike], *, formula: Formula = "van Bohemen 2012"
) -> Expected:
    """Martensite start of an austenite [degC].

    Ms = 565 - 600 (1 - exp(-0.96 C)) - 31 Mn - 13 Si - 10 Cr - 18 Ni - 12 Mo (van Bohemen), or
    Ms = 545 - 601.2 (1 - exp(-0.868 C)) - 34.4 Mn - 13.7 Si - 9.2 Cr - 17.3 Ni - 15.4 Mo (Barbier;
    its terms for V, Co, Cu and Nb are known from memory only and left out).

    Parameters
    ----------
    austenite : mapping of element to array, shape (n,) or ()
        Composition of the austenite, not of the steel [mass per cent]; carbon is needed, a missing
        element is none. Elements without a term are passed over.
    formula : str
        ``van Bohemen 2012`` or ``Barbier 2014``.

    Returns
    -------
    Expected
        Value with a range of 45 °C either way [degC].

    Raises
    ------
    EstimabilityError
        If the carbon is not told.

    Notes
    -----
    Against 105 published martensite starts of austenite with 0.6 to 2 % C the root mean square
    error is 37 °C (van Bohemen) and 36 °C (Barbier). Compared for 0.1 to 2 % C, Cr below 14,
    Ni below 10, Mn below 6 %. Austenite with more than 0.5 % C and more than 2 % Cr is an
    extrapolation for every formula; see `is_extrapolated`.

    Examples
    --------
    >>> start = martensite_start({"C": 1.0, "Cr": 1.45, "Mn": 0.35, "Si": 0.25})
    >>> round(float(start.value), 1), round(float(start.low)), round(float(start.high))
    (166.1, 121, 211)
    """
    if "C" not in austenite:
        raise EstimabilityError(
            "The carbon of the austenite is not told. Give C in mass per cent, dissolved in the "
            "austenite at the austenitize temperature."
        )
    constant, amplitude, rate, slopes = _COEFFICIENTS[formula]
    carbon = np.asarray(austenite["C"], dtype=float)
    start = constant - amplitude * (1.0 - np.exp(-rate * carbon))
    for element, slope in slopes.items():
        start = start - slope * np.asarray(austenite.get(element, 0.0), dtype=float)
    return Expected(start, start - START_RANGE_C, start + START_RANGE_C, _SOURCES[formula])


def is_extrapolated(austenite: Mapping[str, ArrayLike]) -> Array:
    """Where no formula rests on measured steels: more than 0.5 % C with more than 2 % Cr.

    Parameters
    ----------
    austenite : mapping of element to array, shape (n,) or ()
        Composition of the austenite [mass per cent].

    Returns
    -------
    ndarray of bool, shape (n,) or ()
    """
    carbon = np.asarray(austenite["C"], dtype=float)
    chromium = np.asarray(austenite.get("Cr", 0.0), dtype=float)
    return np.asarray((carbon >= 0.5) & (chromium >= 2.0))


def retained_fraction(start_c: ArrayLike, coldest_c: ArrayLike, rate: ArrayLike = RATE) -> Array:
    """Share of the austenite that is left: exp(-rate (Ms - T)), and 1 where T is above Ms.

    Parameters
    ----------
    start_c : array
        Martensite start [degC].
    coldest_c : array
        Coldest temperature reached [degC].
    rate : array
        Rate of the transformation [1/K].

    Returns
    -------
    ndarray
        Share of the austenite present above the martensite start, not of the steel.

    References
    ----------
    Koistinen and Marburger, Acta Metall. 7 (1959) 59; steels with 0.37 to 1.1 % C; said to hold
    down to about -80 °C [from memory].

    Examples
    --------
    >>> float(retained_fraction(200.0, 20.0))
    0.138
    """
    below = np.maximum(np.asarray(start_c, dtype=float) - np.asarray(coldest_c, dtype=float), 0.0)
    return np.asarray(np.exp(-np.asarray(rate, dtype=float) * below))


def cold_ratio(cold_c: float) -> Expected:
    """Austenite left after a cold step over that left at 20 °C: exp(-rate (20 - T)).

    It does not depend on the martensite start while that lies above 20 °C.

    Parameters
    ----------
    cold_c : float
        Temperature of the cold step [degC]; 20 °C or warmer changes nothing.

    Returns
    -------
    Expected
        Ratio, with its range for rates of 0.008 to 0.020 1/K. Below about -80 °C the equation is
        an extrapolation, and the ends of the share that is left are set by `retained_austenite`.

    Examples
    --------
    >>> ratio = cold_ratio(-78.0)
    >>> round(float(ratio.low), 2), round(float(ratio.value), 2), round(float(ratio.high), 2)
    (0.14, 0.34, 0.46)
    """
    slow, fast = RATIO_RATE_RANGE
    value, low, high = (
        retained_fraction(ROOM_C, min(cold_c, ROOM_C), rate) for rate in (RATE, fast, slow)
    )
    return Expected(value, low, high, _KM_SOURCE)


def retained_austenite(start: Expected, cold_c: float = ROOM_C) -> Expected:
    """Share of the austenite that is left after quench and cold step, as a range.

    At 20 °C the range joins two: rates of 0.009 to 0.014 1/K over the range of the martensite
    start, and a factor of two either way. A cold step multiplies it by `cold_ratio`, end by end.
    Below -80 °C the range always holds 0 to 5 %: the equation is a lower bound there.

    Parameters
    ----------
    start : Expected
        Martensite start [degC].
    cold_c : float
        Coldest temperature reached [degC]; 20 °C for a quench without a cold step.

    Returns
    -------
    Expected
        Share of the austenite, not of the steel: multiply by one less the share of carbide.

    Notes
    -----
    The absolute share is known to a factor of about two only: a thesis on 52100 reports 10 to 55 %
    after 825 to 1000 °C where the chain of equations gives 12 to 20 %. A delay before the cold step
    can keep more austenite; no numbers for that could be found, so none are in the range.
    """
    slow, fast = RATE_RANGE
    value = retained_fraction(start.value, ROOM_C)
    low = np.minimum(retained_fraction(start.high, ROOM_C, fast), value / RETAINED_FACTOR)
    high = np.maximum(retained_fraction(start.low, ROOM_C, slow), value * RETAINED_FACTOR)
    ratio = cold_ratio(cold_c)
    value, low, high = value * ratio.value, low * ratio.low, high * ratio.high
    if cold_c < _KM_COLDEST_C:
        low, high = np.zeros_like(low), np.maximum(high, COLDEST_LEFT)
    return Expected(value, low, np.minimum(high, 1.0), _KM_SOURCE)
