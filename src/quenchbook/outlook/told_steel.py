"""Grade and composition as the study file tells them."""

from __future__ import annotations

from collections.abc import Mapping

from quenchbook.errors import Problem, StudyError
from quenchbook.metallurgy.austenite import ELEMENTS
from quenchbook.study.definition import Study


def told_steel(study: Study) -> tuple[str, dict[str, float]]:
    """Grade and composition of the steel of a study.

    Parameters
    ----------
    study : Study

    Returns
    -------
    grade : str
        Empty when it is not told.
    composition : dict of element to float
        [mass per cent]

    Raises
    ------
    StudyError
        With every entry that cannot be read.
    """
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
