"""How long a piece of steel takes to follow the furnace, the freezer, the bath or the nitrogen.

The piece is taken as one temperature throughout (lumped), which holds while the Biot number is
small: for plain shapes up to about 10 mm thick. A single piece alone: packets, foil and a loaded
furnace take longer, so the soak clock starts from a thermocouple in a dummy.
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from quenchbook.metallurgy.cooling import DRY_ICE_C, NITROGEN_C, ZERO_C_IN_K, heat_removed
from quenchbook.metallurgy.expected import Expected
from quenchbook.metallurgy.martensite import ROOM_C

STEEL_DENSITY: Final = 7800.0  # [kg/m3]
FREEZER_C: Final = -18.0  # common practice, no source
LUMPED_BIOT: Final = 0.1  # below it the piece is nearly one temperature [from memory]

# value, least, most: still air, and alcohol with dry ice [W/(m2 K)] [from memory]
FREEZER_FILM: Final = (8.0, 5.0, 12.0)
BATH_FILM: Final = (250.0, 100.0, 500.0)

_CAPACITY: Final = (
    450.0  # of steel at room temperature [J/(kg K)]; less in the cold: times are long
)
_CONDUCTIVITY: Final = 26.0  # of tool steel [W/(m K)] [from memory]
_BOILING: Final = (1.5e4, 1.0e4, 2.0e4)  # film boiling of nitrogen [W/m2]: value, least, most
_VALIDITY: Final = "one bare piece alone, plain shapes up to about 10 mm thick (Biot below 0.1)"
_STEFAN_BOLTZMANN: Final = 5.670374e-8  # [W/(m2 K4)]
_EMISSIVITY: Final = (
    0.8,
    0.9,
    0.5,
)  # as expected, fastest, slowest; oxidized or bright [from memory]
_FURNACE_FILM: Final = (10.0, 20.0, 5.0)  # air in a chamber furnace, the same order [from memory]
# mean from room to austenitize temperature with the heat of transformation [J/(kg K)] [from memory]
_HOT_CAPACITY: Final = (700.0, 600.0, 800.0)


def volume_to_area(length_mm: float, width_mm: float, thickness_mm: float) -> float:
    """Volume of a flat piece over its area: half its thickness, less for what edges give.

    Returns
    -------
    float
        [mm]

    >>> round(volume_to_area(60, 10, 2.5), 3)
    0.968
    """
    area = 2 * (length_mm * width_mm + length_mm * thickness_mm + width_mm * thickness_mm)
    return length_mm * width_mm * thickness_mm / area


def biot_number(film: float, volume_to_area_mm: float) -> float:
    """Biot number h L / k of a piece of tool steel; see `LUMPED_BIOT`.

    Parameters
    ----------
    film : float
        Heat transfer coefficient [W/(m2 K)].
    volume_to_area_mm : float
        From `volume_to_area` [mm].
    """
    return film * volume_to_area_mm / 1000 / _CONDUCTIVITY


def cooling_time(
    volume_to_area_mm: float,
    cold_c: float,
    film: tuple[float, float, float],
    *,
    from_c: float = ROOM_C,
    within_c: float = 1.0,
) -> Expected:
    """Time to come near the temperature of the cold around the piece.

    t = (rho cp L / h) ln((T0 - Tc) / e).

    Parameters
    ----------
    volume_to_area_mm : float
        From `volume_to_area` [mm].
    cold_c : float
        Temperature around the piece [degC].
    film : (float, float, float)
        Heat transfer coefficient: expected, least, most [W/(m2 K)].
    from_c : float
        Where it begins [degC].
    within_c : float
        How near [degC].

    Returns
    -------
    Expected
        [minutes]
    """
    decades = math.log((from_c - cold_c) / within_c)
    value, most, least = (
        STEEL_DENSITY * _CAPACITY * volume_to_area_mm / 1000 / own * decades / 60 for own in film
    )
    return _expected(value, least, most, "one temperature throughout, 450 J/(kg K)")


def freezer_time(volume_to_area_mm: float, *, freezer_c: float = FREEZER_C) -> Expected:
    """Time in the still air of a freezer, to 1 degC of its temperature [minutes]."""
    return cooling_time(volume_to_area_mm, freezer_c, FREEZER_FILM)


def bath_time(volume_to_area_mm: float) -> Expected:
    """Time in alcohol with dry ice, to 1 degC of its temperature [minutes]."""
    return cooling_time(volume_to_area_mm, DRY_ICE_C, BATH_FILM)


def nitrogen_time(volume_to_area_mm: float) -> Expected:
    """Time in liquid nitrogen until the boiling stops, which is the sign to be seen.

    t = rho L q / f with the heat q that leaves the steel and a flux f of 1 to 2 W/cm2.

    Returns
    -------
    Expected
        [minutes]
    """
    heat = heat_removed(NITROGEN_C)
    value, most, least = (
        STEEL_DENSITY * volume_to_area_mm / 1000 * float(own) * 1000 / flux / 60
        for own, flux in zip((heat.value, heat.high, heat.low), _BOILING, strict=True)
    )
    return _expected(value, least, most, "film boiling at 1 to 2 W/cm2 [from memory]")


def through_heat_time(
    volume_to_area_mm: float, furnace_c: float, *, within_c: float = 5.0
) -> Expected:
    """Time of one bare piece, alone in a hot chamber, to come near the furnace temperature.

    rho cp L dT/dt = e s (Tf^4 - T^4) + h (Tf - T), from room temperature.

    Parameters
    ----------
    volume_to_area_mm : float
        From `volume_to_area` [mm].
    furnace_c : float
        Temperature of walls and air [degC].
    within_c : float
        How near [degC].

    Returns
    -------
    Expected
        [minutes]. Foil, packets and a furnace that fell when it was opened are not in it.
    """
    hot = furnace_c + ZERO_C_IN_K
    # over the logarithm of the gap, in which the curve is smooth
    nodes, weights = np.polynomial.legendre.leggauss(64)
    last, first = math.log(within_c), math.log(furnace_c - ROOM_C)
    gap = np.exp(last + (first - last) * (nodes + 1) / 2)
    value, least, most = (
        STEEL_DENSITY * capacity * volume_to_area_mm / 1000 * (first - last) / 2 / 60
        * float(
            weights
            @ (gap / (shine * _STEFAN_BOLTZMANN * (hot**4 - (hot - gap) ** 4) + film * gap))
        )
        for shine, film, capacity in zip(_EMISSIVITY, _FURNACE_FILM, _HOT_CAPACITY, strict=True)
    )  # fmt: skip
    return _expected(value, least, most, "radiation and still air, emissivity 0.5 to 0.9")


def _expected(value: float, low: float, high: float, source: str) -> Expected:
    return Expected(np.asarray(value), np.asarray(low), np.asarray(high), source, _VALIDITY)
