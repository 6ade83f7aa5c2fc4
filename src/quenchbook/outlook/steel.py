"""What is expected of the steel before any steel is cut: a prior, to choose austenitize levels by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, Problem, StudyError
from quenchbook.metallurgy.austenite import ELEMENTS, SOURCE, Austenite, possible_austenites
from quenchbook.metallurgy.expected import Expected, hull
from quenchbook.metallurgy.hardness_peak import (
    CHROMIUM_MOST,
    PeakRegion,
    PeakShift,
    peak_region,
    peak_shift,
)
from quenchbook.metallurgy.martensite import (
    ROOM_C,
    is_extrapolated,
    martensite_start,
    retained_austenite,
)
from quenchbook.outlook.level_checks import level_sentences, route_phrase
from quenchbook.study.definition import Study
from quenchbook.study.factors import ROUTE_WORDS, Factor
from quenchbook.units import capital, interval_text, listed, number_text, with_unit

START: Final = "martensite start"
RETAINED: Final = "retained austenite"
PEAK: Final = "hardness peak"
COLUMNS: Final = ("what", "cold_route", "austenitize_c", "expected", "low", "high", "unit")

# coldest temperature of each route; common practice, no source
ROUTE_C: Final[Mapping[str, float]] = {
    "none": ROOM_C,
    "freezer": -18.0,
    "dry_ice": -78.0,
    "liquid_nitrogen": -196.0,
}
_STEP_C: Final = 5.0
_SHOWN_LEVELS: Final = 4  # round temperatures in the summary of a study without levels


@dataclass(frozen=True, eq=False, repr=False)
class SteelPrior:
    """What published equations expect of the steel of a study.

    Attributes
    ----------
    steel : str
        Steel in print: ``A2``, ``this steel``.
    reason : str
        Why nothing is known; empty when something is.
    frame : DataFrame
        ``what, cold_route, austenitize_c, expected, low, high, unit``: martensite start [degC] and
        retained austenite [% of the steel] against the austenitize temperature; retained austenite
        is a range only, its `expected` is blank. Empty when nothing is known.
    peaks : mapping of route to PeakRegion
    shifts : mapping of route to PeakShift
        How far a cold step moves the peak up, where that can be told.
    levels : tuple of float
        Planned austenitize levels [degC]; empty when the study does not vary them.
    route_words : mapping of route to str
    limits_c : tuple of float
        Coolest and hottest austenitize temperature that was computed [degC].
    notes : tuple of str
        Where the numbers come from and what they leave out.
    warnings : tuple of str
        What the planned levels miss.
    route_factor : Factor or None
        Factor of the study the routes are levels of.
    """

    steel: str
    reason: str = ""
    frame: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(COLUMNS)))
    peaks: Mapping[str, PeakRegion] = field(default_factory=dict)
    shifts: Mapping[str, PeakShift] = field(default_factory=dict)
    levels: tuple[float, ...] = ()
    route_words: Mapping[str, str] = field(default_factory=dict)
    limits_c: tuple[float, float] = (np.nan, np.nan)
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    route_factor: Factor | None = None

    @property
    def known(self) -> bool:
        """Whether anything is known of this steel."""
        return not self.reason

    @property
    def places(self) -> tuple[float, ...]:
        """Planned levels inside the table, or round temperatures when there are none [degC]."""
        low, high = self.limits_c
        if inside := tuple(level for level in self.levels if low <= level <= high):
            return inside
        if not self.known:
            return ()
        spaced = np.linspace(low, high, _SHOWN_LEVELS + 2)[1:-1]
        return tuple(float(place) for place in np.round(spaced / _STEP_C) * _STEP_C)

    def rows(self, what: str, route: str = "") -> pd.DataFrame:
        """Rows of one quantity, and of one route for retained austenite, in order of heat."""
        own = self.frame[(self.frame["what"] == what) & (self.frame["cold_route"] == route)]
        return own.sort_values("austenitize_c").reset_index(drop=True)

    def to_frame(self) -> pd.DataFrame:
        """Return a new frame with every number, the peak regions too.

        Returns
        -------
        DataFrame
            ``what, cold_route, austenitize_c, expected, low, high, unit``. A hardness peak has its
            place as `expected`, blank where no centre can be told, and no austenitize temperature.
        """
        peaks = [
            (PEAK, route, np.nan, region.centre_c, region.low_c, region.high_c, "degC")
            for route, region in self.peaks.items()
            if region.known
        ]
        frame = pd.DataFrame(peaks, columns=list(COLUMNS)).astype(self.frame.dtypes.to_dict())
        return pd.concat([part for part in (self.frame, frame) if len(part)] or [self.frame])[
            list(COLUMNS)
        ].reset_index(drop=True)

    def summary(self) -> str:
        """Say the ranges in words, with what they leave out and what the levels miss."""
        if not self.known:
            return "\n".join(self.warnings)
        lines = [f"Expected of {self.steel} before any test (ranges, not measurements):"]
        for place in self.places:
            start = self._at(START, "", place)
            parts = [
                f"{self.route_words[route]} {_range_words(self._at(RETAINED, route, place), '%')}"
                for route in self.peaks
            ]
            lines.append(
                f"{with_unit(f'{place:g}', 'degC')}: martensite start "
                f"{_range_words(start, 'degC')}; retained austenite {', '.join(parts)}"
            )
        for route, region in self.peaks.items():
            if region.known:
                lines.append(
                    f"Hardness peak {route_phrase(route, self.route_words)}: {region.words()}"
                )
        for route, shift in self.shifts.items():
            lines.append(f"{capital(self.route_words[route])} moves the peak up by {shift.words()}")
        return "\n".join([*lines, *self.warnings, *self.notes])

    def _at(self, what: str, route: str, place: float) -> dict[Any, Any]:
        own = self.rows(what, route)
        return own.loc[(own["austenitize_c"] - place).abs().idxmin()].to_dict()

    def __repr__(self) -> str:
        state = f"{len(self.warnings)} warnings" if self.known else "not known"
        return f"<SteelPrior of {self.steel}: {state}>"

    def _repr_html_(self) -> str:
        from html import escape

        return "".join(f"<p>{escape(line)}</p>" for line in self.summary().split("\n"))


def steel_prior(study: Study) -> SteelPrior:
    """What published equations expect of the steel of a study, as ranges.

    The table ``[steel]`` of the study file tells the grade, the composition from the mill sheet, or
    both. The composition finds the austenite and is never itself put into a formula for the
    martensite start: undissolved carbide holds carbon.

    Parameters
    ----------
    study : Study

    Returns
    -------
    SteelPrior
        With `reason` instead of numbers when nothing is known of the steel.

    Raises
    ------
    StudyError
        If the composition cannot be read.
    """
    grade, composition = _told_steel(study)
    factor = next((own for own in study.factors if own.column == "austenitize_c"), None)
    levels = tuple(sorted(float(level) for level in factor.levels)) if factor else ()
    route_factor = next((own for own in study.factors if own.name == "cold_route"), None)
    try:
        austenites = possible_austenites(grade, composition)
    except EstimabilityError as error:
        reason = error.problems[0].problem
        warning = (
            f"Nothing is known here about this steel: {reason}. The levels stand on your own "
            "experience or on the data sheet of the steel."
        )
        return SteelPrior(grade or "this steel", reason, levels=levels, warnings=(warning,))
    routes = [str(level) for level in route_factor.levels] if route_factor else ["none"]
    known = [route for route in routes if route in ROUTE_C]
    words = {
        route: route_factor.word(route) if route_factor else ROUTE_WORDS[route] for route in routes
    }
    peaks = {route: peak_region(austenites, ROUTE_C[route]) for route in known}
    shifts = {route: peak_shift(austenites, ROUTE_C[route]) for route in known}
    prior = SteelPrior(
        austenites[0].grade if grade else f"this steel (near {austenites[0].grade})",
        frame=_frame(austenites, known, levels),
        peaks=peaks,
        shifts={route: shift for route, shift in shifts.items() if shift is not None},
        levels=levels,
        route_words=words,
        limits_c=austenites[0].limits_c,
        notes=_notes(austenites, [words[route] for route in routes if route not in ROUTE_C]),
        route_factor=route_factor,
    )
    sentences = level_sentences(prior.steel, levels, prior.limits_c, peaks, words)
    return replace(prior, warnings=sentences)


def level_warnings(study: Study) -> tuple[str, ...]:
    """What the planned austenitize levels miss, as sentences; empty when nothing is missed.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of str
        Empty too for a study that does not vary the austenitize temperature.
    """
    prior = steel_prior(study)
    return prior.warnings if prior.levels else ()


def _told_steel(study: Study) -> tuple[str, dict[str, float]]:
    """Grade and composition of the study file, every mistake at once."""
    where, problems = "study.toml [steel]", []
    told = study.steel.get("composition", {})
    if not isinstance(told, Mapping):
        raise StudyError(
            Problem(
                where,
                f"composition is {told!r}",
                "Write composition = { C = 1.0, Cr = 5.2 }, in %.",
            )
        )
    names = {element.upper(): element for element in ELEMENTS}
    composition: dict[str, float] = {}
    for key, value in told.items():
        element = names.get(str(key).strip().upper())
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if str(key).strip().upper() == "FE":
            continue
        if element is None:
            remedy = f"Known: {', '.join(ELEMENTS)}."
            problems.append(Problem(where, f"'{key}' is not an element of this list", remedy))
        elif not number or not 0.0 <= float(value) < 50.0:
            remedy = f"Write a number in mass per cent: {element} = 1.0."
            problems.append(Problem(where, f"{key} is {value!r}, expected 0 to 50", remedy))
        else:
            composition[element] = float(value)
    if problems:
        raise StudyError(problems)
    return str(study.steel.get("grade", "")).strip(), composition


def _frame(
    austenites: Sequence[Austenite], routes: Sequence[str], levels: Sequence[float]
) -> pd.DataFrame:
    low, high = austenites[0].limits_c
    inside = [level for level in levels if low <= level <= high]
    heat = np.unique([*np.arange(low, high, _STEP_C), high, *inside])
    starts = [martensite_start(own.at(heat)) for own in austenites]
    parts = [_part(START, "", heat, hull(starts), "degC")]
    for route in routes:
        shares = [
            _of_the_steel(retained_austenite(start, ROUTE_C[route]), own, heat)
            for start, own in zip(starts, austenites, strict=True)
        ]
        part = _part(RETAINED, route, heat, hull(shares), "%")
        # known to a factor of about two: a middle would claim too much
        parts.append(part.assign(expected=np.nan))
    return pd.concat(parts, ignore_index=True)


def _of_the_steel(share: Expected, austenite: Austenite, heat: np.ndarray) -> Expected:
    """Per cent of the steel from a share of its austenite."""
    matrix = 100.0 * (1.0 - np.sum(list(austenite.carbide_at(heat).values()), axis=0))
    return Expected(share.value * matrix, share.low * matrix, share.high * matrix, share.source)


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


def _range_words(row: Mapping[Any, Any], unit: str) -> str:
    """``191 °C (146 to 236)``; retained austenite as its range alone, it is no more than that."""
    ends = interval_text(float(row["low"]), float(row["high"]), 0)
    if unit == "%":
        return with_unit(ends, unit)
    return f"{with_unit(number_text(float(row['expected']), 0), unit)} ({ends})"


def _notes(austenites: Sequence[Austenite], unknown_routes: Sequence[str]) -> tuple[str, ...]:
    first = austenites[0]
    notes = [
        "A prior from published equations, not a measurement: it helps to choose levels and answers "
        "no question.",
        f"Austenite: {SOURCE}. Martensite start: van Bohemen (2012), 45 °C either way. Retained "
        "austenite: Koistinen and Marburger (1959), known to a factor of about two; a thesis found "
        "more than the range in 52100 from 1000 °C.",
        "Equilibrium is the most that can dissolve: after a short soak the martensite start is "
        "higher and less austenite is retained.",
    ]
    if len(austenites) > 1:
        notes.append(
            f"The composition differs from that of the table for {first.grade}; the ranges hold both "
            "no and full effect of the carbon and chromium on the austenite."
        )
    if np.any(is_extrapolated(first.composition)):
        notes.append(
            "Austenite with more than 0.5 % C and 2 % Cr lies beyond the steels the equations were "
            "compared with."
        )
    if first.steel.get("Cr", 0.0) > CHROMIUM_MOST:
        notes.append(
            "In steels of high chromium the equations leave too little retained austenite: the truth "
            "may lie above the range."
        )
    if first.grade == "O1" and not first.steel.get("W"):
        notes.append("O1 was computed without tungsten.")
    notes.append("A delay before a cold step can keep more austenite; how much is not known here.")
    if unknown_routes:
        notes.append(f"The temperature of {listed(unknown_routes)} is not known here: no range.")
    return tuple(notes)
