"""The room in which liquid nitrogen or dry ice is used, as far as the study file tells of it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.errors import UnitError
from quenchbook.study.mistakes import Mistakes
from quenchbook.units import parse_number

_KEYS: Final = ("volume", "air_changes")
_CUBIC_METRES: Final[Mapping[str, float]] = {
    "m3": 1.0, "m^3": 1.0, "ft3": 0.3048**3, "ft^3": 0.3048**3, "cu ft": 0.3048**3,
}  # fmt: skip
_VOLUME: Final = re.compile(r"(.*?[\d.,])\s*(m3|m\^3|ft3|ft\^3|cu ft)")
_LEAST_M3: Final = 1.0
_MOST_M3: Final = 100_000.0
_MOST_CHANGES: Final = 100.0


@dataclass(frozen=True)
class Room:
    """A room and its fresh air.

    Attributes
    ----------
    volume_m3 : float
        Volume [m3].
    air_changes : float or None
        Air changes an hour; None: not told, then it is computed as closed.
    """

    volume_m3: float
    air_changes: float | None = None

    @property
    def fresh_m3_an_hour(self) -> float | None:
        """Fresh air [m3/h]; None: not told."""
        return None if self.air_changes is None else self.air_changes * self.volume_m3


def read_room(content: Mapping[str, Any], mistakes: Mistakes) -> Room | None:
    """Room of a study file: ``[room] volume = "30 m3"``, ``air_changes = 0.4``.

    Parameters
    ----------
    content : mapping
        The study file.
    mistakes : Mistakes
        Gets everything that is wrong with the table.

    Returns
    -------
    Room or None
        None where no room, or no volume that can be read, is told.
    """
    table = mistakes.table(content, "room")
    mistakes.known_keys(table, _KEYS, "room")
    if "room" in content and isinstance(content["room"], Mapping) and "volume" not in table:
        mistakes.wrong("", "room", "room has no volume", 'Write volume = "30 m3" below [room].')
    changes = table.get("air_changes")
    if changes is not None and not _is_number(changes, 0, _MOST_CHANGES):
        mistakes.wrong(
            "room",
            "air_changes",
            f"air_changes is {changes!r}",
            "Write the air changes in an hour as a number from 0 to 100: air_changes = 0.4.",
        )
        changes = None
    if "volume" not in table:
        return None
    volume = _cubic_metres(table["volume"])
    if not _is_number(volume, _LEAST_M3, _MOST_M3):
        mistakes.wrong(
            "room",
            "volume",
            f"volume is {table['volume']!r}",
            'Write length times width times height with its unit, 1 to 100000 m3: volume = "30 m3" '
            "(ft3 is known too).",
        )
        return None
    return Room(volume, None if changes is None else float(changes))


def _cubic_metres(told: object) -> float:
    """Volume [m3]; nan where it cannot be read or has no unit."""
    plain = told.replace("³", "3").strip() if isinstance(told, str) else ""
    found = _VOLUME.fullmatch(plain)
    if found is None:
        return math.nan
    try:
        return parse_number(found[1]) * _CUBIC_METRES[found[2]]
    except UnitError:
        return math.nan


def _is_number(value: object, least: float, most: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and least <= value <= most
