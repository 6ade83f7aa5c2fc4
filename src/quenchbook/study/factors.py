"""What is varied in a study, and for which unit each factor is set."""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final, Literal

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.units import (
    converted,
    minutes_text,
    number_text,
    times_text,
    unit_text,
    with_unit,
)

Level = float | str
Unit = Literal["furnace_load", "cold_batch", "temper_batch", "bar", "coupon"]
Shape = Literal["levels", "linear", "quadratic"]

UNITS: Final[tuple[Unit, ...]] = ("furnace_load", "cold_batch", "temper_batch", "bar", "coupon")

UNIT_WORDS: Final[Mapping[str, str]] = {
    "furnace_load": "furnace load",
    "cold_batch": "cold batch",
    "temper_batch": "temper batch",
    "bar": "bar",
    "coupon": "coupon",
    "indent": "indent",
    "day": "day",
}

ROUTE_WORDS: Final[Mapping[str, str]] = {
    "none": "no cold step",
    "freezer": "freezer",
    "dry_ice": "dry ice",
    "liquid_nitrogen": "liquid nitrogen",
}

_MEANT_SURELY: Final[Mapping[str, str]] = {
    "ln2": "liquid_nitrogen", "liquidn2": "liquid_nitrogen", "nitrogen": "liquid_nitrogen",
}  # fmt: skip
_MEANT_PERHAPS: Final[Mapping[str, str]] = {
    "co2": "dry_ice", "carbondioxide": "dry_ice", "solidco2": "dry_ice", "co2ice": "dry_ice",
    "ice": "dry_ice", "fridge": "freezer", "refrigerator": "freezer", "deepfreeze": "freezer",
    "deepfreezer": "freezer", "n2": "liquid_nitrogen", "cryo": "liquid_nitrogen",
    "deepcryo": "liquid_nitrogen", "cryogenic": "liquid_nitrogen",
}  # fmt: skip
_ALIKE: Final = 0.75  # of difflib: "dry icee", "freezr"; no other word of the trade is so near

COLUMN_ENDINGS: Final[Mapping[str, tuple[str, str]]] = {
    "temperature": ("_c", "degC"),
    "time": ("_minutes", "minutes"),
    "length": ("_mm", "mm"),
    "count": ("_count", "times"),
}


def _decimals(value: float) -> int:
    """Decimals that a value of three at most was written with."""
    return next(n for n in (0, 1, 2, 3) if abs(round(value, n) - value) < 1e-9)


def plural(word: str) -> str:
    """Plural of a unit's name: ``furnace loads``, ``cold batches``.

    >>> plural("cold batch")
    'cold batches'
    """
    return word + ("es" if word.endswith(("ch", "s", "x")) else "s")


def _joined(name: object) -> str:
    plain = unicodedata.normalize("NFKC", str(name)).casefold()
    return "".join(letter for letter in plain if letter not in "_-.\u2010\u2011" and letter > " ")


def route_key(route: object) -> str:
    """Known cold route that a name surely means; the name itself where it is one of the study.

    Capitals, blanks, hyphens and underscores do not count. What goes by the kind of coolant
    (amounts, air of the room, costs, times) asks here; the words of the study stay as they are.

    >>> route_key("Dry ice"), route_key("dry-ice"), route_key("LN2"), route_key("cold plate")
    ('dry_ice', 'dry_ice', 'liquid_nitrogen', 'cold plate')
    """
    plain = _joined(route)
    known = {_joined(own): own for own in ROUTE_WORDS}
    return known.get(plain) or _MEANT_SURELY.get(plain) or str(route)


def perhaps_meant(route: object) -> str:
    """Known coolant that a name of no known route comes near to; empty if none, or if it is known.

    >>> perhaps_meant("CO2"), perhaps_meant("dry ice and alcohol"), perhaps_meant("dry ice")
    ('dry_ice', 'dry_ice', '')
    """
    if route_key(route) in ROUTE_WORDS:
        return ""
    plain = _joined(route)
    known = {_joined(own): own for own in ROUTE_WORDS if own != "none"}
    for part, own in known.items():
        if part in plain:
            return own
    near = difflib.get_close_matches(plain, known, n=1, cutoff=_ALIKE)
    return known[near[0]] if near else _MEANT_PERHAPS.get(plain, "")


@dataclass(frozen=True)
class Factor:
    """One thing that is varied.

    Attributes
    ----------
    name : str
        Name in the study file, such as ``austenitize``.
    column : str
        Column of the coupon matrix: the name, with the storage unit when the levels are numbers.
    levels : tuple of float or str
        Declared levels, numbers in the storage unit.
    dimension : str
        ``temperature``, ``time``, ``length``, ``count``, or empty for named levels.
    set_for : str
        Unit that gets one level of this factor: furnace load, cold batch, temper batch, bar (a heat
        lot is a property of bars) or coupon.
    shape : str
        How the factor enters the analysis: ``levels``, ``linear`` or ``quadratic``.
    nested_in : str
        Name of the factor inside which this one exists; empty when it exists everywhere.
    exists_for : tuple of str
        Levels of `nested_in` for which this factor exists.
    words : mapping
        Level to its word in print.
    label : str
        Name in print, where it is not just `name`.
    repeats : tuple of int
        How often each level is used, relative to the others; empty: equally often.
    units : str
        Units in print, as the study publishes them: ``metric`` or ``both``.
    declared_unit : str
        Unit that all levels are written with in the study file, where it is another than the
        storage unit: ``degF``. Levels in print then show it too.
    """

    name: str
    column: str
    levels: tuple[Level, ...]
    dimension: str = ""
    set_for: Unit = "coupon"
    shape: Shape = "levels"
    nested_in: str = ""
    exists_for: tuple[Level, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict)
    label: str = ""
    repeats: tuple[int, ...] = ()
    units: PrintedUnits = "metric"
    declared_unit: str = ""

    @property
    def is_numeric(self) -> bool:
        """Whether the levels are numbers with a unit."""
        return bool(self.dimension)

    @property
    def unit(self) -> str:
        """Storage unit of the levels; empty for named levels."""
        return COLUMN_ENDINGS[self.dimension][1] if self.dimension else ""

    @property
    def printed(self) -> Printed:
        """How numbers along the factor stand in print."""
        return Printed(self.unit, self.units)

    @property
    def title(self) -> str:
        """Name in print, such as ``cold route``."""
        return self.label or self.name.replace("_", " ")

    @property
    def axis_title(self) -> str:
        """Title of an axis: ``Austenitize, °C``."""
        title = self.title[:1].upper() + self.title[1:]
        return f"{title}, {unit_text(self.unit)}" if self.unit else title

    def named_word(self, level: Level) -> str:
        """Level in print, a number with the name of its factor: ``austenitize 970 °C``."""
        return f"{self.title} {self.word(level)}" if self.is_numeric else self.word(level)

    def word(self, level: Level) -> str:
        """Level in print: ``970 °C``, ``1 day``, ``no cold step``.

        In both units where the study publishes both, or declares its levels in the other one;
        `set_word` keeps to one.
        """
        if isinstance(level, str):
            return self.words.get(level) or level.replace("_", " ")
        if level != level:
            return ""
        if self.dimension == "time":
            return minutes_text(level)
        if self.dimension == "count":
            return times_text(level)
        decimals = 0 if float(level).is_integer() else 1
        if not self.declared_unit:
            return self.printed.place(level, decimals)
        # what was declared, and not what the rounded number before it would give
        own = round(converted(level, self.unit, self.declared_unit, self.dimension), 3)
        beside = with_unit(number_text(own, _decimals(own)), self.declared_unit)
        return f"{Printed(self.unit).place(level, decimals)} ({beside})"

    def set_word(self, level: Level) -> str:
        """Level as it is set at the bench: in one unit, so that none sets the wrong number."""
        return replace(self, units="metric", declared_unit="").word(level)

    def difference_word(self, difference: float) -> str:
        """Distance between two levels in print: ``12 °C (22 °F)``."""
        if self.dimension != "temperature":
            return self.word(difference)
        return self.printed.difference(difference, 0 if float(difference).is_integer() else 1)
