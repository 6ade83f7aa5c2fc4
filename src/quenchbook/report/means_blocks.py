"""The means behind an answer, one line or a small table under its sentence."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.both_units import Printed, Scale
from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.statements import interval_words
from quenchbook.findings.verdicts import Finding, TermFinding
from quenchbook.fit.means import marginal_means
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Paragraph, Run, TableBlock, table
from quenchbook.report.study_tables import SAME
from quenchbook.study.definition import Question, Study
from quenchbook.study.factors import Level
from quenchbook.units import capital, decimals_for, number_text

OF_MEANS: Final = (
    "Intervals of two means may overlap where their difference is real: a mean carries the noise "
    "of all its units, and much of that cancels in a difference."
)

_MOST_IN_A_LINE: Final = 5
_AS_HELD: Final = Scale("")


@dataclass(frozen=True)
class _Mean:
    """Mean, its interval and its standard error in the unit of the response."""

    value: float
    low: float
    high: float
    sd: float

    def mean_text(self, unit: str, scale: Scale = _AS_HELD) -> str:
        return self._text(self.value, unit, scale)

    def interval_text(self, unit: str, scale: Scale = _AS_HELD) -> str:
        return " to ".join(self._text(end, unit, scale) for end in (self.low, self.high))

    def _text(self, value: float, unit: str, scale: Scale) -> str:
        """Number on a scale; another one shows what the first printed, converted."""
        printed = round(value, decimals_for(self.sd, unit))
        return number_text(scale.difference(printed), decimals_for(scale.difference(self.sd), unit))


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
        (_setting(row, by, study), _mean(row, model))
        for row in frame.to_dict("records")
        if all(row[study.factor(name).column] == row[study.factor(name).column] for name in by)
    ]
    # a mean of logarithms, taken back, is no mean of the values
    kind = "geometric means" if model.scale == "log" else "means"
    held = _held(asked[0], study)
    level, printed = interval_words(own.confidence), model.printed
    if len(rows) <= _MOST_IN_A_LINE:
        parts = [
            printed.with_limits(
                f"{where} {printed.difference(mean.value, std_error=mean.sd)}",
                printed.limits(mean.low, mean.high, std_error=mean.sd),
            )
            for where, mean in rows
        ]
        words = f"{held} ({level}): {'; '.join(parts)}."
        return [Paragraph((Run(capital(kind), strong=True), words))]
    caption = f"{capital(own.quantity)}: {kind.removesuffix('s')} of each setting{held}."
    return [_means_table(f"means_{own.key}", caption, rows, level, printed)]


def _means_table(
    key: str, caption: str, rows: Sequence[tuple[str, _Mean]], level: str, printed: Printed
) -> TableBlock:
    """Means of many settings; each column has the other unit beside it where there is one."""
    titles, units = {"interval": level}, dict[str, str]()
    columns = {"setting": [where for where, _ in rows]}
    # the limits stand in one cell: an interval is read as one thing
    texts = {"mean": _Mean.mean_text, "interval": _Mean.interval_text}
    for name, text in texts.items():
        units[name] = printed.unit
        columns[name] = [text(mean, printed.unit) for _, mean in rows]
        if (other := printed.other) is not None:
            beside = f"{name}, {other.unit}"
            titles[beside], units[beside] = SAME, other.unit
            columns[beside] = [text(mean, printed.unit, other) for _, mean in rows]
    return table(
        pd.DataFrame(columns),
        key=key,
        caption=caption,
        titles=titles,
        units=units,
    )


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


def _mean(row: Mapping[object, object], model: MixedModel) -> _Mean:
    """Mean and its interval in the unit of the response."""
    value, low, high, sd = (
        float(str(row[name])) for name in ("estimate", "conf_low", "conf_high", "std_error")
    )
    if model.scale == "log":
        return _Mean(math.exp(value), math.exp(low), math.exp(high), math.exp(value) * sd)
    return _Mean(value, low, high, sd)
