"""The price list of a study: what steel, furnace, cold, tests and own work cost, as far as told."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, StudyError
from quenchbook.study.mistakes import nearest

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

ASSUMED: Final = "assumed, common practice, no source"
"""Mark of an amount or a time that the study file does not tell."""

PRICES: Final[Mapping[str, str]] = {
    "coupon": "steel of one coupon",
    "bar": "one bar of steel",
    "furnace_load": "one furnace load: foil, gas, what it costs beside its hours",
    "furnace_hour": "one hour of furnace or temper oven",
    "temper_batch": "one temper batch, beside its hours",
    "cold_batch": "one cold batch, beside what cools it",
    "liquid_nitrogen_litre": "one litre of liquid nitrogen",
    "dry_ice_kg": "one kilogram of dry ice",
    "indent": "one indent",
    "impact_test": "one impact test",
    "own_hour": "one hour of one's own work",
}
"""Prices in the currency of the study, with what each pays for; none has a default."""

AMOUNTS: Final[Mapping[str, tuple[str, str]]] = {
    "liquid_nitrogen_litres_a_batch": ("l", "of liquid nitrogen a cold batch"),
    "dry_ice_kg_a_batch": ("kg", "of dry ice a cold batch"),
    "hours_a_furnace_load": ("h", "of work a furnace load"),
    "hours_a_temper_batch": ("h", "of work a temper batch"),
    "hours_a_cold_batch": ("h", "of work a cold batch"),
    "hours_a_coupon": ("h", "of sawing and grinding a coupon"),
    "minutes_an_indent": ("min", "an indent"),
    "minutes_an_impact_test": ("min", "an impact test"),
    "furnace_hours_a_load": ("h", "of furnace a furnace load"),
    "furnace_hours_a_temper_batch": ("h", "of oven a temper batch"),
}
"""Amounts and times with their units; those of `Prices` are assumed where they are not told."""


@dataclass(frozen=True)
class Prices:
    """What things cost and how long they take.

    Attributes
    ----------
    currency : str
        As printed; empty when not told.
    coupon, bar, furnace_load, furnace_hour, temper_batch, cold_batch : float or None
    liquid_nitrogen_litre, dry_ice_kg, indent, impact_test, own_hour : float or None
        Prices [currency], see `PRICES`; None: not told, which is never taken for zero.
    liquid_nitrogen_litres_a_batch, dry_ice_kg_a_batch : float
        What one cold batch takes [l], [kg].
    hours_a_furnace_load, hours_a_temper_batch, hours_a_cold_batch, hours_a_coupon : float
        Own work [h].
    minutes_an_indent, minutes_an_impact_test : float
        Own work [min].
    furnace_hours_a_load, furnace_hours_a_temper_batch : float
        Hours that furnace or oven are on [h].
    assumed : tuple of str
        Amounts and times that the study does not tell: the defaults here, assumed from common
        practice, no source.
    """

    currency: str = ""
    coupon: float | None = None
    bar: float | None = None
    furnace_load: float | None = None
    furnace_hour: float | None = None
    temper_batch: float | None = None
    cold_batch: float | None = None
    liquid_nitrogen_litre: float | None = None
    dry_ice_kg: float | None = None
    indent: float | None = None
    impact_test: float | None = None
    own_hour: float | None = None
    liquid_nitrogen_litres_a_batch: float = 5.0
    dry_ice_kg_a_batch: float = 2.0
    hours_a_furnace_load: float = 1.0
    hours_a_temper_batch: float = 0.25
    hours_a_cold_batch: float = 0.25
    hours_a_coupon: float = 0.1
    minutes_an_indent: float = 1.0
    minutes_an_impact_test: float = 3.0
    furnace_hours_a_load: float = 2.0
    furnace_hours_a_temper_batch: float = 4.5
    assumed: tuple[str, ...] = tuple(AMOUNTS)

    def money(self, amount: float) -> str:
        r"""Money in print: whole from 100 on, cents below.

        >>> Prices(currency="EUR").money(1234.4), Prices().money(3.2)
        ('1234\xa0EUR', '3.20\xa0money units')
        """
        text = f"{amount:.0f}" if abs(amount) >= 100 or float(amount).is_integer() else ""
        return f"{text or f'{amount:.2f}'}\u00a0{self.currency or 'money units'}"

    def amount_words(self, key: str) -> str:
        r"""Amount or time in print.

        >>> Prices().amount_words("hours_a_coupon")
        '0.1\xa0h of sawing and grinding a coupon'
        """
        unit, words = AMOUNTS[key]
        return f"{getattr(self, key):g}\u00a0{unit} {words}"


def price_mistakes(costs: Mapping[str, object]) -> list[tuple[str, str, str]]:
    """Everything that is wrong with a ``[costs]`` table.

    Parameters
    ----------
    costs : mapping
        As it stands in the study file.

    Returns
    -------
    list of (key, what was found, what to write)
    """
    known = ["currency", *PRICES, *AMOUNTS]
    found = []
    for key, value in costs.items():
        if key not in known:
            remedy = nearest(key, known)
            found.append((key, f"'{key}' is not known here", remedy))
        elif key == "currency":
            if not isinstance(value, str) or not value.strip():
                found.append((key, f"currency is {value!r}", 'Write currency = "EUR".'))
        elif isinstance(value, bool) or not isinstance(value, int | float) or not _is_amount(value):
            unit = AMOUNTS[key][0] if key in AMOUNTS else "the currency"
            remedy = f"Write a number in {unit}, zero or more: {key} = 2.50."
            found.append((key, f"{key} is {value!r}", remedy))
    if "coupon" in costs and "bar" in costs:
        remedy = "Keep coupon or bar, not both."
        found.append(("bar", "steel is priced twice, by the coupon and by the bar", remedy))
    return found


def prices_of(study: Study) -> Prices:
    """Price list of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Prices

    Raises
    ------
    StudyError
        With every mistake, where the table was not read from a study file.
    """
    costs = study.costs
    if mistakes := price_mistakes(costs):
        raise StudyError([Problem(f"costs.{key}", what, do) for key, what, do in mistakes])
    names = {entry.name for entry in dataclasses.fields(Prices)}
    numbers = {
        key: float(value)
        for key, value in costs.items()
        if key in names and isinstance(value, int | float)
    }
    return Prices(
        currency=str(costs.get("currency", "")).strip(),
        assumed=tuple(key for key in AMOUNTS if key not in costs),
        **numbers,
    )


def _is_amount(value: float) -> bool:
    return math.isfinite(value) and value >= 0
