"""What the coolants of a plan do to the air of the room: arithmetic with its source."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from quenchbook.bench.need import Need, range_words
from quenchbook.metallurgy.room_air import (
    CARBON_DIOXIDE_DANGER,
    CARBON_DIOXIDE_DAY,
    CARBON_DIOXIDE_QUARTER_HOUR,
    CARBON_DIOXIDE_SHORT,
    OXYGEN_LEAVE,
    OXYGEN_LOW,
    AirLimit,
    carbon_dioxide,
    dry_ice_for,
    dry_ice_gas,
    fresh_air_for_carbon_dioxide,
    fresh_air_for_oxygen,
    nitrogen_gas,
    oxygen_after_spill,
    steady_carbon_dioxide,
    steady_oxygen,
)
from quenchbook.study.room import Room
from quenchbook.units import NO_BREAK, number_text

ASK_ROOM: Final = (
    'Room not told: write [room], volume = "30 m3" and air_changes = 0.4 (an hour), to see '
    "what the coolants do to its air."
)
ASK_CHANGES: Final = (
    "Air changes of the room not told: it is computed as closed. Write air_changes = 0.4 (an hour) "
    "below [room] when they are known."
)
_DELIVERY: Final = "the whole delivery; several batches a day lie between"
_LIMITS: Final = {
    "%": (OXYGEN_LEAVE, OXYGEN_LOW),
    "ppm": (
        CARBON_DIOXIDE_DANGER, CARBON_DIOXIDE_SHORT, CARBON_DIOXIDE_QUARTER_HOUR,
        CARBON_DIOXIDE_DAY,
    ),
}  # fmt: skip


@dataclass(frozen=True)
class AirFigure:
    """One figure of the air of a room.

    Attributes
    ----------
    what : str
    low, high : float
        From the least and the most of what is used.
    unit : str
        ``%`` of oxygen, ``ppm`` of carbon dioxide, ``kg``, ``m³/h``.
    note : str
        The limit it is held against, with its source.
    """

    what: str
    low: float
    high: float
    unit: str
    note: str

    def value_words(self) -> str:
        """Figure in print."""
        if self.unit == "%":
            return _once(number_text(self.low, 1), number_text(self.high, 1)) + f"{NO_BREAK}%"
        if self.unit == "ppm":
            ends = (ppm_text(self.low), ppm_text(self.high))
            return _once(*ends).replace(f"{NO_BREAK}ppm to", " to")
        return range_words(self.low, self.high, self.unit)


def _once(low: str, high: str) -> str:
    """Both ends of a range in print; one where they do not differ there."""
    return low if low == high else f"{low} to {high}"


def ppm_text(ppm: float) -> str:
    r"""Content of a gas in print, to three digits: ``5 000 ppm``.

    >>> ppm_text(5000), ppm_text(73912)
    ('5\xa0000\xa0ppm', '73\xa0900\xa0ppm')
    """
    return f"{float(f'{ppm:.3g}'):,.0f} ppm".replace(",", NO_BREAK).replace(" ", NO_BREAK)


def air_figures(
    room: Room | None, nitrogen: Need | None, dry_ice: Need | None
) -> tuple[AirFigure, ...]:
    """Figures of the air of the room, for the coolants that the plan uses.

    Parameters
    ----------
    room : Room or None
        None: not told; then only the fresh air that would be needed is computed.
    nitrogen, dry_ice : Need or None

    Returns
    -------
    tuple of AirFigure
        Never a word on whether the room will do.
    """
    found: list[AirFigure] = []
    if nitrogen is not None:
        found += _nitrogen_figures(room, nitrogen)
    if dry_ice is not None:
        found += _dry_ice_figures(room, dry_ice)
    return tuple(found)


def air_missing(room: Room | None, *needs: Need | None) -> list[str]:
    """What is asked for, to compute the air of the room; nothing where no coolant is used."""
    if not any(needs):
        return []
    if room is None:
        return [ASK_ROOM]
    return [ASK_CHANGES] if room.air_changes is None else []


def _nitrogen_figures(room: Room | None, own: Need) -> list[AirFigure]:
    found = []
    if room is not None and own.a_batch is not None:
        least, most = (oxygen_after_spill(litres, room.volume_m3) for litres in own.a_batch)
        what = f"oxygen, all liquid nitrogen of a batch spilt in the closed {_room_words(room)}"
        found.append(_against(what, most, least, "%"))
        least, most = (oxygen_after_spill(litres, room.volume_m3) for litres in (own.low, own.high))
        what = f"oxygen, all liquid nitrogen of the plan spilt in it, {_DELIVERY}"
        found.append(_against(what, most, least, "%"))
    if own.an_hour is None:
        return found
    gas = [nitrogen_gas(litres) for litres in own.an_hour]
    if room is not None and room.fresh_m3_an_hour is not None:
        ends = [steady_oxygen(flow, room.fresh_m3_an_hour) for flow in gas]
        what = f"oxygen in the end, if boiling went on as in its first hour, {_changes_words(room)}"
        found.append(_against(what, ends[1], ends[0], "%"))
    low, high = (fresh_air_for_oxygen(flow) for flow in gas)
    what = f"fresh air that holds {OXYGEN_LOW.value:g}{NO_BREAK}% oxygen in the first hour"
    return [*found, AirFigure(what, low, high, "m³/h", _limit_words(OXYGEN_LOW, "%"))]


def _dry_ice_figures(room: Room | None, own: Need) -> list[AirFigure]:
    found = []
    if room is not None and own.a_batch is not None:
        low, high = (carbon_dioxide(kilograms, room.volume_m3) for kilograms in own.a_batch)
        what = f"carbon dioxide, all dry ice of a batch as gas in the closed {_room_words(room)}"
        found.append(_against(what, low, high, "ppm"))
        low, high = (carbon_dioxide(mass, room.volume_m3) for mass in (own.low, own.high))
        what = f"carbon dioxide, all dry ice of the plan as gas in it, {_DELIVERY}"
        found.append(_against(what, low, high, "ppm"))
        enough = dry_ice_for(CARBON_DIOXIDE_DAY.value, room.volume_m3)
        what = f"dry ice that brings the closed room to {ppm_text(CARBON_DIOXIDE_DAY.value)}"
        note = _limit_words(CARBON_DIOXIDE_DAY, "ppm")
        found.append(AirFigure(what, enough, enough, "kg", note))
    if own.an_hour is None:
        return found
    gas = [dry_ice_gas(kilograms) for kilograms in own.an_hour]
    if room is not None and room.fresh_m3_an_hour is not None:
        low, high = (steady_carbon_dioxide(flow, room.fresh_m3_an_hour) for flow in gas)
        what = (
            f"carbon dioxide in the end, if it went on as in the first hour, {_changes_words(room)}"
        )
        found.append(_against(what, low, high, "ppm"))
    low, high = (fresh_air_for_carbon_dioxide(flow) for flow in gas)
    what = f"fresh air that holds {ppm_text(CARBON_DIOXIDE_DAY.value)} in the first hour"
    note = f"{_limit_words(CARBON_DIOXIDE_DAY, 'ppm')} An oxygen alarm does not protect."
    return [*found, AirFigure(what, low, high, "m³/h", note)]


def _against(what: str, low: float, high: float, unit: str) -> AirFigure:
    """Figure with the gravest limit that its worse end passes, or the mildest if it passes none."""
    limits = _LIMITS[unit]
    worse = low if unit == "%" else high
    passed = [own for own in limits if (worse < own.value if unit == "%" else worse > own.value)]
    side = ("Below", "Not below") if unit == "%" else ("Above", "Not above")
    limit = passed[0] if passed else limits[-1]
    words = _limit_words(limit, unit)
    return AirFigure(what, low, high, unit, f"{side[0] if passed else side[1]} {words}")


def _limit_words(limit: AirLimit, unit: str) -> str:
    value = ppm_text(limit.value) if unit == "ppm" else f"{limit.value:g}{NO_BREAK}%"
    return f"{value}: {limit.words} ({limit.source})."


def _room_words(room: Room) -> str:
    return f"room of {room.volume_m3:.3g}{NO_BREAK}m³"


def _changes_words(room: Room) -> str:
    changes = "change" if room.air_changes == 1 else "changes"
    return f"{room.air_changes:g} air {changes} an hour"
