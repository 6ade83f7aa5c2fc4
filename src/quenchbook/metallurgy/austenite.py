"""Composition of the austenite of five grades against temperature, from a table of our own.

The table holds equilibria computed with pycalphad and the thermodynamic database iron4cd of
B. Hallstedt (CC BY 4.0); `austenite_tables.toml` beside it tells the rest. Equilibrium is the most
that can dissolve: after a soak of 10 to 30 min less carbon is in the austenite.
"""

from __future__ import annotations

import csv
import functools
import itertools
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.expected import Array
from quenchbook.shown import Shown, ShowsItself
from quenchbook.units import interval_text, listed, number_text

if TYPE_CHECKING:
    import pandas as pd

SOURCE: Final = (
    "equilibrium computed with pycalphad and the database iron4cd of B. Hallstedt (CC BY 4.0)"
)
ELEMENTS: Final = (
    "C", "Cr", "Mo", "V", "Mn", "Si", "Ni", "Cu", "Co", "W", "Nb", "Ti", "Al", "N", "P", "S", "B",
)  # fmt: skip
CARBON_LIMIT: Final = 0.1  # from the steel of the table [mass per cent]
CHROMIUM_LIMIT: Final = 0.10  # share of the chromium of the table
# Own cautious limits, no source [mass per cent]. Each moves the martensite start by about 15 °C at
# most, as far as the equations tell: 0.25 V ties 0.06 C.
_IN_SOLUTION: Final = ("Mn", "Si", "Ni", "Cu", "Co")
_SOLUTION_LIMIT: Final = 0.5
_CARBIDE_FORMERS: Final = ("Mo", "V", "W", "Nb", "Ti")
_FORMER_LIMIT: Final = 0.25
_TRACE_LIMIT: Final = 0.1
_SLACK: Final = 1e-9  # 1.1 less 1.0 is a little more than 0.1

_TABLE_COLUMNS: Final = {"C": "C", "Cr": "CR", "Mo": "MO", "V": "V", "Mn": "MN", "Si": "SI"}
_CARBIDES: Final = {
    "CEMENTITE_D011": "cementite", "M7C3_D101": "M7C3", "M23C6_D84": "M23C6", "MC_ETA": "MC",
    "FCC_A1": "MC",
}  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class Austenite(ShowsItself):
    """Austenite of one steel at the temperatures of the table.

    Attributes
    ----------
    grade : str
    steel : mapping of element to float
        Composition of the whole steel [mass per cent].
    temperature_c : ndarray, shape (n,)
        Rising [degC].
    composition : mapping of element to ndarray, shape (n,)
        Composition of the austenite [mass per cent].
    carbides : mapping of carbide to ndarray, shape (n,)
        Share of the mass of the steel: ``cementite``, ``M7C3``, ``M23C6``, ``MC``.
    """

    grade: str
    steel: Mapping[str, float]
    temperature_c: Array
    composition: Mapping[str, Array]
    carbides: Mapping[str, Array]

    @property
    def limits_c(self) -> tuple[float, float]:
        """Coolest and hottest temperature of the table [degC]."""
        return float(self.temperature_c[0]), float(self.temperature_c[-1])

    def at(self, temperature_c: ArrayLike) -> dict[str, Array]:
        """Composition at temperatures inside the table, straight lines between its rows.

        Parameters
        ----------
        temperature_c : array, shape (m,) or ()
            [degC]

        Returns
        -------
        dict of element to ndarray, shape (m,) or ()
            [mass per cent]

        Raises
        ------
        EstimabilityError
            If a temperature lies outside the table.
        """
        places = self._inside(temperature_c)
        return {
            element: np.asarray(np.interp(places, self.temperature_c, values))
            for element, values in self.composition.items()
        }

    def carbide_at(self, temperature_c: ArrayLike) -> dict[str, Array]:
        """Share of each carbide in the mass of the steel; arguments and errors as of `at`."""
        places = self._inside(temperature_c)
        return {
            carbide: np.asarray(np.interp(places, self.temperature_c, values))
            for carbide, values in self.carbides.items()
        }

    def _inside(self, temperature_c: ArrayLike) -> Array:
        places = np.asarray(temperature_c, dtype=float)
        low, high = self.limits_c
        outside = places[~((places >= low) & (places <= high))]
        if outside.size:
            raise EstimabilityError(
                f"The austenite of {self.grade} is known from {interval_text(low, high, 0)} °C, "
                f"not at {listed([f'{value:g}' for value in np.ravel(outside)])} °C."
            )
        return places

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each temperature and part: ``austenitize_c, what, item, value``.

        `what` is ``austenite`` with mass per cent of an element, or ``carbide`` with a share of the
        steel's mass.
        """
        import pandas as pd

        parts = [("austenite", self.composition), ("carbide", self.carbides)]
        rows = [
            (float(place), what, name, float(values[number]))
            for number, place in enumerate(self.temperature_c)
            for what, own in parts
            for name, values in own.items()
        ]
        return pd.DataFrame(rows, columns=["austenitize_c", "what", "item", "value"])

    def shown(self) -> Shown:
        """For which steel and range it is known, then the table."""
        low, high = self.limits_c
        finding = f"Austenite of {self.grade}, {interval_text(low, high, 0)} °C."
        return Shown(finding, listings={"Table": self.to_frame()})

    def __repr__(self) -> str:
        low, high = self.limits_c
        return f"<Austenite of {self.grade}, {low:.0f} to {high:.0f} degC>"


def known_grades() -> tuple[str, ...]:
    """Grades of the table."""
    return tuple(_tables())


def possible_austenites(
    grade: str = "", composition: Mapping[str, float] | None = None
) -> tuple[Austenite, ...]:
    """Austenites a steel can have: one for the steel of the table, several for one near it.

    A heat with other carbon or chromium than the steel of the table is put between two ends: all
    of the difference in the carbides (the austenite as in the table), and the austenite richer in
    proportion. Manganese, silicon, nickel, copper and cobalt differ in the austenite as in the
    steel.

    Parameters
    ----------
    grade : str
        Such as ``A2``; an unnamed steel is compared with every steel of the table.
    composition : mapping of element to float, optional
        Of the steel [mass per cent], as on the mill sheet. An element that is left out is taken
        from the table for a named grade, and as none for an unnamed steel.

    Returns
    -------
    tuple of Austenite
        The truth lies between them.

    Raises
    ------
    EstimabilityError
        If the steel is not in the table: the message says why.

    Examples
    --------
    >>> possible_austenites("A2")
    (<Austenite of A2, 850 to 1125 degC>,)
    """
    composition = dict(composition or {})
    if key := _grade_key(grade):
        if key not in _tables():
            raise EstimabilityError(
                f"the grade {grade.strip()} is not one of {listed(known_grades())}"
            )
        table = _tables()[key]
        if why := _too_far(table, {**table.steel, **composition}):
            raise EstimabilityError(f"its composition is not that of {key}: {why}")
        return _corrected(table, {**table.steel, **composition})
    if not composition:
        raise EstimabilityError("neither its grade nor its composition is told")
    near = [table for table in _tables().values() if not _too_far(table, composition)]
    if not near:
        raise EstimabilityError(
            f"no grade is told, and the composition is not near that of {listed(known_grades())}"
        )
    return _corrected(near[0], composition)


def _grade_key(grade: str) -> str:
    """Grade as in the table: ``AISI A-2`` is A2."""
    plain = re.sub(r"[\s\-_.]", "", grade.upper())
    return re.sub(r"^(AISI|SAE|ASTM|GRADE)+", "", plain)


def _too_far(table: Austenite, steel: Mapping[str, float]) -> str:
    """Why the table does not speak for a steel; empty when it does."""
    parts = []
    for element in sorted({*table.steel, *steel}):
        own, told = table.steel.get(element, 0.0), steel.get(element, 0.0)
        if element == "C":
            limit = CARBON_LIMIT
        elif element == "Cr":
            limit = CHROMIUM_LIMIT * own
        elif element in _IN_SOLUTION:
            limit = _SOLUTION_LIMIT
        else:
            limit = _FORMER_LIMIT if element in _CARBIDE_FORMERS else _TRACE_LIMIT
        if abs(told - own) > limit + _SLACK:
            low, high = max(own - limit, 0.0), own + limit
            parts.append(f"{element} {number_text(told)} (known for {interval_text(low, high)})")
    return ", ".join(parts)


def _corrected(table: Austenite, steel: Mapping[str, float]) -> tuple[Austenite, ...]:
    shifted = dict(table.composition)
    for element in _IN_SOLUTION:
        if shift := steel.get(element, 0.0) - table.steel.get(element, 0.0):
            own = shifted.get(element, np.zeros_like(table.temperature_c))
            shifted[element] = np.maximum(own + shift, 0.0)
    factors = [{1.0, steel.get(element, 0.0) / table.steel[element]} for element in ("C", "Cr")]
    return tuple(
        replace(
            table,
            steel=dict(steel),
            composition={**shifted, "C": carbon * shifted["C"], "Cr": chromium * shifted["Cr"]},
        )
        for carbon, chromium in itertools.product(*map(sorted, factors))
    )


@functools.cache
def _tables() -> dict[str, Austenite]:
    folder = Path(__file__).parent
    steels = tomllib.loads((folder / "austenite_tables.toml").read_text(encoding="utf-8"))["steels"]
    with (folder / "austenite_tables.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {grade: _table(grade, steel, rows) for grade, steel in steels.items()}


def _table(grade: str, steel: Mapping[str, float], rows: list[dict[str, str]]) -> Austenite:
    own = sorted((row for row in rows if row["grade"] == grade), key=lambda row: float(row["T_C"]))
    found = [json.loads(row["carb"]) for row in own]
    carbides = {name: np.zeros(len(own)) for name in dict.fromkeys(_CARBIDES.values())}
    for place, phases in enumerate(found):
        for phase, percent in phases.items():
            carbides[_CARBIDES[phase]][place] += percent / 100.0
    return Austenite(
        grade,
        dict(steel),
        np.array([float(row["T_C"]) for row in own]),
        {
            element: np.array([float(row[column]) for row in own])
            for element, column in _TABLE_COLUMNS.items()
        },
        carbides,
    )
