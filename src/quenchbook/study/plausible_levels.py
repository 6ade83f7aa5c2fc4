"""Whether levels that are temperatures can be meant: a slip of the unit or of a digit is asked."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from quenchbook.study.mistakes import Mistakes
from quenchbook.units import convert, interval_text, number_text, with_unit

COLDEST: Final = -270.0
"""Just above liquid helium, -269 degC; the coldest cold step that is offered (from memory)."""


@dataclass(frozen=True)
class TemperatureRange:
    """Temperatures that a kind of step can have, drawn wide: outside them something is mistyped.

    Attributes
    ----------
    low, high : float
        [degC]
    words : str
        What steel goes through there: ``steel is tempered``.
    """

    low: float
    high: float
    words: str

    def holds(self, celsius: float) -> bool:
        """Whether a temperature lies inside, ends included."""
        return self.low <= celsius <= self.high


# 600: below A1, 727 degC of iron and carbon, by a wide margin; 1350: above the hottest high-speed
# steel, some 1300. Tempers end below A1; hot ones and those of maraging steel lie under 750.
# Cold steps end at the room; only the step's own names are taken: "cold_oil" may well be warm.
# All common practice, no source.
_RANGES: Final = (
    (
        re.compile(r"(^|_)(re_?)?austeniti[sz]"),
        TemperatureRange(600.0, 1350.0, "steel is austenitized"),
    ),
    (
        re.compile(r"(^|_)(re_?)?temper(?!ature)"),
        TemperatureRange(50.0, 750.0, "steel is tempered"),
    ),
    (
        re.compile(
            r"(^|_)(cold|freezer|dry_ice|nitrogen|subzero)"
            r"(_(c|k|temp|temperature|level|bath|step|treatment|hold|route))*$"
        ),
        TemperatureRange(COLDEST, 30.0, "a cold step lies"),
    ),
)
# pure iron melts at 1538 degC [from memory]
_ANY: Final = TemperatureRange(COLDEST, 1540.0, "steel is worked on and stays solid")


def plausible_range(name: str) -> TemperatureRange:
    """Range for the levels of a factor, by its name.

    Parameters
    ----------
    name : str
        Name in the study file.

    >>> plausible_range("austenitize").high, plausible_range("temperature").high
    (1350.0, 1540.0)
    """
    return next((own for pattern, own in _RANGES if pattern.search(name)), _ANY)


def check_temperatures(
    name: str,
    levels: Iterable[tuple[str, float]],
    where: str,
    mistakes: Mistakes,
) -> None:
    """Add a mistake for each level that no steel is treated at.

    Parameters
    ----------
    name : str
        Name of a factor whose levels are temperatures.
    levels : iterable of (unit, level)
        Unit it was written in, ``degC``, ``degF`` or ``kelvin``, and the level [degC].
    where : str
        Table of the study file.
    mistakes : Mistakes
    """
    allowed = plausible_range(name)
    for unit, celsius in levels:
        if allowed.holds(celsius):
            continue
        number = _as_written(celsius, unit)
        ends = with_unit(interval_text(allowed.low, allowed.high, 0), "degC")
        same = "" if unit == "degC" else f" ({_degrees(celsius)})"
        mistakes.wrong(
            where,
            "levels",
            f"{name} level {number:.10g} {unit}{same} is outside the {ends} in which "
            f"{allowed.words}",
            _remedy(number, unit, allowed),
        )


def _remedy(number: float, unit: str, allowed: TemperatureRange) -> str:
    """Ask for the slip that explains a level best."""
    other = "degF" if unit != "degF" else "degC"
    converted = convert(number, other, "temperature")
    if allowed.holds(converted):
        same = "" if other == "degC" else f" ({_degrees(converted)})"
        return f"Is the unit right? Write {number:.10g} {other} if that is meant{same}."
    if allowed.holds(convert(number / 10, unit, "temperature")):
        return f"Is the unit right, or was the decimal point lost ({number / 10:.10g} {unit})?"
    return "Is the unit right (degC, degF)?"


def _as_written(celsius: float, unit: str) -> float:
    number = {"degF": celsius * 1.8 + 32, "kelvin": celsius + 273.15}.get(unit, celsius)
    return round(number, 6)


def _degrees(celsius: float) -> str:
    return with_unit(number_text(celsius, 0), "degC")
