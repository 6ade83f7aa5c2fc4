"""Questions of a study file that say what they ask: ``asks = "peak"``."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

from quenchbook.errors import UnitError
from quenchbook.study.definition import Response
from quenchbook.study.factors import Factor, Level
from quenchbook.study.mistakes import Mistakes, nearest
from quenchbook.study.reading_levels import read_level_table, read_pair_table
from quenchbook.study.trade_questions import ASKS, Asks, TradeQuestion
from quenchbook.units import difference_dimension, parse_number, parse_quantity

_EXAMPLES = {
    "along": 'along = "austenitize"',
    "compare": 'compare = { cold_route = ["dry_ice", "none"] }',
    "within": 'within = "0.3 HRC"',
    "target": 'target = "60 HRC"',
}


def read_trade_question(
    key: str,
    words: str,
    response: Response,
    entry: Mapping[str, Any],
    factors: Mapping[str, Factor],
    where: str,
    mistakes: Mistakes,
) -> TradeQuestion | None:
    """One question with ``asks``; None, and mistakes, if it cannot be understood."""
    asks = str(entry["asks"])
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
                f"Write {_EXAMPLES[name]}.",
            )
    for name in ("along", "compare", "at", "change", "margin", "within", "target"):
        if name in entry and name not in (*needed, *possible):
            mistakes.wrong(where, name, f'asks = "{asks}" has no {name}', "Leave it out.")
    along = str(entry.get("along", ""))
    numeric = {name: own for name, own in factors.items() if own.is_numeric}
    if along and along not in numeric:
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
                f"Write {_EXAMPLES['compare']}.",
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
    return TradeQuestion(
        key, words, response.name, cast(Asks, asks), along, factor, level, against, at, change,
        margin, within, target,
    )  # fmt: skip


def _in_response(
    entry: Mapping[str, Any], key: str, response: Response, where: str, mistakes: Mistakes
) -> float | None:
    """Amount of a key in the unit of the response, above zero."""
    if key not in entry:
        return None
    text, example = str(entry[key]).strip(), f'Write {key} = "0.3 {response.unit}"'.strip() + "."
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
    try:
        value = round(parse_quantity(str(raw), difference_dimension(factor.dimension)), 9)
    except UnitError as error:
        mistakes.wrong(where, "margin", f"margin: {error}", 'Write margin = "10 degC".')
        return None
    if value <= 0:
        mistakes.wrong(where, "margin", f"{raw!r} is not above zero", 'Write margin = "10 degC".')
        return None
    return value
