"""How often the sentences of a report were false in simulated studies, as it was measured."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any, Final

from quenchbook.errors import ReportError
from quenchbook.study.definition import Multiplicity
from quenchbook.units import NO_BREAK, number_text

FILE: Final = "measured_rates.json"
NOT_MEASURED: Final = "not measured in this version"

_JUDGED: Final = {
    "each": "questions judged each on its own, as here",
    "together": "questions that share one level, as here",
}


def measured_rates_words(multiplicity: Multiplicity = "each") -> str:
    """Measured rates of false statements in words; says so where they were not measured.

    Parameters
    ----------
    multiplicity : str
        How the questions of the study are judged: its rates are told.

    Returns
    -------
    str
        From the file `FILE` beside this module: ``studies`` and ``questions`` (numbers simulated),
        ``confidence`` (of the questions and of the limits), ``rows`` (each with ``level``, one of
        ``each`` and ``together``; ``what`` was counted; ``rate`` with its limits ``low`` and
        ``high``, shares from 0 to 1; ``of`` how many), ``measured`` (date), ``version`` and
        ``command`` (that makes the file).

    Raises
    ------
    ReportError
        If the file is there and does not hold these.
    """
    place = resources.files("quenchbook.report").joinpath(FILE)
    if not place.is_file():
        return rates_words(None, multiplicity)
    return rates_words(json.loads(place.read_text(encoding="utf-8")), multiplicity)


def rates_words(measured: dict[str, Any] | None, multiplicity: Multiplicity = "each") -> str:
    """Words for measured rates; None stands for rates that were not measured."""
    head = "How often such sentences are false over whole studies was"
    if measured is None:
        return f"{head} {NOT_MEASURED}."
    try:
        level = f"{float(measured['confidence']) * 100:g}{NO_BREAK}%"
        rows = [row for row in measured["rows"] if row["level"] == multiplicity]
        parts = [f"{row['what']} {_share(row)}" for row in rows]
        if not parts:
            raise KeyError(multiplicity)
        return (
            f"{head} measured with quenchbook {measured['version']} ({measured['measured']}) on "
            f"{int(measured['studies']):,} simulated studies with "
            f"{int(measured['questions']):,} questions at {level}. For {_JUDGED[multiplicity]}: "
            f"{'; '.join(parts)} ({level} limits in brackets). To measure it again: "
            f"{measured['command']} in the source of quenchbook."
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ReportError(
            f"{FILE} beside the report module does not hold measured rates: {error!r}. Make it "
            "again with the simulation that measures them, or remove it."
        ) from None


def _share(own: dict[str, Any]) -> str:
    rate, low, high = (number_text(100 * float(own[name]), 1) for name in ("rate", "low", "high"))
    return f"{rate}{NO_BREAK}% of {int(own['of']):,} ({low} to {high}{NO_BREAK}%)"
