"""Questions of a study file that say what they ask: ``asks = "peak"``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final, cast

from quenchbook.errors import UnitError
from quenchbook.study.definition import Response
from quenchbook.study.factors import Factor, Level
from quenchbook.study.mistakes import Mistakes, nearest
from quenchbook.study.reading_levels import read_level_table, read_pair_table
from quenchbook.study.trade_question_faults import amount_example, example_of, faults_of
from quenchbook.study.trade_questions import ASKS, Asks, TradeQuestion
from quenchbook.units import difference_dimension, parse_number, parse_quantity

_SHIFTS: Final = {
    "temperature": ("10 degC", "degC or degF"),
    "time": ("10 min", "s, min, h or days"),
    "length": ("1 mm", "mm"),
    "count": ("1 times", "times"),
}


def read_trade_question(
    key: str,
    words: str,
    response: Response,
    entry: Mapping[str, Any],
    factors: Mapping[str, Factor],
    responses: Sequence[Response],
    where: str,
    mistakes: Mistakes,
) -> TradeQuestion | None:
    """One question with ``asks``; None, and mistakes, if it cannot be understood."""
    asks = mistakes.text(entry, "asks", where)
    if asks not in ASKS:
        mistakes.wrong(where, "asks", f"'{asks}' cannot be asked", nearest(asks, ASKS))
        return None
    meaning, needed, possible = ASKS[cast(Asks, asks)]
    before = len(mistakes.problems)
    for name in needed:
        if name not in entry:
            mistakes.wrong(
                where,
                "",
                f'asks = "{asks}" ({meaning}) has no {name}',
                example_of(name, cast(Asks, asks), response, factors, str(entry.get("along", ""))),
            )
    for name in ("along", "compare", "at", "change", "margin", "within", "target"):
        if name in entry and name not in (*needed, *possible):
            mistakes.wrong(where, name, f'asks = "{asks}" has no {name}', "Leave it out.")
    along = mistakes.text(entry, "along", where)
    numeric = {name: own for name, own in factors.items() if own.is_numeric}
    if "along" in entry and along not in numeric:
        mistakes.wrong(
            where,
            "along",
            f"'{along}' is not a factor with numbers as levels",
            nearest(along, numeric),
        )
    pair: tuple[str, tuple[Level, Level]] | None = None
    if "compare" in needed and "compare" in entry:
        pairs = read_pair_table(entry["compare"], factors, where, "compare", mistakes)
        if len(pairs) == 1:
            pair = next(iter(pairs.items()))
        elif len(mistakes.problems) == before:
            mistakes.wrong(
                where,
                "compare",
                "needs one factor with two levels",
                example_of("compare", cast(Asks, asks), response, factors, along),
            )
    at = read_level_table(entry.get("at", {}), factors, where, "at", mistakes)
    change = read_pair_table(entry.get("change", {}), factors, where, "change", mistakes)
    within = _in_response(entry, "within", response, where, mistakes)
    target = _in_response(entry, "target", response, where, mistakes)
    margin = None
    if "margin" in entry and along in numeric:
        margin = _shift(entry["margin"], numeric[along], where, mistakes)
    if len(mistakes.problems) > before:
        return None
    factor, (level, against) = pair or ("", ("", ""))
    question = TradeQuestion(
        key, words, response.name, cast(Asks, asks), along, factor, level, against, at, change,
        margin, within, target,
    )  # fmt: skip
    faults = faults_of(question, response, factors, responses)
    for own in faults:
        mistakes.wrong(where, own.key, own.problem, own.remedy)
    return None if faults else question


def _in_response(
    entry: Mapping[str, Any], key: str, response: Response, where: str, mistakes: Mistakes
) -> float | None:
    """Amount of a key in the unit of the response, above zero."""
    if key not in entry:
        return None
    text = str(entry[key]).strip()
    example = f'Write {key} = "{amount_example(key, response, text)}".'
    if response.unit and not text.endswith(response.unit):
        mistakes.wrong(where, key, f"{entry[key]!r} has no unit '{response.unit}'", example)
        return None
    try:
        value = parse_number(text.removesuffix(response.unit).strip())
    except UnitError as error:
        mistakes.wrong(where, key, str(error), example)
        return None
    if value <= 0:
        mistakes.wrong(where, key, f"{entry[key]!r} is not above zero", example)
        return None
    return value


def _shift(raw: Any, factor: Factor, where: str, mistakes: Mistakes) -> float | None:
    """Difference along a factor that is too small to matter, above zero."""
    own, units = _SHIFTS[factor.dimension]
    example = f'Write margin = "{own}".'
    try:
        value = round(parse_quantity(str(raw), difference_dimension(factor.dimension)), 9)
    except UnitError:
        what = f"margin is {raw!r}, not a difference of {factor.title} in {units}"
        mistakes.wrong(where, "margin", what, example)
        return None
    if value <= 0:
        mistakes.wrong(where, "margin", f"{raw!r} is not above zero", example)
        return None
    return value
