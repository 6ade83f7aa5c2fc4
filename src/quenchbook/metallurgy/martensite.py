"""Where martensite starts to form, and how much austenite is left when cooling ends.

Every composition here is that of the *austenite*. The composition of a steel with undissolved
carbide (the mill sheet of a tool steel) never belongs into these equations: the carbon that is held
in carbide does not lower the martensite start. On seven selected published steels the computed
austenite gave the martensite start to 23 °C (root mean square), the whole steel in the same
equation to 106 °C.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array, Expected
from quenchbook.metallurgy.martensite_formulas import FORMULAS, Formula
from quenchbook.units import number_text

# nine of ten of 105 published martensite starts of austenite with 0.6 % C or more lie this near
START_RANGE_C: Final = 45.0

ROOM_C: Final = 20.0
RATE: Final = 0.011  # Koistinen and Marburger (1959), 0.37 to 1.1 % C [1/K]
RATE_RANGE: Final = (0.009, 0.014)  # austenite of hardened tool steels [1/K]
RATIO_RATE_RANGE: Final = (0.008, 0.020)  # any steel; 0.020 is a low-carbon value [1/K]
RETAINED_FACTOR: Final = 2.0  # absolute retained austenite is known to about this factor
COLDEST_LEFT: Final = 0.05  # austenite that may be left even after liquid nitrogen
_KM_SOURCE: Final = "Koistinen and Marburger, Acta Metall. 7 (1959) 59"
_KM_VALIDITY: Final = (
    "0.37 to 1.1 % C, down to about -80 °C [from memory]; the share of the austenite, absolute to "
    "a factor of about two; no delay before the cold step"
)
_COLD_FLAG: Final = "colder than about -80 °C, where martensite also forms with time"
_KM_COLDEST_C: Final = -80.0  # the equation is said to hold down to here [from memory]


def martensite_start(
    austenite: Mapping[str, ArrayLike], *, formula: Formula = "van Bohemen 2012"
) -> Expected:
    """Martensite start of an austenite [degC].

    The default is Ms = 565 - 600 (1 - exp(-0.96 C)) - 31 Mn - 13 Si - 10 Cr - 18 Ni - 12 Mo of van
    Bohemen; the others stand in `FORMULAS` of `metallurgy.martensite_formulas`.

    Parameters
    ----------
    austenite : mapping of element to array, shape (n,) or ()
        Composition of the austenite, not of the steel [mass per cent]; carbon is needed, a missing
        element is none. Elements without a term are passed over.
    formula : str
        One of `FORMULAS`.

    Returns
    -------
    Expected
        Value with its range [degC]: 45 °C either way inside the limits of the formula, more beyond
        them. `flags` say which limit is passed.

    Raises
    ------
    EstimabilityError
        If the carbon is not told, or is not from 0 to below 7 % (no austenite).

    Notes
    -----
    Against 105 published martensite starts of austenite with 0.6 to 2 % C the root mean square
    error is 37 °C (van Bohemen), 36 °C (Barbier), 103 °C (Andrews, linear) and 132 °C (Steven and
    Haynes); the last two are kept for less than 0.6 and 0.55 % C. Austenite with 0.5 % C or more
    and 2 % Cr or more is nearly an extrapolation for every formula; see `is_extrapolated`.

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
    if formula not in FORMULAS:
        raise EstimabilityError(
            f"'{formula}' is not a formula for the martensite start. Known: {', '.join(FORMULAS)}."
        )
    own = FORMULAS[formula]
    composition = {element: np.asarray(x, dtype=float) for element, x in austenite.items()}
    carbon = composition["C"]
    if not np.all((carbon >= 0) & (carbon < 7)):
        raise EstimabilityError(f"Carbon of {carbon} mass per cent is no austenite.")
    start = own.start_c(composition)
    chromium = composition.get("Cr", np.zeros(()))
    rich, alloyed = carbon >= own.carbon_most, chromium > own.chromium_most
    beyond = np.where(rich | alloyed, own.range_beyond_c, own.range_c)
    flags = []
    if np.any(rich):
        flags.append(f"carbon of {number_text(own.carbon_most)} % or more")
    if np.any(alloyed):
        flags.append(f"chromium above {number_text(own.chromium_most)} %")
    if np.any(is_extrapolated(composition)):
        flags.append(
            "0.5 % carbon or more with 2 % chromium or more, where hardly any start was measured"
        )
    validity = (
        f"austenite with less than {number_text(own.carbon_most)} % C, to "
        f"{number_text(own.chromium_most)} % Cr; never the composition of a steel with carbides"
    )
    return Expected(start, start - beyond, start + beyond, own.source, validity, tuple(flags))


def transformation_rate(austenite: Mapping[str, ArrayLike]) -> Expected:
    """Rate of Koistinen and Marburger's equation by the composition of the austenite [1/K].

    1e-3 (27.2 - 0.14 Mn - 0.21 Si - 0.11 Cr - 0.08 Ni - 0.05 Mo - 19.8 (1 - exp(-1.56 C))).

    Parameters
    ----------
    austenite : mapping of element to array, shape (n,) or ()
        [mass per cent]

    Returns
    -------
    Expected
        The range is that of any steel, `RATIO_RATE_RANGE`, or the value where that lies outside.

    References
    ----------
    van Bohemen, Mater. Sci. Technol. 28 (2012) 487. So 0.011 is a number for high carbon.

    Examples
    --------
    >>> round(float(transformation_rate({"C": 0.8, "Mn": 0.4, "Si": 0.25}).value), 4)
    0.013
    """
    slopes = {"Mn": 0.14, "Si": 0.21, "Cr": 0.11, "Ni": 0.08, "Mo": 0.05}
    carbon = np.asarray(austenite["C"], dtype=float)
    rate = 27.2 - 19.8 * (1.0 - np.exp(-1.56 * carbon))
    for element, slope in slopes.items():
        rate = rate - slope * np.asarray(austenite.get(element, 0.0), dtype=float)
    value = np.asarray(1e-3 * rate)
    low, high = (np.full_like(value, end) for end in RATIO_RATE_RANGE)
    source = FORMULAS["van Bohemen 2012"].source
    return Expected(
        value, np.minimum(low, value), np.maximum(high, value), source, "as the martensite start"
    )


def is_extrapolated(austenite: Mapping[str, ArrayLike]) -> Array:
    """Where hardly any start was measured: 0.5 % C or more with 2 % Cr or more.

    Three of the published measurements lie there with all carbide dissolved.

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
    flags = (_COLD_FLAG,) if cold_c < _KM_COLDEST_C else ()
    return Expected(value, low, high, _KM_SOURCE, _KM_VALIDITY, flags)


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
    flags = start.flags + ((_COLD_FLAG,) if cold_c < _KM_COLDEST_C else ())
    return Expected(value, low, np.minimum(high, 1.0), _KM_SOURCE, _KM_VALIDITY, flags)
