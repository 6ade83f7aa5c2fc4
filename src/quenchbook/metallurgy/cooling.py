"""Heat that leaves the steel on its way into the cold, and the liquid nitrogen or dry ice it takes.

Physics without a fitted number: what is uncertain is the heat capacity of the steel (a range of
Debye temperatures) and, far more, what the vessel and the time in the cold boil away (assumed
ranges, to be replaced by one's own).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.metallurgy.expected import Array, Expected
from quenchbook.metallurgy.martensite import ROOM_C

ZERO_C_IN_K: Final = 273.15

NITROGEN_C: Final = -195.80  # boiling point at one atmosphere [C: reference equation of state]
NITROGEN_LATENT: Final = 199.2  # heat of boiling [kJ/kg] [C: reference equation of state]
NITROGEN_DENSITY: Final = 0.8061  # liquid at its boiling point [kg/l] [C: the same]
DRY_ICE_C: Final = -78.5  # sublimes at one atmosphere
DRY_ICE_LATENT: Final = 571.0  # heat of sublimation [kJ/kg] [from memory]
ETHANOL_HEAT: Final = 208.8  # from 20 to -78.5 degC [kJ/kg] [C: reference equation of state]
ETHANOL_DENSITY: Final = 0.789  # at 20 degC [kg/l] [from memory]

NITROGEN_MARGIN: Final = (2.0, 3.0)  # cold gas escapes unused, it boils over; common practice
DRY_ICE_MARGIN: Final = (1.5, 2.0)  # lost while it is carried and broken; assumed, no source
VESSEL_LITRES: Final = (0.5, 1.5)  # to cool a bench vessel of a few litres; assumed, no source
NITROGEN_BOIL_OFF: Final = (0.1, 0.5)  # open vessel, heat leaking in [l/h]; assumed, no source
DRY_ICE_BOIL_OFF: Final = (0.03, 0.15)  # insulated bath, 5 to 24 W leaking in [kg/h]; assumed

_GAS_CONSTANT: Final = 8.314462618  # [J/(mol K)]
_IRON_KG: Final = 0.055845  # of one mole
_DEBYE_K: Final = 420.0  # Debye temperature of iron [from memory]
_DEBYE_RANGE_K: Final = (373.0, 470.0)  # [from memory]
_ALLOYED: Final = 1.11  # austenitic stainless steel takes 83.3 kJ/kg where iron takes 75.6 [C]
_ELECTRONS: Final = 4.98e-3  # linear term of iron [J/(mol K2)] [from memory]
_ROOM_CAPACITY: Final = 25.10  # of iron at 298.15 K and constant pressure [J/(mol K)]
_ROOM_K: Final = 298.15
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)
_COLDEST_RATIO: Final = 50.0  # exp(-50): nothing more is added to the lattice integral
_VALIDITY: Final = (
    "iron and alloyed steel, from about 100 °C down; latent heat of the coolant alone"
)
_SOURCE: Final = "heat capacity of iron after Debye, 373 to 470 K; matched to 25.10 J/(mol K)"


def iron_heat_capacity(temperature_k: ArrayLike, *, debye_k: float = _DEBYE_K) -> Array:
    """Heat capacity of iron at constant pressure.

    Cp = Cv + g T + A Cv^2 T with the Debye function for Cv; A brings Cp to its measured value at
    298.15 K.

    Parameters
    ----------
    temperature_k : array_like
        Above 0 and up to about 400 [K]; the magnetic part of hotter iron is not in it.
    debye_k : float
        Debye temperature [K].

    Returns
    -------
    ndarray
        Same shape [J/(mol K)].

    >>> round(float(iron_heat_capacity(298.15)), 2)
    25.1
    """
    heat = np.asarray(temperature_k, dtype=float)
    lattice, room = _lattice_capacity(heat, debye_k), _lattice_capacity(_ROOM_K, debye_k)
    expansion = (_ROOM_CAPACITY - room - _ELECTRONS * _ROOM_K) / (room**2 * _ROOM_K)
    return np.asarray(lattice + _ELECTRONS * heat + expansion * lattice**2 * heat)


def _lattice_capacity(temperature_k: ArrayLike, debye_k: float) -> Array:
    """Debye's Cv = 9 R (T/D)^3 int_0^(D/T) x^4 e^x / (e^x - 1)^2 dx [J/(mol K)]."""
    share = np.asarray(temperature_k, dtype=float) / debye_k
    last = np.minimum(1 / share, _COLDEST_RATIO)
    x = (_NODES + 1) / 2 * last[..., np.newaxis]
    inside = x**4 * np.exp(-x) / np.expm1(-x) ** 2
    return np.asarray(9 * _GAS_CONSTANT * share**3 * last / 2 * (inside @ _WEIGHTS))


def heat_removed(cold_c: float, *, from_c: float = ROOM_C) -> Expected:
    """Heat that leaves a kilogram of steel, counted as iron.

    Parameters
    ----------
    cold_c : float
        Where it ends [degC].
    from_c : float
        Where it begins [degC]; up to about 100.

    Returns
    -------
    Expected
        [kJ/kg]. The upper end holds alloyed steel too.

    >>> heat = heat_removed(-195.8)
    >>> [round(float(own)) for own in (heat.low, heat.value, heat.high)]
    [72, 76, 84]
    """
    warm, cold = from_c + ZERO_C_IN_K, max(cold_c + ZERO_C_IN_K, 1e-3)
    places = cold + (warm - cold) * (_NODES + 1) / 2
    middle, *ends = (
        float(iron_heat_capacity(places, debye_k=own) @ _WEIGHTS)
        * (warm - cold) / 2 / _IRON_KG / 1000
        for own in (_DEBYE_K, *_DEBYE_RANGE_K)
    )  # fmt: skip
    return _expected(middle, min(ends), max(*ends, _ALLOYED * middle), _SOURCE)


def nitrogen_mass(steel_kg: float) -> Expected:
    """Liquid nitrogen that boils to cool steel from room temperature, by its latent heat alone.

    Parameters
    ----------
    steel_kg : float
        Steel [kg].

    Returns
    -------
    Expected
        [kg]. The cold gas could take more heat and usually does not: it leaves too fast.
    """
    return _scaled(heat_removed(NITROGEN_C), steel_kg / NITROGEN_LATENT)


def nitrogen_litres(kilograms: float) -> float:
    """Volume of liquid nitrogen [l]; a kilogram is a litre and a quarter.

    >>> round(nitrogen_litres(1.0), 2)
    1.24
    """
    return kilograms / NITROGEN_DENSITY


def nitrogen_needed(
    steel_kg: float,
    hold_hours: tuple[float, float] = (0.0, 0.0),
    *,
    vessels: tuple[float, float] = (1, 1),
    covered_litres: tuple[float, float] = (0.0, 0.0),
) -> tuple[float, float]:
    """Liquid nitrogen to bring: cooling with its margin, vessel, boil-off, cover.

    Parameters
    ----------
    steel_kg : float
        Steel that is cooled from room temperature [kg].
    hold_hours : (float, float)
        Least and most hours that vessels stand filled [h].
    vessels : (float, float)
        Least and most times that a warm vessel is cooled.
    covered_litres : (float, float)
        Liquid that must be left over the steel when it has stopped boiling [l].

    Returns
    -------
    (float, float)
        Least and most [l]: ``margin * latent + vessels + boil-off * hours + cover``, the ends of
        every part together.
    """
    steel = nitrogen_mass(steel_kg)
    least, most = (
        nitrogen_litres(float(mass)) * margin + times * vessel + boil * hours + cover
        for mass, margin, times, vessel, boil, hours, cover in zip(
            (steel.low, steel.high), NITROGEN_MARGIN, vessels, VESSEL_LITRES, NITROGEN_BOIL_OFF,
            hold_hours, covered_litres, strict=True,
        )
    )  # fmt: skip
    return least, most


def dry_ice_mass(steel_kg: float, *, ethanol_litres: float = 0.0) -> Expected:
    """Dry ice that sublimes to cool steel and an ethanol bath from room temperature.

    Parameters
    ----------
    steel_kg : float
        Steel [kg].
    ethanol_litres : float
        Bath [l]; it sets the quantity, for a litre takes as much as four kilograms of steel.

    Returns
    -------
    Expected
        [kg], by the latent heat alone.

    >>> round(float(dry_ice_mass(0.0, ethanol_litres=1.0).value), 3)
    0.289
    """
    steel = _scaled(heat_removed(DRY_ICE_C), steel_kg / DRY_ICE_LATENT)
    bath = ethanol_litres * ETHANOL_DENSITY * ETHANOL_HEAT / DRY_ICE_LATENT
    return _expected(
        float(steel.value) + bath, float(steel.low) + bath, float(steel.high) + bath, steel.source
    )


def dry_ice_needed(
    steel_kg: float,
    ethanol_litres: tuple[float, float],
    hold_hours: tuple[float, float] = (0.0, 0.0),
) -> tuple[float, float]:
    """Dry ice to bring: cooling of steel and bath with its margin, and what sublimes meanwhile.

    Parameters
    ----------
    steel_kg : float
        Steel that is cooled from room temperature [kg].
    ethanol_litres : (float, float)
        Least and most ethanol that is cooled from room temperature [l].
    hold_hours : (float, float)
        Least and most hours that baths are kept cold [h].

    Returns
    -------
    (float, float)
        Least and most [kg]: ``margin * latent + boil-off * hours``.
    """
    least, most = (dry_ice_mass(steel_kg, ethanol_litres=own) for own in ethanol_litres)
    return (
        float(least.low) * DRY_ICE_MARGIN[0] + DRY_ICE_BOIL_OFF[0] * hold_hours[0],
        float(most.high) * DRY_ICE_MARGIN[1] + DRY_ICE_BOIL_OFF[1] * hold_hours[1],
    )


def _scaled(own: Expected, factor: float) -> Expected:
    return _expected(
        float(own.value) * factor, float(own.low) * factor, float(own.high) * factor, own.source
    )


def _expected(value: float, low: float, high: float, source: str) -> Expected:
    return Expected(np.asarray(value), np.asarray(low), np.asarray(high), source, _VALIDITY)
