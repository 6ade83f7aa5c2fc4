"""Readings as they are typed: their words, units and columns, and what is wrong with each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from quenchbook.errors import Problem, RecordError, UnitError
from quenchbook.forms.entry_wording import pointed, problem_of
from quenchbook.forms.own_files import Cells, form_table
from quenchbook.plan.entry_tables import reading_columns, response_stem
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.labels import Labels
from quenchbook.records.measurements import measurements
from quenchbook.study.definition import Response
from quenchbook.units import is_energy, unit_ending

ENERGY_UNITS: Final = ("J", "ft lbf")


def units_of(response: Response) -> Cells:
    """Units that readings can be entered in, that of the study first."""
    unit = response.unit
    others = ENERGY_UNITS if is_energy(unit) else ()
    return (unit, *(own for own in others if unit_ending(own) != unit_ending(unit)))


def words_of(response: Response) -> Cells:
    """Words for the readings of one coupon: ``indent 1`` to ``indent 5``."""
    word = "indent" if response.kind == "hardness" else "reading"
    if response.readings == 1:
        return (response.quantity,)
    return tuple(f"{word} {number}" for number in range(1, response.readings + 1))


def columns_in_unit(response: Response, unit: str) -> Cells:
    """Columns of a response; of another unit with its letters: ``impact_ftlbf``."""
    columns = reading_columns(response)
    if not unit or unit_ending(unit) == unit_ending(response.unit):
        return columns
    if unit not in units_of(response):
        known = ", ".join(units_of(response))
        raise RecordError(
            Problem(response.quantity, f"is not entered in {unit}", f"Known: {known}.")
        )
    stem = response_stem(response)
    return tuple(f"{stem}_{unit_ending(unit)}{name[len(response.name) :]}" for name in columns)


def reading_problems(
    matrix: CouponMatrix, response: Response, readings: Sequence[str], unit: str, coupon: str
) -> dict[int, Problem]:
    """What the reader of records says against each reading alone, by their place from 0."""
    columns, problems = columns_in_unit(response, unit), {}
    for place, text in enumerate(readings):
        if not text.strip():
            continue
        try:
            table = form_table(("coupon", columns[place]), [(coupon, pointed(text))])
        except UnitError as error:
            own = [problem_of(error)]
        except RecordError as error:
            own = list(error.problems)
        else:
            found = measurements([table], matrix.study, Labels(matrix))
            own = [p for p in found.problems if p.column == columns[place]]
        if own:
            problems[place] = Problem("", own[0].problem, own[0].remedy)
    return problems
