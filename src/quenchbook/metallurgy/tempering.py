"""Time and temperature of a temper as one number, and tempers that add up.

Hollomon and Jaffe's parameter says which times at which temperatures soften alike. It is a scale to
compare tempers on, not a hardness: where hardness is not monotone (below 200 °C, and 450 to 600 °C
in steels with secondary hardening) two tempers of one hardness may differ, and it does not carry
over to toughness. Retained austenite turns to fresh martensite as a temper cools, so two tempers
are more than one long one: the sum of times knows nothing of that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array, Expected
from quenchbook.units import NO_BREAK

HOURS_CONSTANT: Final = 20.0  # for kelvin and hours; with minutes or seconds it is another number
# Fits to one published steel each: 13.4 to 16.0 (Hollomon and Jaffe, plain carbon), 15.3 to 22.5
# (Grange and Baughman), by other code from all tempers of the compilation; our own fits to those
# stored in tests/reference/tempering give 14.3 to 24.4. The range holds both. By carbon
# 21.3 - 5.8 C [from memory]: 15.5 at 1 % C.
CONSTANT_RANGE: Final = (13.4, 24.5)
SOURCE: Final = "Hollomon and Jaffe, Trans. AIME 162 (1945) 223, constant 20 for kelvin and hours"
VALIDITY: Final = (
    "one stage of tempering; not across the rise below 200 °C or secondary hardening at 450 to "
    "600 °C, and not for toughness"
)
_ZERO_C_IN_K: Final = 273.15
_LOW_C: Final = 200.0
_SECONDARY_C: Final = (450.0, 600.0)
_LOW_WORDS: Final = "where a temper can raise hardness"
_SECONDARY_WORDS: Final = "where alloy steels harden again"


def tempering_parameter(
    temper_c: ArrayLike, hold_hours: ArrayLike, *, constant: float = HOURS_CONSTANT
) -> Array:
    """Tempering parameter T (C + log10 t) of Hollomon and Jaffe.

    Parameters
    ----------
    temper_c : array, shape (n,) or ()
        Temper temperature [degC].
    hold_hours : array, shape (n,) or ()
        Hold at temperature [h], above zero. Hours: with minutes the number is another one.
    constant : float
        C, for kelvin and hours.

    Returns
    -------
    ndarray
        [K]

    Raises
    ------
    EstimabilityError
        For a hold of zero or less, or a temperature at or below absolute zero.

    References
    ----------
    Hollomon and Jaffe, Trans. AIME 162 (1945) 223.

    Examples
    --------
    >>> round(float(tempering_parameter(200.0, 1.0)))
    9463
    """
    kelvin, hours = _told(temper_c, hold_hours)
    return np.asarray(kelvin * (constant + np.log10(hours)))


def parameter_temper_c(
    parameter: ArrayLike, hold_hours: ArrayLike, *, constant: float = HOURS_CONSTANT
) -> Array:
    """Temper temperature that has this parameter for this hold [degC].

    >>> round(float(parameter_temper_c(9463.0, 2.0)), 1)
    193.0
    """
    _, hours = _told(0.0, hold_hours)
    per_kelvin = constant + np.log10(hours)
    if np.any(per_kelvin <= 0):
        raise EstimabilityError(f"A hold of {hours} h is too short for a constant {constant}.")
    return np.asarray(np.asarray(parameter, dtype=float) / per_kelvin - _ZERO_C_IN_K)


def equivalent_hours(temper_c: ArrayLike, hold_hours: ArrayLike, at_c: ArrayLike) -> Expected:
    """Hold at another temperature with the same tempering parameter [h].

    Parameters
    ----------
    temper_c, hold_hours : array
        The temper that was done [degC], [h].
    at_c : array
        The other temperature [degC].

    Returns
    -------
    Expected
        With constant 20; the range is that of `CONSTANT_RANGE`.

    Examples
    --------
    >>> hours = equivalent_hours(200.0, 1.0, 180.0)
    >>> round(float(hours.value), 1), round(float(hours.low), 1), round(float(hours.high), 1)
    (7.6, 3.9, 12.1)
    """
    ends = [_hours_at(temper_c, hold_hours, at_c, c) for c in (HOURS_CONSTANT, *CONSTANT_RANGE)]
    return _expected(ends, temper_c, at_c)


def equivalent_temper_c(
    temper_c: ArrayLike,
    hold_hours: ArrayLike,
    for_hours: ArrayLike,
    *,
    units: PrintedUnits = "metric",
) -> Expected:
    """Temperature for another hold with the same tempering parameter [degC].

    Parameters
    ----------
    temper_c, hold_hours : array
        The temper that was done [degC], [h].
    for_hours : array
        The other hold [h].
    units : str
        Units in print, for its flags: ``metric`` or ``both``.

    Examples
    --------
    >>> round(float(equivalent_temper_c(200.0, 1.0, 2.0).value), 1)
    193.0
    """
    ends = [
        parameter_temper_c(
            tempering_parameter(temper_c, hold_hours, constant=c), for_hours, constant=c
        )
        for c in (HOURS_CONSTANT, *CONSTANT_RANGE)
    ]
    return _expected(ends, temper_c, ends[0], units=units)


def added_tempers(steps: Sequence[tuple[float, float]]) -> Expected:
    """Hold at the last temperature that stands for several tempers one after the other [h].

    Each temper counts as its equivalent time at the temperature of the last one; times add.

    Parameters
    ----------
    steps : sequence of (float, float)
        Temperature [degC] and hold [h] of each temper, in order.

    Returns
    -------
    Expected

    Notes
    -----
    Softening only: that retained austenite turns to martensite between two tempers is not in it.
    Times of repeated tempers at one temperature simply add.

    Examples
    --------
    >>> round(float(added_tempers([(200.0, 2.0), (200.0, 2.0)]).value), 6)
    4.0
    """
    if not steps:
        raise EstimabilityError("There is no temper to add up. Give temperature and hours of each.")
    last = steps[-1][0]
    parts = [equivalent_hours(temper, hours, last) for temper, hours in steps]
    return Expected(
        np.sum([part.value for part in parts], axis=0),
        np.sum([part.low for part in parts], axis=0),
        np.sum([part.high for part in parts], axis=0),
        SOURCE,
        VALIDITY,
        tuple(dict.fromkeys(flag for part in parts for flag in part.flags)),
    )


def _hours_at(temper_c: ArrayLike, hours: ArrayLike, at_c: ArrayLike, constant: float) -> Array:
    parameter = tempering_parameter(temper_c, hours, constant=constant)
    kelvin, _ = _told(at_c, 1.0)
    return np.asarray(10.0 ** (parameter / kelvin - constant))


def _told(temper_c: ArrayLike, hold_hours: ArrayLike) -> tuple[Array, Array]:
    kelvin = np.asarray(temper_c, dtype=float) + _ZERO_C_IN_K
    hours = np.asarray(hold_hours, dtype=float)
    if not np.all((kelvin > 0) & (kelvin < math.inf)):
        raise EstimabilityError(f"{kelvin - _ZERO_C_IN_K} degC is no temper temperature.")
    if not np.all((hours > 0) & (hours < math.inf)):
        raise EstimabilityError(f"A temper takes more than zero hours, not {hours} h.")
    return kelvin, hours


def _expected(
    ends: Sequence[Array], *temperatures_c: ArrayLike, units: PrintedUnits = "metric"
) -> Expected:
    stack = np.stack(np.broadcast_arrays(*ends))
    places = np.concatenate([np.ravel(np.asarray(t, dtype=float)) for t in temperatures_c])
    low, high = _SECONDARY_C
    flags, printed = [], Printed("degC", units)
    if np.any(places < _LOW_C):
        flags.append(f"below {_degrees(printed.place(_LOW_C))}, {_LOW_WORDS}")
    if np.any((places >= low) & (places <= high)):
        flags.append(f"{_degrees(printed.place_range(low, high))}, {_SECONDARY_WORDS}")
    return Expected(ends[0], stack.min(axis=0), stack.max(axis=0), SOURCE, VALIDITY, tuple(flags))


def _degrees(text: str) -> str:
    return text.replace(NO_BREAK, " ")
