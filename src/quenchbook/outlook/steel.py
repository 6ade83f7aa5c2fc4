"""What is expected of the steel before any is cut: a prior, to choose austenitize levels by."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import possible_austenites
from quenchbook.metallurgy.hardness_peak import PeakRegion, PeakShift, peak_region, peak_shift
from quenchbook.outlook.level_checks import degrees, level_sentences, route_phrase
from quenchbook.outlook.steel_ranges import (
    COLUMNS,
    RETAINED,
    ROUTE_C,
    START,
    range_notes,
    ranges_frame,
)
from quenchbook.outlook.told_steel import told_steel
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import ROUTE_WORDS, Factor, route_key
from quenchbook.units import capital, interval_text, number_text, with_unit

PEAK: Final = "hardness peak"

_ROUND_C: Final = 10.0
_SHOWN_LEVELS: Final = 4  # round temperatures in the summary of a study without levels


@dataclass(frozen=True, eq=False, repr=False)
class SteelPrior(ShowsItself):
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
        return tuple(float(place) for place in np.round(spaced / _ROUND_C) * _ROUND_C)

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
        peaks = [
            f"hardness peak {route_phrase(route, self.route_words)} {region.words()}"
            for route, region in self.peaks.items()
            if region.known
        ]
        who = f"Expected of {self.steel} before any test (ranges, not measurements)"
        lines = [f"{who}: {peaks[0]}." if peaks else f"{who}:"]
        for place in self.places:
            start = self._at(START, "", place)
            parts = [
                f"{self.route_words[route]} {_range_words(self._at(RETAINED, route, place), '%')}"
                for route in self.peaks
            ]
            lines.append(
                f"{degrees(place)}: martensite start "
                f"{_range_words(start, 'degC')}; retained austenite "
                f"{', '.join(parts) or 'not known'}"
            )
        for route, region in self.peaks.items():
            if region.known:
                lines.append(
                    f"Hardness peak {route_phrase(route, self.route_words)}: {region.words()}"
                )
        for route, shift in self.shifts.items():
            lines.append(f"{capital(self.route_words[route])} moves the peak up by {shift.words()}")
        return "\n".join([*lines, *self.warnings, *self.notes])

    def _at(self, what: str, route: str, place: float) -> dict[Hashable, Any]:
        own = self.rows(what, route)
        return own[own["austenitize_c"] == place].iloc[0].to_dict()

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Ranges": self.to_frame()}

    def __repr__(self) -> str:
        state = f"{len(self.warnings)} warnings" if self.known else "not known"
        return f"<SteelPrior of {self.steel}: {state}>"


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
    grade, composition = told_steel(study)
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
    known = [route for route in routes if route_key(route) in ROUTE_C]
    words = {
        route: route_factor.word(route) if route_factor else ROUTE_WORDS[route] for route in routes
    }
    peaks = {route: peak_region(austenites, ROUTE_C[route_key(route)]) for route in known}
    shifts = {route: peak_shift(austenites, ROUTE_C[route_key(route)]) for route in known}
    prior = SteelPrior(
        austenites[0].grade if grade else f"this steel (near {austenites[0].grade})",
        frame=ranges_frame(austenites, known, levels),
        peaks=peaks,
        shifts={route: shift for route, shift in shifts.items() if shift is not None},
        levels=levels,
        route_words=words,
        limits_c=austenites[0].limits_c,
        notes=range_notes(
            austenites, known, [words[route] for route in routes if route_key(route) not in ROUTE_C]
        ),
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


def _range_words(row: Mapping[Hashable, Any], unit: str) -> str:
    """``191 °C (146 to 236)``; retained austenite as its range alone, it is no more than that."""
    ends = interval_text(float(row["low"]), float(row["high"]), 0)
    if unit == "%":
        return with_unit(ends, unit)
    return f"{with_unit(number_text(float(row['expected']), 0), unit)} ({ends})"
