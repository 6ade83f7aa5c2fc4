"""Liquid nitrogen, dry ice and alcohol for the cold batches of a plan."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from math import floor
from typing import Final

import pandas as pd

from quenchbook.bench.coupon_size import CouponSize
from quenchbook.bench.hazards import hazards
from quenchbook.bench.need import Need, missing, range_words
from quenchbook.metallurgy.cooling import (
    dry_ice_mass,
    dry_ice_needed,
    nitrogen_litres,
    nitrogen_mass,
    nitrogen_needed,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.factors import perhaps_meant, route_key
from quenchbook.study.prices import prices_of
from quenchbook.units import parse_quantity

COVER_LITRES: Final = (1.0, 3.0)  # liquid nitrogen left over the coupons; assumed, no source
BATH_LITRES: Final = (1.0, 3.0)  # alcohol that covers the coupons; assumed, no source
COVER_KG: Final = (1.0, 3.0)  # dry ice around coupons without a bath; assumed, no source
UNTOLD_HOURS: Final = (1.0, 12.0)  # in the cold; assumed, no source
_DAY_MINUTES: Final = 24 * 60
_TIME: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(min|h|hours?|days?)\b")


@dataclass(frozen=True)
class ColdBatch:
    """Coupons that go into the cold together.

    Attributes
    ----------
    route : str
        ``freezer``, ``dry_ice``, ``liquid_nitrogen``, a name of the study, or empty: not told.
    day : int
        Day on which they go into the cold: that of their furnace load, and whole days of delay
        later; 0 where the plan has no days.
    coupons : int
    hours : float or None
        In the cold [h]; None: not told.
    """

    route: str
    day: int
    coupons: int
    hours: float | None


def cold_batches(matrix: CouponMatrix) -> tuple[ColdBatch, ...]:
    """Cold batches of a plan in their order.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    tuple of ColdBatch
        Those of the route ``none`` are left out. Without marked batches the coupons of a furnace
        load that share a route are one.
    """
    study, frame = matrix.study, matrix.in_loads
    routed = "cold_route" in frame
    if not routed and "cold_batch" not in frame:
        return ()
    if "cold_batch" in frame:
        frame = frame[frame["cold_batch"] != ""]
        keys = ["cold_batch"]
    else:
        keys = ["furnace_load", "cold_route"]
    found = []
    for _, rows in frame.groupby(keys, sort=False):
        route = str(rows["cold_route"].iloc[0]) if routed else _only_route(study)
        if route not in ("none", "nan"):
            day = int(rows["day"].iloc[0]) + _days_later(rows) if "day" in rows else 0
            found.append(ColdBatch(route, day, len(rows), _hours(study, rows)))
    return tuple(found)


def nitrogen_line(matrix: CouponMatrix, batches: Sequence[ColdBatch], size: CouponSize) -> Need:
    """Liquid nitrogen for all batches that go into it [l]."""
    own = _of_route(batches, "liquid_nitrogen")
    if not own:
        return missing("liquid nitrogen", _untold(batches, "liquid_nitrogen"), "l")
    days, count = len({batch.day for batch in own}), len(own)
    hours, told = _all_hours(own)
    each = size.kilograms
    low, high = nitrogen_needed(
        (each or 0.0) * sum(batch.coupons for batch in own),
        hours,
        vessels=(days, count),
        covered_litres=(COVER_LITRES[0] * days, COVER_LITRES[1] * count),
    )
    largest = (size.heaviest_kilograms or 0.0) * max(batch.coupons for batch in own)
    longest = max(batch.hours or UNTOLD_HOURS[1] for batch in own)
    steel = nitrogen_mass(1.0)
    note = (
        f"{_times(count, 'batch', 'batches')} on {_times(days, 'day', 'days')}: "
        f"{_steel_words(each)}vessel cooled once a day or for each batch, {COVER_LITRES[0]:g} to "
        f"{COVER_LITRES[1]:g}\u00a0l left over the coupons, open vessel boiling off over {told}. "
        "Vessel, cover and boil-off assumed, no source. "
    )
    if each is None:
        ends = [nitrogen_litres(float(own)) for own in (steel.low, steel.high)]
        note += f"Add 2 to 3 times {range_words(ends[0], ends[1], 'l')} for each kg of steel. "
    note += _cost_words(matrix, "liquid_nitrogen_litres_a_batch", count, low, high, "l")
    return Need(
        "liquid nitrogen", low, high, "l", note.strip(),
        a_batch=nitrogen_needed(largest, (longest, longest), covered_litres=COVER_LITRES),
        an_hour=nitrogen_needed(largest, (min(1.0, longest),) * 2),
    )  # fmt: skip


def dry_ice_line(matrix: CouponMatrix, batches: Sequence[ColdBatch], size: CouponSize) -> Need:
    """Dry ice for all batches that go into it or into a bath with it [kg]."""
    own = _of_route(batches, "dry_ice")
    if not own:
        return missing("dry ice", _untold(batches, "dry_ice"), "kg")
    days, count = len({batch.day for batch in own}), len(own)
    hours, told = _all_hours(own)
    each, bath = size.kilograms, "alcohol" in hazards(matrix.study, only_settings=True)
    around = (0.0, 0.0) if bath else COVER_KG
    litres = BATH_LITRES if bath else (0.0, 0.0)
    low, high = dry_ice_needed(
        (each or 0.0) * sum(batch.coupons for batch in own),
        (litres[0] * days, litres[1] * count),
        hours,
    )
    low, high = low + around[0] * days, high + around[1] * count
    largest = (size.heaviest_kilograms or 0.0) * max(batch.coupons for batch in own)
    longest = max(batch.hours or UNTOLD_HOURS[1] for batch in own)

    def at_hand(span: float) -> tuple[float, float]:
        least, most = dry_ice_needed(largest, litres, (span, span))
        return least + around[0], most + around[1]

    kept = (
        f"bath of {BATH_LITRES[0]:g} to {BATH_LITRES[1]:g}\u00a0l of alcohol (it sets the amount), "
        "cooled once a day or for each batch"
        if bath
        else f"{COVER_KG[0]:g} to {COVER_KG[1]:g}\u00a0kg around the coupons, once a day or for "
        "each batch"
    )
    note = (
        f"{_times(count, 'batch', 'batches')} on {_times(days, 'day', 'days')}: "
        f"{_steel_words(each)}{kept}, half to as much again lost on the way, kept cold over "
        f"{told}. "
        f"{'Bath' if bath else 'Amount around them'} and losses assumed, no source. "
    )
    if each is None:
        steel = dry_ice_mass(1.0)
        grams = range_words(1000 * float(steel.low), 1000 * float(steel.high), "g")
        note += f"Add 1.5 to 2 times {grams} for each kg of steel. "
    note += _cost_words(matrix, "dry_ice_kg_a_batch", count, low, high, "kg")
    return Need(
        "dry ice", low, high, "kg", note.strip(),
        a_batch=at_hand(longest), an_hour=at_hand(min(1.0, longest)),
    )  # fmt: skip


def alcohol_line() -> Need:
    """Alcohol for the bath of the dry ice [l]."""
    note = "One bath that covers the coupons, used again (assumed, no source); counted as ethanol."
    return Need("alcohol", *BATH_LITRES, "l", note)


def _days_later(rows: pd.DataFrame) -> int:
    """Days between the furnace and the cold: the delay to the nearest whole day."""
    if "delay_minutes" not in rows or rows["delay_minutes"].isna().all():
        return 0
    return floor(float(rows["delay_minutes"].max()) / _DAY_MINUTES + 0.5)


def _of_route(batches: Sequence[ColdBatch], route: str) -> list[ColdBatch]:
    return [batch for batch in batches if route_key(batch.route) == route]


def _untold(batches: Sequence[ColdBatch], route: str) -> str:
    """Why no batch is known to go into a coolant, with the name that may mean it."""
    near = [own for own in dict.fromkeys(b.route for b in batches) if perhaps_meant(own) == route]
    if near:
        return f"'{near[0]}' is not a coolant known here; if it is this one, write {route}"
    return "the plan does not tell which batches go into it"


def _only_route(study: Study) -> str:
    """Route of a study that does not vary it; empty where more than one could be meant."""
    names = {"nitrogen": "liquid_nitrogen", "dry_ice": "dry_ice", "freezer": "freezer"}
    found = [names[own] for own in hazards(study, only_settings=True) if own in names]
    return found[0] if len(found) == 1 else ""


def _hours(study: Study, rows: pd.DataFrame) -> float | None:
    """Longest time in the cold [h], from the plan or from what is held constant."""
    if "cold_hold_minutes" in rows and rows["cold_hold_minutes"].notna().any():
        return float(rows["cold_hold_minutes"].max()) / 60
    found = _TIME.search(study.held_constant.get("cold_time", ""))
    return None if found is None else parse_quantity(found[0], "time") / 60


def _all_hours(batches: Sequence[ColdBatch]) -> tuple[tuple[float, float], str]:
    """Hours of all batches together, least and most, and in words."""
    told = [batch.hours for batch in batches if batch.hours is not None]
    untold = len(batches) - len(told)
    hours = (sum(told) + untold * UNTOLD_HOURS[0], sum(told) + untold * UNTOLD_HOURS[1])
    words = range_words(*hours, "h") if untold else f"{hours[0]:g}\u00a0h"
    return hours, f"{words} in all" + (" (time in the cold not told)" if untold else "")


def _steel_words(each: float | None) -> str:
    return "steel itself not counted, its size is not told; " if each is None else "steel, "


def _times(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _cost_words(
    matrix: CouponMatrix, key: str, count: int, low: float, high: float, unit: str
) -> str:
    """What the cost of the plan counts, where it lies outside the range."""
    prices = prices_of(matrix.study)
    amount = count * float(getattr(prices, key))
    if low <= amount <= high:
        return ""
    return (
        f"The cost of the plan counts {amount:g}\u00a0{unit} ({prices.amount_words(key)}), "
        f"{'more' if amount > high else 'less'} than this."
    )
