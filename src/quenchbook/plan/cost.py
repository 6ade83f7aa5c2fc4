"""What a plan costs in money and in hours, line by line; what has no price is named, not zero."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from quenchbook.made_by import made_from
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import route_key
from quenchbook.study.prices import ASSUMED, Prices, prices_of
from quenchbook.units import listed

_COOLANTS: Final = {
    "liquid_nitrogen": (
        "liquid nitrogen", "litre", "liquid_nitrogen_litre", "liquid_nitrogen_litres_a_batch",
    ),
    "dry_ice": ("dry ice", "kg", "dry_ice_kg", "dry_ice_kg_a_batch"),
}  # fmt: skip
_NEEDED: Final = {
    "liquid_nitrogen": "liquid nitrogen", "dry_ice": "dry ice", "cold_batch": "cold batches",
    "temper_batch": "temper batches", "indent": " indents", "impact_test": " tests",
}  # fmt: skip
"""Part of the name of an amount or time, and the line it enters; the others enter every plan."""


@dataclass(frozen=True)
class PlanCounts:
    """How many of each thing a plan needs.

    Attributes
    ----------
    coupons, furnace_loads, temper_batches : int
    bars : int
        0: not recorded.
    cold_batches : mapping of route to int
        Batches of each cold route; ``none`` is no batch. The route is empty where the study does
        not vary it.
    readings : mapping of response to int
        Readings times tested coupons.
    """

    coupons: int
    furnace_loads: int
    temper_batches: int
    bars: int
    cold_batches: Mapping[str, int]
    readings: Mapping[str, int]

    def with_readings(self, response: str, readings: int) -> PlanCounts:
        """Same plan with another number of readings of one response."""
        return replace(self, readings={**self.readings, response: readings})


@dataclass(frozen=True)
class CostLine:
    """One thing that is paid for or takes time.

    Attributes
    ----------
    item : str
    amount : float
    unit : str
        What is counted.
    price : float or None
        Of one unit [currency]; None: no price told.
    hours : float
        Own work [h].
    furnace_hours : float
        Hours of furnace or oven [h].
    """

    item: str
    amount: float
    unit: str
    price: float | None
    hours: float = 0.0
    furnace_hours: float = 0.0

    @property
    def total(self) -> float | None:
        """Money for the line; None: no price told."""
        return None if self.price is None else self.price * self.amount


@dataclass(frozen=True, eq=False, repr=False)
class PlanCost(ShowsItself):
    """Cost of a plan.

    Attributes
    ----------
    lines : tuple of CostLine
    prices : Prices
    unpriced : tuple of str
        What is not in the sum, for no price is told.
    """

    lines: tuple[CostLine, ...]
    prices: Prices
    unpriced: tuple[str, ...] = ()

    @property
    def total(self) -> float:
        """Money for all that has a price [currency]; nan where nothing has."""
        told = [line.total for line in self.lines if line.total is not None]
        return sum(told) if told else math.nan

    @property
    def hours(self) -> float:
        """Own work [h]."""
        return sum(line.hours for line in self.lines)

    @property
    def furnace_hours(self) -> float:
        """Hours of furnace and oven [h]."""
        return sum(line.furnace_hours for line in self.lines)

    def to_frame(self) -> pd.DataFrame:
        """One row for each line.

        Returns
        -------
        DataFrame
            ``item, amount, unit, price, total, hours, furnace_hours``; blank price and total: no
            price told.
        """
        rows = [
            (own.item, own.amount, own.unit, own.price, own.total, own.hours, own.furnace_hours)
            for own in self.lines
        ]
        names = ["item", "amount", "unit", "price", "total", "hours", "furnace_hours"]
        frame = pd.DataFrame(rows, columns=names)
        numbers = ["amount", "price", "total", "hours", "furnace_hours"]
        return frame.astype(dict.fromkeys(numbers, float))

    def sum_words(self) -> str:
        """Money and hours in one sentence, and what has no price."""
        hours = f"{self.hours:.0f} hours of work"
        if math.isnan(self.total):
            return f"About {hours}; no price told."
        left_out = f"; not in it, no price told: {listed(self.unpriced)}" if self.unpriced else ""
        money = self.prices.money(float(f"{self.total:.3g}"))
        return f"About {money} and {hours}{left_out}."

    def notes(self) -> tuple[str, ...]:
        """What was assumed, and what takes time that is not told."""
        notes = []
        words = [self.prices.amount_words(key) for key in self.prices.assumed if self._uses(key)]
        if words:
            notes.append(f"Amounts and times {ASSUMED}: {listed(words)}.")
        if untimed := [line.item for line in self.lines if line.unit == "reading"]:
            notes.append(f"Not in the hours: {listed(untimed)}.")
        return tuple(notes)

    def _uses(self, key: str) -> bool:
        """Whether an amount or time enters a line of this plan."""
        if key.startswith("furnace_hours") and self.prices.furnace_hour is None:
            return False
        needed = next((name for part, name in _NEEDED.items() if part in key), "")
        return any(needed in line.item for line in self.lines)

    def shown(self) -> Shown:
        """Money and hours in one sentence, then each line."""
        table = self.to_frame()
        table["price"] = [
            "no price told" if own.price is None else f"{own.price:.2f}" for own in self.lines
        ]
        return Shown(self.sum_words(), table, self.notes())

    def __repr__(self) -> str:
        return f"<PlanCost: {self.sum_words()}>"


def plan_cost(matrix: CouponMatrix) -> PlanCost:
    """Cost of a plan by the prices of its study.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    PlanCost
        Lines for steel, furnace loads, cold batches, what cools them, temper batches, indents and
        impact tests.
    """
    own = cost_of(plan_counts(matrix), matrix.study, prices_of(matrix.study))
    return made_from(own, matrix)


def plan_counts(matrix: CouponMatrix) -> PlanCounts:
    """How many of each thing a plan needs."""
    study, frame = matrix.study, matrix.frame
    cold: dict[str, int] = {}
    if "cold_batch" in frame:
        first = frame[frame["cold_batch"] != ""].drop_duplicates("cold_batch")
        routes = first["cold_route"] if "cold_route" in first else pd.Series("", index=first.index)
        cold = {str(name): int(n) for name, n in routes.value_counts(sort=False).items()}
        cold.pop("none", None)
    tested = {own.name: int(frame[f"{own.name}_order"].notna().sum()) for own in study.responses}
    return PlanCounts(
        coupons=len(frame),
        furnace_loads=_numbered(frame, "furnace_load"),
        temper_batches=_numbered(frame, "temper_batch"),
        bars=int(frame["bar"].nunique()) if "bar" in frame else _bars_needed(study, len(frame)),
        cold_batches=cold,
        readings={own.name: own.readings * tested[own.name] for own in study.responses},
    )


def _numbered(frame: pd.DataFrame, unit: str) -> int:
    """Number of units; 0 stands for none (references that leave a step out)."""
    return int(frame.loc[frame[unit] > 0, unit].nunique()) if unit in frame else 0


def _bars_needed(study: Study, coupons: int) -> int:
    each = study.layout.coupons_per_bar
    return math.ceil(coupons / each) if each else 0


def cost_of(counts: PlanCounts, study: Study, prices: Prices) -> PlanCost:
    """Cost of what a plan needs.

    Parameters
    ----------
    counts : PlanCounts
    study : Study
        Gives the words for its units and the kinds of its responses.
    prices : Prices
    """
    lines = [
        _steel(counts, prices),
        _heated(
            study.unit_word("furnace_load", 2), "load", counts.furnace_loads, prices,
            prices.furnace_load, prices.hours_a_furnace_load, prices.furnace_hours_a_load,
        ),
    ]  # fmt: skip
    if batches := sum(counts.cold_batches.values()):
        hours = prices.hours_a_cold_batch * batches
        lines.append(CostLine("cold batches", batches, "batch", prices.cold_batch, hours))
    for route, (item, unit, price, each) in _COOLANTS.items():
        own = [n for name, n in counts.cold_batches.items() if route_key(name) == route]
        if number := sum(own):
            amount = number * getattr(prices, each)
            lines.append(CostLine(item, amount, unit, getattr(prices, price)))
    if counts.temper_batches:
        lines.append(
            _heated(
                "temper batches", "batch", counts.temper_batches, prices, prices.temper_batch,
                prices.hours_a_temper_batch, prices.furnace_hours_a_temper_batch,
            )
        )  # fmt: skip
    lines += [
        _readings(response, counts.readings[response.name], prices) for response in study.responses
    ]
    if prices.own_hour is not None:
        work = sum(line.hours for line in lines)
        lines.append(CostLine("own work", work, "hour", prices.own_hour))
    return PlanCost(
        lines=tuple(lines),
        prices=prices,
        unpriced=tuple(line.item for line in lines if line.price is None),
    )


def _steel(counts: PlanCounts, prices: Prices) -> CostLine:
    hours = prices.hours_a_coupon * counts.coupons
    if prices.bar is None:
        return CostLine("steel", counts.coupons, "coupon", prices.coupon, hours)
    if not counts.bars:
        item = "steel (how many coupons a bar gives is not told)"
        return CostLine(item, counts.coupons, "coupon", None, hours)
    return CostLine("steel", counts.bars, "bar", prices.bar, hours)


def _heated(
    item: str,
    unit: str,
    count: int,
    prices: Prices,
    own: float | None,
    hours: float,
    furnace_hours: float,
) -> CostLine:
    """Line of what needs furnace or oven: its own price and that of its hours."""
    told = [] if own is None else [own]
    if prices.furnace_hour is not None:
        told.append(prices.furnace_hour * furnace_hours)
    price = sum(told) if told else None
    return CostLine(item, count, unit, price, hours * count, furnace_hours * count)


def _readings(response: Response, count: int, prices: Prices) -> CostLine:
    if response.kind == "hardness":
        hours = prices.minutes_an_indent * count / 60
        return CostLine(f"{response.quantity} indents", count, "indent", prices.indent, hours)
    if response.kind == "impact":
        hours = prices.minutes_an_impact_test * count / 60
        return CostLine(f"{response.quantity} tests", count, "test", prices.impact_test, hours)
    return CostLine(f"{response.quantity} readings", count, "reading", None)
