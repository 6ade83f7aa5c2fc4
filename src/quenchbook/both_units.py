"""Numbers in print: in the unit they are held in, or with the other one of the trade beside it.

A study file says ``units = "both"`` under ``[publishing]``, and the report then reads ``970 °C
(1778 °F)`` and ``40 J (29.5 ft lbf)``. Three kinds of number convert differently: a place on a
scale takes its zero along (0 °C is 32 °F), a difference does not (5 °C are 9 °F), and both ends of
a range go together (``993 to 1022 °C (1819 to 1872 °F)``). What stands in brackets is the number
before it as printed, so that a reader who converts it finds the same; full digits are in the data,
which stay in one unit.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from quenchbook.units import (
    NO_BREAK,
    converted,
    decimals_for,
    number_text,
    unit_text,
    with_unit,
)

PrintedUnits = Literal["metric", "both"]

# unit in print: dimension, the other unit; HRC, mm and minutes stand alone
_OTHERS: Final[Mapping[str, tuple[str, str]]] = {
    "degC": ("temperature", "degF"),
    "J": ("energy", "ft lbf"),
    "ft lbf": ("energy", "J"),
}


@dataclass(frozen=True)
class Scale:
    """One scale that a quantity is printed on.

    Attributes
    ----------
    unit : str
        Unit in print.
    size : float
        How many of it make one of the unit that the number is held in.
    zero : float
        Where the zero of that unit lies on this scale.
    """

    unit: str
    size: float = 1.0
    zero: float = 0.0

    def place(self, value: float) -> float:
        """A place on the scale: its zero comes along."""
        return self.zero + self.size * value

    def difference(self, value: float) -> float:
        """A distance between two places: the zero drops out."""
        return self.size * value


@functools.cache
def _other_scale(unit: str) -> Scale | None:
    """Scale of the other unit; None where the trade has no other."""
    if unit not in _OTHERS:
        return None
    dimension, other = _OTHERS[unit]
    zero, one = (converted(value, unit, other, dimension) for value in (0.0, 1.0))
    return Scale(unit_text(other), one - zero, zero)


@dataclass(frozen=True)
class Printed:
    """How numbers of one quantity stand in print.

    Attributes
    ----------
    unit : str
        Unit that the numbers are held in: ``degC``, ``J``, ``HRC``, or empty.
    units : str
        ``metric``: that unit alone. ``both``: the other one in brackets, where there is one.
    """

    unit: str = ""
    units: PrintedUnits = "metric"

    @property
    def other(self) -> Scale | None:
        """Scale that stands beside; None where numbers stand in one unit."""
        return _other_scale(self.unit) if self.units == "both" else None

    def place(self, value: float, decimals: int = 0) -> str:
        r"""A place on the scale: ``970 °C (1778 °F)``.

        >>> Printed("degC", "both").place(970.0).replace("\xa0", " ")
        '970 °C (1778 °F)'
        """
        value = round(value, decimals)
        return self.in_each(lambda own: _plain(own, own.place(value), decimals))

    def place_range(self, low: float, high: float, decimals: int = 0) -> str:
        r"""Both ends of a range of places, each unit once.

        >>> Printed("degC", "both").place_range(993.0, 1022.0).replace("\xa0", " ")
        '993 to 1022 °C (1819 to 1872 °F)'
        """
        low, high = round(low, decimals), round(high, decimals)
        return self.in_each(
            lambda own: (
                f"{_plain(own, own.place(low), decimals)} to "
                f"{_plain(own, own.place(high), decimals)}"
            )
        )

    def difference(
        self, value: float, decimals: int = 0, *, std_error: float | None = None, sign: bool = False
    ) -> str:
        r"""A difference, a scatter or an energy: ``+27 °C (+49 °F)``.

        Parameters
        ----------
        value : float
            In `unit`.
        decimals : int
            Of both numbers.
        std_error : float, optional
            Gives the decimals instead: two digits of it, in each unit for itself.
        sign : bool
            Whether what is above zero gets a plus.

        >>> Printed("degC", "both").difference(27.0, sign=True).replace("\xa0", " ")
        '+27 °C (+49 °F)'
        """
        value = round(value, self._decimals(Scale(self.unit), decimals, std_error))
        return self.in_each(
            lambda own: number_text(
                own.difference(value), self._decimals(own, decimals, std_error), sign=sign
            )
        )

    def difference_range(
        self,
        low: float,
        high: float,
        decimals: int = 0,
        *,
        std_error: float | None = None,
        sign: bool = False,
    ) -> str:
        r"""Both ends of an interval of differences, each unit once.

        >>> Printed("degC", "both").difference_range(18.0, 47.0, sign=True).replace("\xa0", " ")
        '+18 to +47 °C (+32 to +85 °F)'
        """
        shown = self._decimals(Scale(self.unit), decimals, std_error)
        low, high = round(low, shown), round(high, shown)
        return self.in_each(lambda own: self._ends(own, low, high, decimals, std_error, sign=sign))

    def limits(
        self,
        low: float,
        high: float,
        decimals: int = 0,
        *,
        std_error: float | None = None,
        sign: bool = False,
    ) -> str:
        """Limits beside an estimate that names its unit; with units where there are two.

        >>> Printed("HRC", "both").limits(0.69, 1.19, 2)
        '0.69 to 1.19'
        """
        if self.other is not None:
            return self.difference_range(low, high, decimals, std_error=std_error, sign=sign)
        return self._ends(Scale(self.unit), low, high, decimals, std_error, sign=sign)

    def told(self, value: float) -> str:
        r"""An amount as a person wrote it: ``10 °C (18 °F)``, ``40 J (29.5 ft lbf)``.

        The amount is exact, so the other one gets a decimal more where it needs it.

        >>> Printed("J", "both").told(40.0).replace("\xa0", " ")
        '40 J (29.5 ft lbf)'
        """
        text = f"{value:g}"
        if self.other is None:
            return with_unit(text, self.unit)
        return (
            f"{with_unit(text, self.unit)} ({with_unit(self.beside(value, text), self.other.unit)})"
        )

    def beside(self, value: float, text: str, *, sign: bool = False) -> str:
        """An exact difference on the other scale, a decimal finer than its `text` if need be.

        Empty where numbers stand in one unit.

        >>> Printed("J", "both").beside(40.0, "40"), Printed("degC", "both").beside(-10.0, "-10")
        ('29.5', '−18')
        """
        if self.other is None:
            return ""
        decimals = len(text.partition(".")[2]) + 1
        return _without_zeros(number_text(self.other.difference(value), decimals, sign=sign))

    def beside_place(self, value: float, decimals: int = 0) -> str:
        """A place on the other scale: ``1778``; empty where numbers stand in one unit.

        >>> Printed("degC", "both").beside_place(970.0), Printed("degC").beside_place(970.0)
        ('1778', '')
        """
        if self.other is None:
            return ""
        return _plain(self.other, self.other.place(round(value, decimals)), decimals)

    def with_limits(self, estimate: str, limits: str) -> str:
        """Estimate and its interval: ``+28 (16 to 54)``; a comma where brackets hold a unit."""
        return f"{estimate}, {limits}" if self.other is not None else f"{estimate} ({limits})"

    def in_each(self, words: Callable[[Scale], str]) -> str:
        """The same words in each unit, the second in brackets.

        Parameters
        ----------
        words : callable
            Numbers of one scale as text, without the unit.
        """
        text = with_unit(words(Scale(self.unit)), self.unit)
        if self.other is None:
            return text
        beside = with_unit(words(self.other), self.other.unit)
        return f"{text} ({beside.replace(' ', NO_BREAK)})"  # a line breaks before the bracket

    def _decimals(self, own: Scale, decimals: int, std_error: float | None) -> int:
        if std_error is None:
            return decimals
        return decimals_for(own.difference(std_error), self.unit)

    def _ends(
        self,
        own: Scale,
        low: float,
        high: float,
        decimals: int,
        std_error: float | None,
        *,
        sign: bool,
    ) -> str:
        places = self._decimals(own, decimals, std_error)
        first, last = (
            number_text(own.difference(value), places, sign=sign) for value in (low, high)
        )
        return f"{first} to {last}"


def _plain(own: Scale, value: float, decimals: int) -> str:
    """A place; where it was converted, whole degrees stand without decimals: ``1450``."""
    text = number_text(value, decimals)
    return _without_zeros(text) if own.zero != 0.0 else text


def _without_zeros(text: str) -> str:
    return text.rstrip("0").rstrip(".") if "." in text else text
