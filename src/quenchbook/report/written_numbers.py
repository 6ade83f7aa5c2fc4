"""Numbers as people write them in a sentence: value, decimals, unit."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from quenchbook.units import MINUS, convert, difference_dimension

_SPACE: Final = "[ \u00a0\u2009\u202f]"
_UNITS: Final[Mapping[str, str]] = {
    "temperature": rf"°{_SPACE}?[CF]|deg{_SPACE}?[CF]|degrees{_SPACE}(?:C|F|Celsius|Fahrenheit)",
    "bare_temperature": "[CFK]",  # not glued to its number, as in 440C
    "energy": rf"ft{_SPACE}?[·*-]?{_SPACE}?lbf?|foot{_SPACE}?-?pounds?|J|joules?",
    "hardness": "HRC",
    "time": "min(?:utes?)?|h(?:ours?|rs?)?|s(?:ec(?:onds?)?)?|days?",
    "length": "mm|cm|m",
    "share": "%|per cent|percent",
}
_MONTHS: Final = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip
_MONTH: Final = "|".join(_MONTHS)
_DATE: Final = re.compile(
    rf"(?<!\d)(?:(?P<y>\d{{4}})-(?P<m>\d\d)-(?P<d>\d\d)"
    rf"|(?P<d2>\d{{1,2}}){_SPACE}(?P<m2>{_MONTH}){_SPACE}(?P<y2>\d{{4}})"
    rf"|(?P<m3>{_MONTH}){_SPACE}(?P<d3>\d{{1,2}}),{_SPACE}(?P<y3>\d{{4}}))(?!\d)"
)
_ADDRESS: Final = re.compile(r"\S*://\S+|www\.\S+|doi:?\s*\S+|\b10\.\d{4,}/\S+", re.IGNORECASE)
_NUMBER: Final = re.compile(
    r"(?<![\w.,:/\[])(?P<sign>[+\u2212-])?"
    r"(?P<number>\d{1,3}(?:[,\u00a0\u2009\u202f]\d{3})+(?!\d)(?:\.\d+)?|\d+(?:[.,]\d+)?|\.\d+)"
    + "(?:"
    + "|".join(
        rf"{_SPACE}{'' if name == 'bare_temperature' else '?-?'}(?P<{name}>{words})(?!\w)"
        for name, words in _UNITS.items()
    )
    + r")?(?![\w:/\]]|[.,]\d)"
)
_ROUND: Final = 0.02  # share of a round number that "about" allows for, at most
_RANGE: Final = re.compile(
    rf"\s*(?:to|and|or|,|, and|, or|by|×|x|–|-|{MINUS}|\.\.\.|…)\s*[+{MINUS}-]?", re.IGNORECASE
)
_ABOUT: Final = re.compile(
    r"(?:about|around|roughly|nearly|almost|approximately|circa|ca\.|some|~|≈)\s*$", re.IGNORECASE
)


@dataclass(frozen=True)
class WrittenNumber:
    """A number of a text.

    Attributes
    ----------
    text : str
        As written, with its unit.
    value : float
        Without its sign, in `unit`.
    decimals : int
        Digits behind the point.
    dimension, unit : str
        ``temperature`` and ``°C``; empty for a plain number.
    inherited : bool
        Whether the unit is that of the next number, as in ``25 to 114 °C``.
    about : bool
        Whether the text says that it is a round number.
    start, end : int
        Its place in the text.
    """

    text: str
    value: float
    decimals: int
    dimension: str = ""
    unit: str = ""
    inherited: bool = False
    about: bool = False
    start: int = 0
    end: int = 0

    @property
    def half_step(self) -> float:
        """Half of the last digit: how far off a number that was rounded to this one may be."""
        half = 0.5 * 10.0**-self.decimals
        if not self.about or self.decimals or not self.value:
            return half
        digits = f"{self.value:.0f}"
        zeros = len(digits) - len(digits.rstrip("0"))
        return max(half, min(0.5 * 10.0**zeros, _ROUND * self.value))

    @cached_property
    def readings(self) -> tuple[tuple[str, float, float], ...]:
        """Dimension, value and half step in the units quenchbook keeps.

        A temperature is read as a place on the scale and as a difference.
        """
        return tuple(self._readings())

    def _readings(self) -> Iterator[tuple[str, float, float]]:
        if not self.dimension or self.inherited:
            yield "", self.value, self.half_step
        if self.dimension == "share":
            yield "share", self.value, self.half_step
            yield "", self.value / 100, self.half_step / 100
        elif self.dimension:
            step = difference_dimension(self.dimension)
            width = convert(self.half_step, self.unit, step)
            for dimension in dict.fromkeys((self.dimension, step)):
                yield dimension, convert(self.value, self.unit, dimension), width


def written_numbers(text: str) -> list[WrittenNumber]:
    """Numbers of a text in their order; not those in names, dates, times of day and addresses.

    >>> [(n.value, n.unit) for n in written_numbers("A2 gains 0.69 to 1.19 HRC at 1,010 °C")]
    [(0.69, 'HRC'), (1.19, 'HRC'), (1010.0, '°C')]
    """
    plain = _blanked(_blanked(text, _DATE), _ADDRESS)
    found = [_number(match, plain) for match in _NUMBER.finditer(plain)]
    for place in range(len(found) - 2, -1, -1):
        own, after = found[place], found[place + 1]
        if not own.dimension and after.dimension and _RANGE.fullmatch(plain[own.end : after.start]):
            found[place] = replace(own, dimension=after.dimension, unit=after.unit, inherited=True)
    return found


def with_unit_of(number: WrittenNumber, unit: str) -> WrittenNumber:
    """Number of a table cell with the unit of its column, if it has none of its own."""
    given = next(iter(written_numbers(f"1 {unit}")), number)
    if number.dimension or not given.dimension:
        return number
    return replace(number, text=f"{number.text} {unit}", dimension=given.dimension, unit=given.unit)


def written_dates(text: str) -> list[tuple[str, datetime.date]]:
    """Dates of a text, as written and as a day."""
    dates = []
    for found in _DATE.finditer(text):
        parts = found.groupdict()
        year, month, day = (
            next(parts[name + end] for end in ("", "2", "3") if parts[name + end]) for name in "ymd"
        )
        number = _MONTHS.index(month) + 1 if month in _MONTHS else int(month)
        try:
            dates.append((found[0], datetime.date(int(year), number, int(day))))
        except ValueError:  # no such day: a number of something else
            continue
    return dates


def _blanked(text: str, pattern: re.Pattern[str]) -> str:
    return pattern.sub(lambda found: "\u2026" * len(found[0]), text)


def _number(found: re.Match[str], text: str) -> WrittenNumber:
    digits = found["number"]
    grouped = re.fullmatch(r"\d{1,3}(?:[,\u00a0\u2009\u202f]\d{3})+(?:\.\d+)?", digits)
    plain = re.sub(r"[,\u00a0\u2009\u202f]", "", digits) if grouped else digits.replace(",", ".")
    dimension = next((name for name in _UNITS if found[name]), "")
    unit = found[dimension] if dimension else ""
    start = found.start("number")
    return WrittenNumber(
        text=found[0].strip(),
        value=float(plain),
        decimals=len(plain.partition(".")[2]),
        dimension=dimension.removeprefix("bare_"),
        unit=_unit(unit, dimension),
        about=_ABOUT.search(text[: found.start()]) is not None,
        start=start,
        end=found.end(),
    )


def _unit(unit: str, dimension: str) -> str:
    """Unit as `quenchbook.units` knows it."""
    if "temperature" in dimension:
        return "K" if unit == "K" else f"°{'F' if 'F' in unit else 'C'}"
    if dimension == "energy":
        return "ft lbf" if unit.startswith("f") else "J"
    return "h" if unit.startswith("hr") else unit
