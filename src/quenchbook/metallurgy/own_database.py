"""Austenite of any steel from a thermodynamic database file of the reader's own, by pycalphad.

An optional extra: ``pip install quenchbook[calphad]`` (some 175 MB). No database comes with it. The
answer is an equilibrium, the most that can dissolve, and only as good as the database is for the
steel: one that was made for other steels gives numbers without a warning.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.austenite import Austenite

INSTALL: Final = (
    "pycalphad is not installed. Install it with: pip install pycalphad (about 175 MB), or use the "
    "table of five grades (possible_austenites)."
)
# Checked by hand with pycalphad 0.11 and its own test database of iron and carbon: carbon of the
# austenite of a 1.8 % C steel 1.084, 1.227, 1.377 and 1.534 % at 850, 900, 950 and 1000 °C, as the
# computed solubility in tests/reference/metallurgy/checks.json.
# phases that are looked for, of those in the database, and the carbide they stand for
_PHASES: Final[Mapping[str, str]] = {
    "FCC_A1": "", "BCC_A2": "", "LIQUID": "", "CEMENTITE": "cementite",
    "CEMENTITE_D011": "cementite", "M7C3": "M7C3", "M7C3_D101": "M7C3", "M23C6": "M23C6",
    "M23C6_D84": "M23C6", "M6C": "M23C6", "M6C_E93": "M23C6", "MC_ETA": "MC", "MC_SHP": "MC",
}  # fmt: skip
_OF_INTEREST: Final = ("cementite", "M7C3", "M23C6", "MC")
_ZERO_C_IN_K: Final = 273.15
_PRESSURE: Final = 101325.0
_LEAST: Final = 1e-6  # mole fraction of a phase that counts
_CARBIDE_CARBON: Final = (
    0.3  # mole fraction of carbon above which FCC_A1 is a carbide, not austenite
)


def database_austenite(
    database: str | Path, composition: Mapping[str, float], temperatures_c: Sequence[float]
) -> Austenite:
    """Austenite and carbides of a steel by equilibrium, at several temperatures.

    Parameters
    ----------
    database : path
        Thermodynamic database file (TDB).
    composition : mapping of element to float
        Of the whole steel without iron [mass per cent].
    temperatures_c : sequence of float
        At least two [degC].

    Returns
    -------
    Austenite
        Serves wherever a table of `possible_austenites` does. M6C counts as M23C6.

    Raises
    ------
    EstimabilityError
        If pycalphad is not installed, the database lacks an element or austenite, or the steel is
        not austenite and carbide alone at a temperature.
    """
    try:
        import pycalphad
    except ImportError:
        raise EstimabilityError(INSTALL) from None
    path = Path(database)
    if not path.is_file():
        raise EstimabilityError(f"There is no database file {path}.")
    places = np.unique(np.asarray(temperatures_c, dtype=float))
    if len(places) < 2:
        raise EstimabilityError("Give two temperatures or more: the table is read between them.")
    known = pycalphad.Database(str(path))
    elements = ["FE", *(element.upper() for element in composition)]
    if missing := [element for element in elements if element not in known.elements]:
        raise EstimabilityError(f"{path.name} does not know {', '.join(missing)}.")
    phases = [phase for phase in _PHASES if phase in known.phases]
    if "FCC_A1" not in phases:
        raise EstimabilityError(f"{path.name} has no phase FCC_A1, the austenite.")
    found = pycalphad.equilibrium(
        known,
        [*elements, "VA"],
        phases,
        _conditions(known, pycalphad.variables, composition, places),
    )
    masses = np.array([_atomic_mass(known, element) for element in elements])
    rows = [
        _at_one(found.isel(T=number), elements, masses, float(place))
        for number, place in enumerate(places)
    ]
    return Austenite(
        f"this steel by {path.name}",
        dict(composition),
        places,
        {
            element: np.array([row[0][number + 1] for row in rows])
            for number, element in enumerate(composition)
        },
        {carbide: np.array([row[1][carbide] for row in rows]) for carbide in _OF_INTEREST},
    )


def _conditions(
    known: Any, variables: Any, composition: Mapping[str, float], places: Any
) -> dict[Any, Any]:
    """Mole fractions by pycalphad's own conversion, temperature [K] and pressure [Pa]."""
    weights = {
        variables.W(element.upper()): share / 100.0 for element, share in composition.items()
    }
    moles = variables.get_mole_fractions(weights, "FE", known)
    return {variables.T: places + _ZERO_C_IN_K, variables.P: _PRESSURE, variables.N: 1.0, **moles}


def _atomic_mass(known: Any, element: str) -> float:
    return float(known.refstates[element]["mass"])


def _at_one(
    found: Any, elements: Sequence[str], masses: np.ndarray, place: float
) -> tuple[np.ndarray, dict[str, float]]:
    """Mass per cent of the austenite, shares of mass of the carbides."""
    carbides = dict.fromkeys(_OF_INTEREST, 0.0)
    austenite = np.zeros(len(elements))
    order = [list(found.component.values).index(element) for element in elements]
    total = 0.0
    for phase, amount, moles in zip(
        np.ravel(found.Phase.values),
        np.ravel(found.NP.values),
        found.X.values.reshape(-1, len(found.component))[:, order],
        strict=True,
    ):
        if not phase or not amount > _LEAST:
            continue
        mass = moles * masses
        share = float(amount * mass.sum())
        total += share
        rich = "C" in elements and moles[elements.index("C")] > _CARBIDE_CARBON
        if phase == "FCC_A1" and not rich:
            austenite = 100.0 * mass / mass.sum()
        elif phase == "FCC_A1" or _PHASES[str(phase)]:
            carbides[_PHASES[str(phase)] or "MC"] += share
        else:
            raise EstimabilityError(
                f"At {place:g} °C the steel holds {phase}: it is not austenite and carbide alone. "
                "Choose other temperatures."
            )
    if not austenite.any():
        raise EstimabilityError(
            f"At {place:g} °C there is no austenite. Choose other temperatures."
        )
    return austenite, {carbide: share / total for carbide, share in carbides.items()}
