"""Questions of a study file, each bound to a comparison, to a term or to a curve."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from quenchbook.study.definition import Question, Response
from quenchbook.study.factors import Factor, Level
from quenchbook.study.mistakes import Mistakes, nearest
from quenchbook.study.reading_levels import read_level_table, read_pair_table
from quenchbook.study.reading_trade_questions import read_trade_question
from quenchbook.study.trade_questions import TradeQuestion

_QUESTION_KEYS: Final = ("key", "words", "response", "compare", "at", "change", "term")
_TRADE_KEYS: Final = (
    "key", "words", "response", "asks", "along", "compare", "at", "change", "margin", "within",
    "target",
)  # fmt: skip


def read_questions(
    content: Mapping[str, Any],
    factors: tuple[Factor, ...],
    responses: tuple[Response, ...],
    mistakes: Mistakes,
) -> tuple[tuple[Question, ...], tuple[TradeQuestion, ...]]:
    """Every question in the order of the file: comparisons and terms; those about curves."""
    by_name = {factor.name: factor for factor in factors}
    names = [str(name) for name in mistakes.table(content, "responses")]
    by_response = dict(zip(names, responses, strict=False))
    questions: list[Question] = []
    trade: list[TradeQuestion] = []
    for where, entry in mistakes.tables(content, "questions"):
        number = where.rpartition(".")[2]
        mistakes.known_keys(entry, _TRADE_KEYS if "asks" in entry else _QUESTION_KEYS, where)
        response = _response_of(entry, by_response, where, mistakes)
        key = mistakes.text(entry, "key", where, default=f"question_{number}")
        if key in {other.key for other in questions} | {other.key for other in trade}:
            mistakes.wrong(
                where, "key", f"key '{key}' is used twice", "Give each question its own key."
            )
        words = mistakes.text(entry, "words", where)
        if not words.strip() and isinstance(entry.get("words", ""), str):
            mistakes.wrong(
                where, "words", "a question has no words", 'Write words = "Is dry ice harder?".'
            )
        if "asks" in entry:
            if own := next((r for r in responses if r.name == response), None):
                about = read_trade_question(
                    key, words, own, entry, by_name, responses, where, mistakes
                )
                trade += [about] if about is not None else []
            continue
        question = _bound(key, words, response, entry, by_name, where, mistakes)
        if question is not None:
            questions.append(question)
    return tuple(questions), tuple(trade)


def _bound(
    key: str,
    words: str,
    response: str,
    entry: Mapping[str, Any],
    factors: Mapping[str, Factor],
    where: str,
    mistakes: Mistakes,
) -> Question | None:
    """Question with its comparison or term; None, and a mistake, without one."""
    compare, term = entry.get("compare"), mistakes.text(entry, "term", where)
    if (compare is None) == (not term):
        mistakes.wrong(
            where,
            "",
            "a question needs either compare or term",
            'Such as compare = { cold_route = ["dry_ice", "none"] }.',
        )
        return None
    at = read_level_table(entry.get("at", {}), factors, where, "at", mistakes)
    change = read_pair_table(entry.get("change", {}), factors, where, "change", mistakes)
    if term:
        for part in term.split(":"):
            if part not in factors:
                mistakes.wrong(where, "term", f"'{part}' is not a factor", nearest(part, factors))
        return Question(key, words, response, term=term)
    pairs = read_pair_table(compare, factors, where, "compare", mistakes)
    if len(pairs) != 1:
        if not mistakes.problems:
            mistakes.wrong(
                where,
                "compare",
                "needs one factor with two levels",
                'Such as { temper = ["175 degC", "150 degC"] }.',
            )
        return None
    name, (level, against) = next(iter(pairs.items()))
    if level == against:
        mistakes.wrong(
            where,
            "compare",
            f"the two levels of {name} are the same",
            "Compare two different ones.",
        )
        return None
    nowhere = _does_not_exist(factors[name], {**at, **{n: pair[0] for n, pair in change.items()}})
    if nowhere:
        mistakes.wrong(where, "compare", f"{name} does not exist {nowhere}", "Ask where it exists.")
    return Question(key, words, response, name, level, against, at, change)


def _does_not_exist(factor: Factor, at: Mapping[str, Level]) -> str:
    """Where a nested factor is asked about and does not exist; empty where it does."""
    level = at.get(factor.nested_in)
    if level is None or level in factor.exists_for:
        return ""
    return f"with {factor.nested_in} {level}"


def _response_of(
    entry: Mapping[str, Any],
    responses: Mapping[str, Response],
    where: str,
    mistakes: Mistakes,
) -> str:
    """Column name of the response a question is about."""
    wanted = mistakes.text(entry, "response", where)
    name = response_named(wanted, responses)
    if name is None:
        mistakes.wrong(
            where, "response", f"'{wanted}' is not a response", nearest(wanted, responses)
        )
    return name or wanted


def response_named(wanted: str, responses: Mapping[str, Response]) -> str | None:
    """Column name of a response, from that or from its name in the study file."""
    for name, response in responses.items():
        if wanted in (response.name, name):
            return response.name
    return None
