"""Martensite start and retained austenite of a steel as ranges, with what they leave out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.metallurgy.austenite import SOURCE, Austenite
from quenchbook.metallurgy.expected import Expected, hull
from quenchbook.metallurgy.hardness_peak import CHROMIUM_MOST
from quenchbook.metallurgy.martensite import (
    ROOM_C,
    is_extrapolated,
    martensite_start,
    retained_austenite,
)
from quenchbook.study.factors import ROUTE_WORDS, route_key
from quenchbook.units import listed, number_text, with_unit

START: Final = "martensite start"
RETAINED: Final = "retained austenite"
COLUMNS: Final = ("what", "cold_route", "austenitize_c", "expected", "low", "high", "unit")

# coldest temperature of each route; common practice, no source
ROUTE_C: Final[Mapping[str, float]] = {
    "none": ROOM_C,
    "freezer": -18.0,
    "dry_ice": -78.0,
    "liquid_nitrogen": -196.0,
}
_STEP_C: Final = 5.0


def ranges_frame(
    austenites: Sequence[Austenite], routes: Sequence[str], levels: Sequence[float]
) -> pd.DataFrame:
    """Martensite start and retained austenite against austenitize temperature.

    Parameters
    ----------
    austenites : sequence of Austenite
        What the steel can have.
    routes : sequence of str
        Keys of `ROUTE_C`.
    levels : sequence of float
        Planned levels; those inside the table get rows of their own [degC].

    Returns
    -------
    DataFrame
        ``what, cold_route, austenitize_c, expected, low, high, unit``.
    """
    low, high = austenites[0].limits_c
    inside = [level for level in levels if low <= level <= high]
    heat = np.unique([*np.arange(low, high, _STEP_C), high, *inside])
    starts = [martensite_start(own.at(heat)) for own in austenites]
    parts = [_part(START, "", heat, hull(starts), "degC")]
    for route in routes:
        shares = [
            _of_the_steel(retained_austenite(start, ROUTE_C[route_key(route)]), own, heat)
            for start, own in zip(starts, austenites, strict=True)
        ]
        part = _part(RETAINED, route, heat, hull(shares), "%")
        # known to a factor of about two: a middle would claim too much
        parts.append(part.assign(expected=np.nan))
    return pd.concat(parts, ignore_index=True)


def _of_the_steel(share: Expected, austenite: Austenite, heat: np.ndarray) -> Expected:
    """Per cent of the steel from a share of its austenite."""
    matrix = 100.0 * (1.0 - np.sum(list(austenite.carbide_at(heat).values()), axis=0))
    return replace(
        share, value=share.value * matrix, low=share.low * matrix, high=share.high * matrix
    )


def _part(what: str, route: str, heat: np.ndarray, own: Expected, unit: str) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "what": what,
            "cold_route": route,
            "austenitize_c": heat,
            "expected": own.value,
            "low": own.low,
            "high": own.high,
            "unit": unit,
        }
    )


def range_notes(
    austenites: Sequence[Austenite], known_routes: Sequence[str], unknown_routes: Sequence[str]
) -> tuple[str, ...]:
    """Where the ranges come from and what they leave out.

    Parameters
    ----------
    austenites : sequence of Austenite
    known_routes : sequence of str
        Keys of `ROUTE_C`.
    unknown_routes : sequence of str
        Routes whose temperature is not known, in print.
    """
    first = austenites[0]
    notes = [
        "A prior from published equations, not a measurement: it helps to choose levels and "
        "answers no question.",
        f"Austenite: {SOURCE}. Martensite start: van Bohemen (2012), 45 °C either way. Retained "
        "austenite: Koistinen and Marburger (1959), known to a factor of about two; a thesis found "
        "more than the range in 52100 from 1000 °C.",
        "Equilibrium is the most that can dissolve: after a short soak the martensite start is "
        "higher and less austenite is retained.",
    ]
    if len(austenites) > 1:
        notes.append(
            f"The composition differs from that of the table for {first.grade}; the ranges hold "
            "both no and full effect of the carbon and chromium on the austenite."
        )
    if np.any(is_extrapolated(first.composition)):
        notes.append(
            "Austenite with more than 0.5 % C and 2 % Cr lies beyond the steels the equations were "
            "compared with."
        )
    if first.steel.get("Cr", 0.0) > CHROMIUM_MOST:
        notes.append(
            "In steels of high chromium the equations leave too little retained austenite: the "
            "truth may lie above the range."
        )
    if first.grade == "O1" and not first.steel.get("W"):
        notes.append("O1 was computed without tungsten.")
    notes.append("A delay before a cold step can keep more austenite; how much is not known here.")
    colds = [
        f"{with_unit(number_text(ROUTE_C[route], 0), 'degC')} by {ROUTE_WORDS[route]}"
        for route in map(route_key, known_routes)
        if route != "none"
    ]
    if colds:
        notes.append(f"Taken as reached in the cold: {listed(colds)}.")
    if unknown_routes:
        notes.append(f"The temperature of {listed(unknown_routes)} is not known here: no range.")
    return tuple(notes)
