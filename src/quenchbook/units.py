"""Text with a unit in, plain number out; value and uncertainty back to text.

Users write ``1900 degF``, ``1 h`` or ``62,5``. Inside, quenchbook holds plain floats in one storage
unit that the column name ends with. User text never goes to pint (it reads ``1925F`` as farad): the
number and the unit are found here and pint only converts.
"""

from __future__ import annotations

import functools
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any, Final

from quenchbook.errors import UnitError

MINUS: Final = "\u2212"
NO_BREAK: Final = "\u00a0"

STORAGE_UNITS: Final[Mapping[str, str]] = {
    "temperature": "degC",
    "temperature_difference": "delta_degC",
    "time": "minute",
    "length": "mm",
    "energy": "J",
    "hardness": "HRC",
    "count": "times",
}

_ALIASES: Final[Mapping[str, Mapping[str, str]]] = {
    "temperature": {
        "c": "degC", "°c": "degC", "degc": "degC", "deg c": "degC", "celsius": "degC",
        "f": "degF", "°f": "degF", "degf": "degF", "deg f": "degF", "fahrenheit": "degF",
        "k": "kelvin", "kelvin": "kelvin",
    },
    "temperature_difference": {
        "c": "delta_degC", "°c": "delta_degC", "degc": "delta_degC", "deg c": "delta_degC",
        "delta_degc": "delta_degC", "k": "delta_degC", "kelvin": "delta_degC",
        "f": "delta_degF", "°f": "delta_degF", "degf": "delta_degF", "deg f": "delta_degF",
        "delta_degf": "delta_degF",
    },
    "time": {
        "s": "second", "sec": "second", "second": "second", "seconds": "second",
        "min": "minute", "minute": "minute", "minutes": "minute",
        "h": "hour", "hr": "hour", "hour": "hour", "hours": "hour",
        "d": "day", "day": "day", "days": "day",
    },
    "length": {
        "mm": "mm", "cm": "cm", "m": "m", "in": "inch", "inch": "inch", '"': "inch",
        "ft": "foot", "foot": "foot", "feet": "foot",
    },
    "energy": {
        "j": "joule", "joule": "joule", "joules": "joule",
        "ftlbf": "foot*pound_force", "ftlb": "foot*pound_force",
        "ft lbf": "foot*pound_force", "ft lb": "foot*pound_force",
        "ft-lb": "foot*pound_force", "ft-lbf": "foot*pound_force", "ft*lbf": "foot*pound_force",
    },
    "hardness": {"hrc": "HRC"},
    "count": {"times": "times", "time": "times"},
}  # fmt: skip

_DIFFERENCES: Final[Mapping[str, str]] = {"temperature": "temperature_difference"}

_SHARES: Final = ("%", "per cent", "percent", "pct")

_QUANTITY = re.compile(r"^([+-]?\d[\d.,' ]*|[+-]?[.,]\d+)\s*([^\d\s].*)?$")


@functools.cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def unit_named(text: str, dimension: str) -> str:
    """Name pint knows for a unit a person wrote, within one dimension.

    >>> unit_named("°F", "temperature")
    'degF'
    """
    aliases = _ALIASES[dimension]
    found = aliases.get(" ".join(_plain(text).lower().split()))
    if found is None:
        examples = ", ".join(sorted({name for name in aliases if len(name) > 1} or set(aliases)))
        raise UnitError(
            f"'{text}' is not a unit of {dimension.replace('_', ' ')}. Write one of {examples}."
        )
    return found


def convert(value: float, unit: str, dimension: str) -> float:
    """Convert a value to the storage unit of its dimension.

    Parameters
    ----------
    value : float
        Number in `unit`.
    unit : str
        Unit as a person writes it, such as ``degF`` or ``ft lbf``.
    dimension : str
        Key of `STORAGE_UNITS`.

    >>> round(convert(1850, "degF", "temperature"), 3)
    1010.0
    """
    source, target = unit_named(unit, dimension), STORAGE_UNITS[dimension]
    if source == target or dimension in ("hardness", "count"):
        return float(value)
    return _converted(float(value), source, target)


def converted(value: float, unit: str, other: str, dimension: str) -> float:
    """Convert a value from one unit of a dimension to another.

    Parameters
    ----------
    value : float
        Number in `unit`.
    unit, other : str
        Units as a person writes them.
    dimension : str
        Key of `STORAGE_UNITS`.

    >>> round(converted(100.0, "degC", "degF", "temperature"), 6)
    212.0
    """
    return _converted(float(value), unit_named(unit, dimension), unit_named(other, dimension))


@functools.lru_cache(maxsize=65_536)  # a table of readings holds few different numbers
def _converted(value: float, source: str, target: str) -> float:
    return float(_registry().Quantity(value, source).to(target).magnitude)


def is_energy(unit: str) -> bool:
    """Whether a unit is one of energy.

    >>> is_energy("J"), is_energy("ft lbf"), is_energy("HRC"), is_energy("")
    (True, True, False, False)
    """
    return " ".join(_plain(unit).lower().split()) in _ALIASES["energy"]


def difference_dimension(dimension: str) -> str:
    """Dimension in which a step or a distance is read: no zero point of a scale enters it.

    >>> round(parse_quantity("40 degF", difference_dimension("temperature")), 1)
    22.2
    >>> difference_dimension("time")
    'time'
    """
    return _DIFFERENCES.get(dimension, dimension)


def parse_number(text: str, *, decimal: str | None = None) -> float:
    """Read a number, with a decimal point or a decimal comma.

    Parameters
    ----------
    text : str
        A number as a person writes it; Unicode minus and narrow spaces are understood.
    decimal : {".", ",", None}
        Decimal mark of the file. None refuses a number that could be read two ways (``1,925``).

    >>> parse_number("62,5")
    62.5
    """
    plain = re.sub(r"(?<=\d)[ '](?=\d{3}(?!\d))", "", _plain(text)).strip()
    if not re.fullmatch(r"[+-]?(\d[\d.,]*|[.,]\d+)([eE][+-]?\d+)?", plain):
        raise UnitError(f"'{text}' is not a number.")
    if decimal is None and re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", plain):
        raise UnitError(
            f"'{text}' can be read as a thousand or as a decimal. "
            f"Write {plain.replace(',', '')} or {plain.replace(',', '.')}."
        )
    mark = decimal or max(",.", key=plain.rfind)
    other = "," if mark == "." else "."
    if other in plain and not re.match(rf"[+-]?\d{{1,3}}(\{other}\d{{3}})+(?!\d|\{other})", plain):
        raise UnitError(f"'{text}' is not a number with the decimal mark '{mark}'.")
    plain = plain.replace(other, "").replace(mark, ".")
    try:
        return float(plain)
    except ValueError:
        raise UnitError(f"'{text}' is not a number.") from None


def parse_quantity(
    text: str, dimension: str, *, unit: str | None = None, decimal: str | None = None
) -> float:
    """Read a number with its unit into the storage unit of a dimension.

    Parameters
    ----------
    text : str
        Such as ``1900 degF``, ``1 day``, ``62,5``.
    dimension : str
        Key of `STORAGE_UNITS`.
    unit : str, optional
        Unit of a bare number (from the column's header). Without it a bare number is refused.
    decimal : {".", ",", None}
        Decimal mark of the file.

    >>> parse_quantity("1 day", "time")
    1440.0
    """
    match = _QUANTITY.match(_plain(text))
    if match is None:
        raise UnitError(f"'{text}' is not a number with a unit.")
    written = (match[2] or "").strip() or unit
    if written is None:
        example = {
            "temperature": "degC or degF",
            "temperature_difference": "degC or degF",
            "time": "min or h",
            "energy": "J or ft lbf",
        }
        raise UnitError(
            f"'{text}' has no unit. Write {example.get(dimension, STORAGE_UNITS[dimension])} "
            "after it."
        )
    return convert(parse_number(match[1], decimal=decimal), written, dimension)


def _plain(text: str) -> str:
    text = unicodedata.normalize("NFKC", str(text)).replace(MINUS, "-").replace("\u2013", "-")
    return " ".join(text.split())


# --- back to text ------------------------------------------------------------------------------


def capital(text: str) -> str:
    """Text with a capital first letter; the rest stays as it is."""
    return text[:1].upper() + text[1:]


def decimals_for(std_error: float, unit: str = "") -> int:
    """Decimals that show two significant digits of a standard error (0 to 6).

    Never more than help in the unit: two for HRC, one for J.
    """
    most = {"HRC": 2, "J": 1}.get(unit, 6)
    if not math.isfinite(std_error) or std_error <= 0:
        return min(most, 2)
    return min(most, max(0, 1 - math.floor(math.log10(std_error))))


def listed(items: Sequence[str]) -> str:
    """Items as people list them: ``a, b and c``."""
    return " and ".join(filter(None, [", ".join(items[:-1]), *items[-1:]]))


def number_text(value: float, decimals: int = 2, *, sign: bool = False) -> str:
    """Write a number for people: true minus, optional plus sign, ``not known`` for nan.

    >>> number_text(-0.231, 2)
    '−0.23'
    """
    if value != value:
        return "not known"
    if math.isinf(value):
        return "no limit"
    rounded = round(value, decimals) + 0.0
    text = f"{abs(rounded):.{decimals}f}"
    if float(text) == 0.0:
        return text
    return (MINUS if rounded < 0 else "+" if sign else "") + text


def with_unit(text: str, unit: str) -> str:
    """Join a number and its unit by a no-break space; ``degC`` becomes °C."""
    return f"{text}{NO_BREAK}{unit_text(unit)}" if unit else text


def unit_text(unit: str) -> str:
    """Unit as it is printed: ``degC`` as °C, ``minutes`` as min, others as they are."""
    return {"degC": "°C", "degF": "°F", "minutes": "min", "delta_degC": "°C"}.get(unit, unit)


def difference_unit(unit: str) -> str:
    """Unit of a difference: shares in per cent differ by percentage points.

    >>> difference_unit("per cent"), difference_unit("HRC")
    ('percentage points', 'HRC')
    """
    return "percentage points" if unit.strip().lower() in _SHARES else unit


def interval_text(low: float, high: float, decimals: int = 2, *, sign: bool = False) -> str:
    """Write an interval as ``0.69 to 1.19``."""
    return f"{number_text(low, decimals, sign=sign)} to {number_text(high, decimals, sign=sign)}"


def times_text(count: float) -> str:
    r"""Write how often something is done: ``once``, ``twice``, ``3 times``.

    >>> times_text(1), times_text(2), times_text(3)
    ('once', 'twice', '3\xa0times')
    """
    return {1.0: "once", 2.0: "twice"}.get(float(count), f"{count:g}{NO_BREAK}times")


def unit_ending(unit: str) -> str:
    """Letters of a unit for the end of a column's name; ``percent`` for the sign of it.

    >>> unit_ending("HRC"), unit_ending("%"), unit_ending("")
    ('hrc', 'percent', '')
    """
    return re.sub(r"[^a-z0-9]", "", unit.lower().replace("%", "percent"))


def minutes_text(minutes: float) -> str:
    r"""Write a time as people say it: ``0 min``, ``45 min``, ``2 h``, ``1 day``.

    >>> minutes_text(1440), minutes_text(90)
    ('1\xa0day', '90\xa0min')
    """
    if minutes >= 1440 and minutes % 1440 == 0:
        days = int(minutes // 1440)
        return f"{days}{NO_BREAK}day" + ("s" if days > 1 else "")
    if minutes >= 120 and minutes % 60 == 0:
        return f"{int(minutes // 60)}{NO_BREAK}h"
    return f"{minutes:g}{NO_BREAK}min"
