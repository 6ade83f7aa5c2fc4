"""Rows of published comparisons held against each other and against the own study."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem
from quenchbook.records.cells import dimension_of, nearest_words
from quenchbook.study.factors import ROUTE_WORDS, Factor, Level

if TYPE_CHECKING:
    from quenchbook.records.published_comparisons import PublishedComparison
    from quenchbook.study.definition import Question, Study
    from quenchbook.study.trade_questions import TradeQuestion

_ALIKE: Final = 0.85  # of difflib: "dryice" and "dry ice" are one word, "freezer" is another
_MULTIPLES: Final = frozenset({"kj", "mj", "kjoule", "kn m", "knm"})
_UNITS: Final = (("hardness", "hardness", "HRC"), ("energy", "energy", "J or ft lbf"))
"""Word of a quantity, dimension of its unit, and what to write."""


def row_problems(
    rows: Sequence[PublishedComparison], name: str, study: Study | None
) -> list[Problem]:
    """Mistakes that no row shows alone.

    Parameters
    ----------
    rows : sequence of PublishedComparison
        Rows without a mistake of their own.
    name : str
        Of the file.
    study : Study or None
        The own study, where there is one.

    Returns
    -------
    list of Problem
    """
    found = []
    for own in rows:
        where = f"{name} row {own.row}, {own.study}"
        levels = _level_problems(own, rows, study)
        if study is not None and not levels:
            levels = _question_problems(own, study)
        for column, problem, remedy in (
            *_unit_problems(own, study), *levels, *_turned_problems(own, rows),
        ):  # fmt: skip
            found.append(Problem(where, problem, remedy, column))
    return found


_Found = list[tuple[str, str, str]]


def _unit_problems(own: PublishedComparison, study: Study | None) -> _Found:
    if not own.unit:
        return []
    dimension, quantity = dimension_of(own.unit), own.quantity.casefold()
    for word, wanted, write in _UNITS:
        # HV, J/cm2: units that we do not convert; a multiple such as kJ is taken for a slip
        other = not dimension and own.unit.casefold() not in _MULTIPLES
        if word in quantity and dimension != wanted and not other:
            what = "is not known" if not dimension else f"is a unit of {dimension}"
            return [("unit", f"the unit '{own.unit}' of {own.quantity} {what}", f"Write {write}.")]
    for response in study.responses if study is not None else ():
        same = response.quantity.casefold() == quantity and own.effect == "difference"
        if same and dimension_of(response.unit) != dimension:
            what = f"{own.quantity} is in '{own.unit}', in the own study in '{response.unit}'"
            return [("unit", what, f"Write {response.unit}; or compare ratios.")]
    return []


def _level_problems(
    own: PublishedComparison, rows: Sequence[PublishedComparison], study: Study | None
) -> _Found:
    """A level that is almost a known one: it would stand alone as another comparison."""
    known = [*ROUTE_WORDS, *ROUTE_WORDS.values()]
    for factor in study.factors if study is not None else ():
        known += [word for level in factor.levels for word in _words_of(factor, level)]
    for other in rows:
        if other.row < own.row:
            known += [other.level, other.against]
    plain = {word.casefold().replace("_", " "): word.replace("_", " ") for word in known if word}
    found = []
    for column, text in (("level", own.level), ("against", own.against)):
        if text.casefold().replace("_", " ") in plain:
            continue
        close = difflib.get_close_matches(text.casefold(), plain, n=1, cutoff=_ALIKE)
        if close:
            found.append(
                (
                    column,
                    f"{column} is '{text}', which is almost '{plain[close[0]]}'",
                    f"Write {plain[close[0]]}; one level needs one word in all rows.",
                )
            )
    return found


def _turned_problems(own: PublishedComparison, rows: Sequence[PublishedComparison]) -> _Found:
    for other in rows:
        same = (own.quantity.casefold(), own.effect) == (other.quantity.casefold(), other.effect)
        pair = (own.level.casefold(), own.against.casefold())
        if other.row < own.row and same and pair == (
            other.against.casefold(), other.level.casefold(),
        ):  # fmt: skip
            return [
                (
                    "level",
                    f"compares {own.level} with {own.against}; row {other.row} compares "
                    f"{other.level} with {other.against}",
                    "Write all rows of a comparison the same way round: swap the two levels with "
                    "their numbers, or the sign of estimate.",
                )
            ]
    return []


def _question_problems(own: PublishedComparison, study: Study) -> _Found:
    if not own.question:
        return []
    every: list[Question | TradeQuestion] = [*study.questions, *study.trade_questions]
    asked = {one.key: one for one in every}
    if own.question not in asked:
        return [
            (
                "question",
                f"'{own.question}' is not the key of a question of this study",
                nearest_words(own.question, tuple(asked)) if asked else "Leave it empty.",
            )
        ]
    question = asked[own.question]
    if not question.factor:
        return [
            (
                "question",
                f"the question '{own.question}' compares no two levels",
                "Name a question that does, or leave it empty.",
            )
        ]
    factor = study.factor(question.factor)
    first, second = (_words_of(factor, one) for one in (question.level, question.against))
    level, against = own.level.casefold(), own.against.casefold()
    if level in first and against in second:
        return []
    if level in second and against in first:
        return [
            (
                "level",
                f"compares {own.level} with {own.against}; the question '{own.question}' compares "
                "them the other way round",
                "Swap the two levels with their numbers, or the sign of estimate.",
            )
        ]
    return [
        (
            "level",
            f"compares {own.level} with {own.against}; the question '{own.question}' compares "
            f"{factor.word(question.level)} with {factor.word(question.against)}",
            "Write the levels as the study has them, or leave question empty.",
        )
    ]


def _words_of(factor: Factor, level: Level) -> tuple[str, ...]:
    """How a level can be written, in small letters."""
    words = [factor.set_word(level), str(level)]
    if isinstance(level, str):
        words += [level.replace("_", " "), ROUTE_WORDS.get(level, level)]
    return tuple(dict.fromkeys(word.replace("\u00a0", " ").casefold() for word in words))
