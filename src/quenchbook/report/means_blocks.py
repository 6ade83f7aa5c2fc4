"""The means behind an answer, one line or a small table under its sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Final

import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.statements import interval_words
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.fit.means import marginal_means
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Paragraph, Run, table
from quenchbook.study.definition import Question, Study
from quenchbook.study.factors import Level
from quenchbook.units import capital, decimals_for, number_text, with_unit

OF_MEANS: Final = (
    "Intervals of two means may overlap where their difference is real: a mean carries the noise "
    "of all its units, and much of that cancels in a difference."
)

_MOST_IN_A_LINE: Final = 5


def means_blocks(analysis: Analysis, own: AnyFinding) -> list[Block]:
    """Means of the levels that an answer compares, each with its interval.

    Parameters
    ----------
    analysis : Analysis
    own : Finding, TermFinding or TradeFinding

    Returns
    -------
    list of Block
        Empty for answers about curves, whose figure shows them, and where a mean has no interval.
    """
    asked = [question for question in analysis.study.questions if question.key == own.key]
    if not asked or not isinstance(own, Finding | TermFinding):
        return []
    model, study = analysis.models[own.response], analysis.study
    by, at = _levels(asked[0], study)
    try:
        means = marginal_means(model, by, at=at, confidence=own.confidence)
    except EstimabilityError:
        return []  # the answer itself stands; a single mean of it may not be estimable
    frame = means.to_frame()
    if frame.empty or not frame[["estimate", "conf_low", "conf_high"]].notna().all(axis=None):
        return []
    rows = [
        (_setting(row, by, study), *_numbers(row, model))
        for row in frame.to_dict("records")
        if all(row[study.factor(name).column] == row[study.factor(name).column] for name in by)
    ]
    # a mean of logarithms, taken back, is no mean of the values
    kind = "geometric means" if model.scale == "log" else "means"
    held = _held(asked[0], study)
    level, unit = interval_words(own.confidence), "" if model.unit == "" else model.unit
    if len(rows) <= _MOST_IN_A_LINE:
        parts = [f"{where} {with_unit(mean, unit)} ({limits})" for where, mean, limits in rows]
        words = f"{held} ({level}): {'; '.join(parts)}."
        return [Paragraph((Run(capital(kind), strong=True), words))]
    # the limits stand in one cell: an interval is read as one thing
    block = table(
        pd.DataFrame(rows, columns=["setting", "mean", "interval"]),
        key=f"means_{own.key}",
        caption=f"{capital(own.quantity)}: {kind.removesuffix('s')} of each setting{held}.",
        titles={"interval": level},
        units={"mean": unit, "interval": unit},
    )
    return [block]


def _levels(question: Question, study: Study) -> tuple[list[str], Mapping[str, Sequence[Level]]]:
    """Factors whose levels get a mean, and those levels."""
    if question.term:
        names = question.term.split(":")
        return names, {name: study.factor(name).levels for name in names}
    at: dict[str, Sequence[Level]] = {name: (level,) for name, level in question.at.items()}
    at |= dict(question.change)
    at[question.factor] = (question.level, question.against)
    return [*question.change, question.factor], at


def _held(question: Question, study: Study) -> str:
    """Levels of other factors that the question keeps: `` at austenitize 1030 °C``."""
    named = [study.factor(name).named_word(level) for name, level in question.at.items()]
    return f" at {', '.join(named)}" if named else ""


def _setting(row: Mapping[object, object], by: Sequence[str], study: Study) -> str:
    words = []
    for name in by:
        factor = study.factor(name)
        value = row[factor.column]
        words.append(factor.word(value if isinstance(value, str) else float(str(value))))
    return ", ".join(words)


def _numbers(row: Mapping[object, object], model: MixedModel) -> tuple[str, str]:
    """Mean and its interval in the unit of the response."""
    mean, low, high, sd = (
        float(str(row[name])) for name in ("estimate", "conf_low", "conf_high", "std_error")
    )
    if model.scale == "log":
        mean, low, high, sd = math.exp(mean), math.exp(low), math.exp(high), math.exp(mean) * sd
    decimals = decimals_for(sd, model.unit)
    ends = " to ".join(number_text(end, decimals) for end in (low, high))
    return number_text(mean, decimals), ends
