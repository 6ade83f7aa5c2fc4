"""Usual times at the bench where the study file does not tell them, and the words that say so."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from quenchbook.study.factors import route_key
from quenchbook.study.prices import ASSUMED
from quenchbook.units import NO_BREAK, minutes_text

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

TIMES: Final[Mapping[str, tuple[float, str]]] = {
    "switch_on": (5.0, "of work to switch the furnace on"),
    "recovery": (10.0, "at least until the furnace is back at temperature after a load"),
    "loading": (2.0, "of work to put a load into the furnace"),
    "coupon_heating": (5.0, "until the coupons are as hot as the furnace; then the soak begins"),
    "quench_coupon": (0.5, "of work to quench one coupon"),
    "transfer": (2.0, "of work to put a group into the cold"),
    "take_out": (2.0, "of work to take a group out of the cold"),
    "delay_tolerance": (5.0, "that a delay may be missed by"),
    "temper_loading": (3.0, "of work to put a temper batch in, and to take it out"),
    "temper_heating": (30.0, "until a temper batch is as hot as its oven; then the hold begins"),
    "temper_cooling": (30.0, "between two tempers of a batch, to cool"),
}
"""Times with their defaults [min] and what they are."""

NUMBERS: Final[Mapping[str, tuple[float, str]]] = {
    "delay_tolerance_percent": (5.0, "per cent of a delay that it may be missed by, if more"),
    "cold_at_most": (1.3, "times the planned time that coupons may stay in the cold"),
}
"""Plain numbers with their defaults and what they are."""

RATES: Final[Mapping[str, tuple[float, str]]] = {
    "heating_per_hour": (600.0, "that the furnace heats up in an hour"),
    "cooling_per_hour": (300.0, "that the furnace cools down in an hour"),
}
"""Speeds of the furnace with their defaults [degC for each hour]."""

BATHS: Final[Mapping[str, tuple[int, float]]] = {
    "freezer": (24, 30.0),
    "dry_ice": (12, 3.0),
    "liquid_nitrogen": (12, 2.0),
}
"""Route to coupons that its bath holds at once, and minutes until they are as cold as it is."""

OTHER_BATH: Final = (12, 5.0)
HELD: Final[Mapping[str, tuple[float, str]]] = {
    "soak": (20.0, "of soak at the austenitize temperature"),
    "cold_time": (60.0, "in the cold"),
    "temper_time": (120.0, "at the temper temperature"),
}


def assumed_lines(study: Study, values: Mapping[str, Any]) -> tuple[str, ...]:
    """What is not told, in words, as far as a timetable of the study uses it."""
    routes = [
        str(level)
        for factor in study.factors
        if factor.name == "cold_route"
        for level in factor.levels
        if level != "none"
    ]
    varied = {factor.name for factor in study.factors}
    skipped = {"recovery", "cooling_per_hour"} if "between_loads" in values else set()
    if not routes:
        skipped |= {"transfer", "take_out", "delay_tolerance", "cold_time", *NUMBERS}
    if "delay" not in varied:
        skipped |= {"delay_tolerance_percent"}
    skipped |= {"cold_time"} if "cold_hold" in varied else set()
    lines = []
    if "opens" not in values:
        lines.append("working hours 08:00 to 20:00 on every day")
    for key, (default, words) in {**RATES, **TIMES, **HELD, **NUMBERS}.items():
        if key in values or key in skipped or key in varied:
            continue
        if key in NUMBERS:
            lines.append(f"{default:g}{NO_BREAK}{words}")
        else:
            amount = f"{default:g}{NO_BREAK}°C" if key in RATES else minutes_text(default)
            lines.append(f"{amount} {words}")
    for route in routes:
        word = study.factor("cold_route").word(route)
        capacity, cooling = BATHS.get(route_key(route), OTHER_BATH)
        if route_key(route) not in map(route_key, values.get("bath_capacity", {})):
            lines.append(f"room for {capacity} coupons at once: {word}")
        if route_key(route) not in map(route_key, values.get("bath_cooling", {})):
            lines.append(f"{minutes_text(cooling)} until coupons are as cold: {word}")
    if "temper_in" not in values:
        lines.append("tempers in an oven of their own")
    return tuple(f"{line} ({ASSUMED})" for line in lines)
