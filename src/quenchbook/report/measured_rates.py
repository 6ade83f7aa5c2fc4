"""How often the sentences of a report were false in simulated studies, as it was measured."""

from __future__ import annotations

import json
from importlib import resources
from typing import Any, Final

from quenchbook.errors import ReportError
from quenchbook.units import NO_BREAK, number_text

FILE: Final = "measured_rates.json"
NOT_MEASURED: Final = "not measured in this version"

_RATES: Final = {
    "false_difference": "of difference",
    "false_equivalence": "of equivalence",
}


def measured_rates_words() -> str:
    """Measured rates of false statements in words; says so where they were not measured.

    Returns
    -------
    str
        From the file `FILE` beside this module, an object with ``quenchbook`` (version),
        ``studies`` (number simulated), ``false_difference`` and ``false_equivalence`` (each with
        ``rate`` and its limits ``conf_low`` and ``conf_high``, shares from 0 to 1, family-wise),
        ``confidence`` of these limits, and ``source`` (where simulation and output stand).

    Raises
    ------
    ReportError
        If the file is there and does not hold these.
    """
    place = resources.files("quenchbook.report").joinpath(FILE)
    if not place.is_file():
        return rates_words(None)
    return rates_words(json.loads(place.read_text(encoding="utf-8")))


def rates_words(measured: dict[str, Any] | None) -> str:
    """Words for measured rates; None stands for rates that were not measured."""
    head = "How often such sentences are false over whole studies was"
    if measured is None:
        return f"{head} {NOT_MEASURED}."
    try:
        level = f"{float(measured['confidence']) * 100:g}{NO_BREAK}%"
        parts = [
            f"at least one false statement {what} in {_share(measured[key])}"
            for key, what in _RATES.items()
        ]
        return (
            f"{head} measured with quenchbook {measured['quenchbook']} on "
            f"{int(measured['studies'])} simulated studies: {'; '.join(parts)} ({level} limits). "
            f"{measured['source']}".rstrip()
        )
    except (KeyError, TypeError, ValueError) as error:
        raise ReportError(
            f"{FILE} beside the report module does not hold measured rates: {error!r}. Make it "
            "again with the simulation that measures them, or remove it."
        ) from None


def _share(own: dict[str, Any]) -> str:
    rate, low, high = (
        number_text(100 * float(own[name]), 1) for name in ("rate", "conf_low", "conf_high")
    )
    return f"{rate}{NO_BREAK}% of them ({low} to {high}{NO_BREAK}%)"
