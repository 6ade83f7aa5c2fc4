"""Problems of the records as a form says them, and numbers as it keeps them."""

from __future__ import annotations

import re
from typing import Final

from quenchbook.errors import Problem, UnitError
from quenchbook.units import parse_number

FORM: Final = "this form"
_NUMBER: Final = re.compile(r"[+-]?\d*,\d+")


def in_form_words(problem: Problem, name: str = FORM) -> Problem:
    """Problem as a form says it: it has no rows and no columns, and its corrections are made here.

    Parameters
    ----------
    problem : Problem
    name : str
        Table of the form itself.
    """
    where = re.sub(rf"^{re.escape(name)} row \d+(, )?", "", problem.where)
    remedy = problem.remedy.replace(" in the column actual", "")
    if "add a row to corrections.csv" in remedy:
        remedy = remedy.partition("add a row")[0] + "choose that code, and say so in the note."
    if "already read" in problem.problem:
        remedy = "Choose another coupon, or correct what was entered."
    return Problem(where, problem.problem, remedy, problem.column)


def without_place(problem: Problem) -> tuple[str, str]:
    """Problem without its place: a row may have moved from one file to another."""
    return problem.problem, problem.remedy


def pointed(text: str) -> str:
    """Number with a decimal point, whatever was typed; other texts as they are.

    All readings of a form then have one mark. What a comma means is asked of `parse_number`.

    Raises
    ------
    UnitError
        If it can be read as a thousand or as a decimal.

    Examples
    --------
    >>> pointed(" 62,4 HRC"), pointed("62.4"), pointed("sixty, about")
    ('62.4 HRC', '62.4', 'sixty, about')
    """
    plain = text.strip()
    number = _NUMBER.match(plain)
    if number is None or plain.count(",") > 1 or "." in plain:
        return plain
    parse_number(number[0])
    return plain.replace(",", ".", 1)


def problem_of(error: UnitError) -> Problem:
    """What is wrong with a number, and what to write."""
    found, _, remedy = str(error).partition(". ")
    return Problem("", found, remedy or "Write the number again.")
