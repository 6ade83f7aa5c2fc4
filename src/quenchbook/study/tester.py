"""The testers of a study: limits they are held to, and how the indents were set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, StudyError, UnitError
from quenchbook.study.mistakes import nearest
from quenchbook.units import parse_quantity

if TYPE_CHECKING:
    from quenchbook.study.definition import Study

STANDARDS: Final = ("ASTM E18-19", "ISO 6508-2")

QUANTITIES: Final[Mapping[str, tuple[str, str]]] = {
    "error_limit": ("hardness", "0.5 HRC"),
    "repeatability_limit": ("hardness", "1.0 HRC"),
    "drift_limit": ("hardness", "0.3 HRC"),
    "indent_diameter": ("length", "0.45 mm"),
    "indent_spacing": ("length", "2.5 mm"),
    "edge_distance": ("length", "2.5 mm"),
    "curve_diameter": ("length", "25 mm"),
    "impact_capacity": ("energy", "50 J"),
    "micrometer": ("length", "0.002 mm"),
}
"""Entries of ``[tester]`` that carry a unit: dimension, and an example."""


@dataclass(frozen=True)
class Tester:
    """What the study file tells of its testers; None where it tells nothing.

    Attributes
    ----------
    standard : str
        Standard whose limits hold for the hardness tester, with its edition.
    error_limit, repeatability_limit, drift_limit : float or None
        Own limits, that go before those of the standard [HRC].
    indent_diameter, indent_spacing, edge_distance : float or None
        Diameter of an indent; smallest distance of centres, and of a centre from an edge [mm].
    curve_diameter : float or None
        Diameter of a round coupon that was tested on its curved side [mm].
    impact_capacity : float or None
        Capacity of the pendulum [J].
    micrometer : float or None
        What a length reading may be wrong, either way [mm].
    """

    __test__ = False  # pytest would collect the name

    standard: str = STANDARDS[0]
    error_limit: float | None = None
    repeatability_limit: float | None = None
    drift_limit: float | None = None
    indent_diameter: float | None = None
    indent_spacing: float | None = None
    edge_distance: float | None = None
    curve_diameter: float | None = None
    impact_capacity: float | None = None
    micrometer: float | None = None


def told_tester_mistakes(table: Mapping[str, object]) -> list[tuple[str, str, str]]:
    """Everything that is wrong with a ``[tester]`` table.

    Parameters
    ----------
    table : mapping
        As it stands in the study file.

    Returns
    -------
    list of (key, what was found, what to write)
    """
    known = ["standard", *QUANTITIES]
    found = []
    for key, value in table.items():
        if key not in known:
            remedy = nearest(key, known)
            found.append((key, f"'{key}' is not known here", remedy))
        elif key == "standard":
            if value not in STANDARDS:
                words = " or ".join(f'"{name}"' for name in STANDARDS)
                remedy = f"Write {words}, or leave it out and give error_limit and the others."
                found.append((key, f"the limits of {value!r} are not known here", remedy))
        elif _quantity(key, value) is None:
            remedy = f'Write a number above zero with its unit: {key} = "{QUANTITIES[key][1]}".'
            found.append((key, f"{key} is {value!r}", remedy))
    return found


def told_tester(study: Study) -> Tester:
    """Testers of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    Tester

    Raises
    ------
    StudyError
        With every mistake, where the table was not read from a study file.
    """
    if mistakes := told_tester_mistakes(study.tester):
        raise StudyError([Problem(f"tester.{key}", what, do) for key, what, do in mistakes])
    told = {key: _quantity(key, value) for key, value in study.tester.items() if key in QUANTITIES}
    return Tester(standard=str(study.tester.get("standard", STANDARDS[0])), **told)


def _quantity(key: str, value: object) -> float | None:
    """Number above zero in the storage unit; None if it is none."""
    if not isinstance(value, str):
        return None
    try:
        number = parse_quantity(value, QUANTITIES[key][0])
    except UnitError:
        return None
    return number if number > 0 else None
