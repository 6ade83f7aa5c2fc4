"""What liquid nitrogen and dry ice do to the air of a room: arithmetic, not a risk assessment.

Liquid nitrogen displaces the oxygen. Dry ice poisons long before: when its gas has displaced the
oxygen down to 19.5 %, carbon dioxide is near 6.9 %, more than ten times what is let for a working
day. An oxygen alarm does not protect from it. Air is taken as well mixed; carbon dioxide sinks, so
near the floor there is more than is computed here. Carbon dioxide is in parts per million by volume
(10 000 ppm are 1 %), oxygen in per cent.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

OXYGEN_IN_AIR: Final = 20.95  # per cent by volume
FRESH_AIR_PPM: Final = 420.0  # carbon dioxide outdoors
GAS_C: Final = 20.0  # room temperature the two volumes stand for

# Gas at one atmosphere, from reference equations of state. The 554 that is often printed for carbon
# dioxide is litres from a *kilogram* at 25 degC; from a litre of solid it would be about 850.
NITROGEN_GAS: Final = 692.0  # litres at 20 degC from a litre of liquid; 694.6 at 21.1 degC
DRY_ICE_GAS: Final = 543.7  # litres at 20 degC from a kilogram; 553 at 25 degC
DRY_ICE_DENSITY: Final = 1.562  # solid [kg/l]

_ZERO_C_IN_K: Final = 273.15


@dataclass(frozen=True)
class AirLimit:
    """A limit of what is breathed.

    Attributes
    ----------
    value : float
        Oxygen [per cent by volume] or carbon dioxide [ppm].
    words : str
        What it means.
    source : str
    """

    value: float
    words: str
    source: str


OXYGEN_LOW: Final = AirLimit(
    19.5, "counts as too little oxygen", "United States workplace rules, quoted at second hand"
)
OXYGEN_LEAVE: Final = AirLimit(18.0, "leave the room", "note of a university laboratory")
CARBON_DIOXIDE_DAY: Final = AirLimit(
    5_000.0, "usual limit over 8 hours", "quoted at second hand; look up your own"
)
CARBON_DIOXIDE_QUARTER_HOUR: Final = AirLimit(
    15_000.0, "limit over 15 minutes in some countries", "from memory; look up your own"
)
CARBON_DIOXIDE_SHORT: Final = AirLimit(
    30_000.0, "ceiling for 10 minutes", "NIOSH criteria document on carbon dioxide"
)
CARBON_DIOXIDE_DANGER: Final = AirLimit(
    40_000.0, "immediately dangerous to life or health", "quoted at second hand"
)


def nitrogen_gas(litres: float, *, room_c: float = GAS_C) -> float:
    """Gas from liquid nitrogen [m3].

    Parameters
    ----------
    litres : float
        Liquid [l], not kilograms: a kilogram gives a quarter more.
    room_c : float
        Temperature of the gas [degC].

    >>> round(nitrogen_gas(1, room_c=21.1), 4)
    0.6946
    """
    return litres * NITROGEN_GAS / 1000 * _expansion(room_c)


def dry_ice_gas(kilograms: float, *, room_c: float = GAS_C) -> float:
    """Gas from dry ice [m3].

    Parameters
    ----------
    kilograms : float
        Dry ice [kg], not litres.
    room_c : float
        Temperature of the gas [degC].

    >>> round(dry_ice_gas(1, room_c=25), 3)
    0.553
    """
    return kilograms * DRY_ICE_GAS / 1000 * _expansion(room_c)


def oxygen_after_spill(litres: float, room_m3: float) -> float:
    """Oxygen left when liquid nitrogen boils off into a closed, well mixed room.

    Parameters
    ----------
    litres : float
        Liquid nitrogen [l].
    room_m3 : float
        Volume of the room [m3].

    Returns
    -------
    float
        Oxygen [per cent by volume], 20.95 (V - Vg) / V; 0 where the gas fills the room.

    References
    ----------
    University of Nottingham, form for work with liquid nitrogen (spill formula).

    >>> round(oxygen_after_spill(5, 30), 1)
    18.5
    """
    return OXYGEN_IN_AIR * max(0.0, 1 - nitrogen_gas(litres) / room_m3)


def steady_oxygen(gas_m3_an_hour: float, fresh_m3_an_hour: float) -> float:
    """Oxygen of a well mixed room in which gas keeps flowing, in the end.

    Parameters
    ----------
    gas_m3_an_hour : float
        Gas without oxygen [m3/h].
    fresh_m3_an_hour : float
        Fresh air [m3/h].

    Returns
    -------
    float
        Oxygen [per cent by volume], 20.95 Q / (Q + R). Without fresh air none is left in the end.

    >>> round(steady_oxygen(nitrogen_gas(1), 0.4 * 30), 1)
    19.8
    """
    if gas_m3_an_hour == 0:
        return OXYGEN_IN_AIR
    return OXYGEN_IN_AIR * fresh_m3_an_hour / (fresh_m3_an_hour + gas_m3_an_hour)


def oxygen_depletion(gas_m3_an_hour: float, room_m3: float, air_changes: float) -> float:
    """Oxygen that a slow loss of gas takes away, as a university's rules compute it.

    Parameters
    ----------
    gas_m3_an_hour : float
        Gas without oxygen [m3/h], small against the fresh air.
    room_m3 : float
        Volume of the room [m3].
    air_changes : float
        Air changes an hour, above 0.

    Returns
    -------
    float
        Points of per cent that are lost, 21 L / (V n).

    References
    ----------
    University of Oxford, safety policy S4/03, appendix 1.
    """
    return 21.0 * gas_m3_an_hour / (room_m3 * air_changes)


def carbon_dioxide(kilograms: float, room_m3: float) -> float:
    """Carbon dioxide when dry ice turns to gas in a closed, well mixed room.

    Parameters
    ----------
    kilograms : float
        Dry ice [kg].
    room_m3 : float
        Volume of the room [m3].

    Returns
    -------
    float
        [ppm by volume]: that of fresh air and what is added, never more than 1 000 000.
    """
    return min(FRESH_AIR_PPM + 1e6 * dry_ice_gas(kilograms) / room_m3, 1e6)


def dry_ice_for(ppm: float, room_m3: float) -> float:
    """Dry ice that brings a closed, well mixed room to a carbon dioxide content.

    Parameters
    ----------
    ppm : float
        Carbon dioxide, that of fresh air in it [ppm by volume].
    room_m3 : float
        Volume of the room [m3].

    Returns
    -------
    float
        Dry ice [kg].

    >>> round(dry_ice_for(5000, 30), 2)
    0.25
    """
    return (ppm - FRESH_AIR_PPM) * 1e-6 * room_m3 / dry_ice_gas(1.0)


def steady_carbon_dioxide(gas_m3_an_hour: float, fresh_m3_an_hour: float) -> float:
    """Carbon dioxide of a well mixed room in which its gas keeps flowing, in the end.

    Parameters
    ----------
    gas_m3_an_hour : float
        Carbon dioxide [m3/h].
    fresh_m3_an_hour : float
        Fresh air [m3/h].

    Returns
    -------
    float
        [ppm by volume], that of fresh air and R / Q; never more than 1 000 000.
    """
    if gas_m3_an_hour == 0:
        return FRESH_AIR_PPM
    if fresh_m3_an_hour == 0:
        return 1e6
    return min(FRESH_AIR_PPM + 1e6 * gas_m3_an_hour / fresh_m3_an_hour, 1e6)


def fresh_air_for_carbon_dioxide(
    gas_m3_an_hour: float, ppm: float = CARBON_DIOXIDE_DAY.value
) -> float:
    """Fresh air that holds a well mixed room at a carbon dioxide content [m3/h].

    Parameters
    ----------
    gas_m3_an_hour : float
        Carbon dioxide [m3/h].
    ppm : float
        Content to be held, above that of fresh air [ppm by volume].

    >>> round(fresh_air_for_carbon_dioxide(dry_ice_gas(1.0)))
    119
    """
    return gas_m3_an_hour / ((ppm - FRESH_AIR_PPM) * 1e-6)


def fresh_air_for_oxygen(gas_m3_an_hour: float, oxygen: float = OXYGEN_LOW.value) -> float:
    """Fresh air that holds a well mixed room at an oxygen content [m3/h].

    Parameters
    ----------
    gas_m3_an_hour : float
        Gas without oxygen [m3/h].
    oxygen : float
        Content to be held, below that of air [per cent by volume].
    """
    return gas_m3_an_hour * oxygen / (OXYGEN_IN_AIR - oxygen)


def carbon_dioxide_at_oxygen(oxygen: float) -> float:
    """Carbon dioxide of air whose oxygen was displaced by it down to a content.

    Parameters
    ----------
    oxygen : float
        [per cent by volume]

    Returns
    -------
    float
        Added carbon dioxide [ppm by volume].

    >>> round(carbon_dioxide_at_oxygen(19.5) / 10_000, 1)
    6.9
    """
    return 1e6 * (1 - oxygen / OXYGEN_IN_AIR)


def _expansion(room_c: float) -> float:
    """Volume of a gas against that at 20 degC; it grows with the absolute temperature."""
    return (room_c + _ZERO_C_IN_K) / (GAS_C + _ZERO_C_IN_K)
