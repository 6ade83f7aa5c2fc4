"""The answers to some of the questions of a study, chosen by what they ask."""

from __future__ import annotations

from typing import Final

from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis
from quenchbook.findings.verdicts import Finding
from quenchbook.report.answer_blocks import (
    comparison_blocks,
    curve_blocks,
    sentence_blocks,
    verdict_blocks,
)
from quenchbook.report.blocks import Block, Bullets, Paragraph, Run, Section
from quenchbook.report.trade_figures import trade_figures
from quenchbook.study.definition import Study
from quenchbook.study.trade_questions import ASKS
from quenchbook.units import capital, listed

COMPARISON: Final = "comparison"
"""Questions that compare levels or ask whether a term matters; all others say what they ask."""

_PEAKS: Final = ("peak", "peak_shift", "curve_shift", "working_window", "target_window")


def report_asked(analysis: Analysis, *asks: str) -> list[Block]:
    """Answers to the questions of some kinds, with their figures and what could not be answered.

    Parameters
    ----------
    analysis : Analysis
    *asks : str
        ``"comparison"``, or kinds as in the study file: ``"peak"``, ``"half_loss"``.

    Returns
    -------
    list of Block
        Without such a question: a sentence that says so, and how to ask it.

    Raises
    ------
    EstimabilityError
        For a kind that cannot be asked.
    """
    unknown = [kind for kind in asks if kind != COMPARISON and kind not in ASKS]
    if unknown or not asks:
        found = listed([f"'{kind}'" for kind in unknown]) or "nothing"
        raise EstimabilityError(
            f"{found} cannot be asked. Name some of: {', '.join((COMPARISON, *ASKS))}."
        )
    kinds = dict.fromkeys((own.key for own in analysis.study.questions), COMPARISON)
    kinds |= {own.key: own.asks for own in analysis.study.trade_questions}
    wanted = {key for key, kind in kinds.items() if kind in asks}
    about_peaks = any(kind in _PEAKS for kind in asks)
    if not wanted:
        first = next(iter(analysis.models.values()))
        return [*_not_asked(asks, analysis.study), *(curve_blocks(first) if about_peaks else [])]
    findings = [own for own in analysis.findings if own.key in wanted]
    blocks: list[Block] = verdict_blocks(findings) if COMPARISON in asks and findings else []
    responses = [name for name in analysis.models if any(f.response == name for f in findings)]
    for name in responses:
        if len(responses) > 1:
            blocks.append(Section(capital(analysis.study.response(name).quantity), level=3))
        own = [f for f in findings if f.response == name]
        compared = comparison_blocks(
            [f for f in own if isinstance(f, Finding) and kinds[f.key] == COMPARISON],
            analysis.study.response(name).unit,
        )  # an answer about a curve has a figure of its own
        drawn = trade_figures(own)
        if about_peaks and not drawn:
            drawn = curve_blocks(analysis.models[name])
        blocks += [*compared[:1], *sentence_blocks(analysis, own), *drawn, *compared[1:]]
    for question, why in analysis.unanswered:
        if question.key in wanted:
            runs = (Run(question.words, strong=True), " ", Run("not answered", emphasis=True))
            blocks.append(Paragraph((*runs, f". {why}")))
    return blocks


def _not_asked(asks: tuple[str, ...], study: Study) -> list[Block]:
    """That the study has no such question, and what to write for one."""
    curves = [(kind, *own) for kind, own in ASKS.items() if kind in asks]
    if not curves:
        words = (
            "This study compares no levels and asks about no term. To ask, write compare or term "
            "below [[questions]] in study.toml."
        )
        return [Paragraph((words,))]
    if not any(factor.is_numeric for factor in study.factors):
        words = "This study does not ask it, and cannot: no factor has numbers as levels."
        return [Paragraph((words,))]
    when = "What is asked after the data is exploratory."
    heads = f"This study does not ask it. {when} A question in study.toml can say:"
    lines = [f'asks = "{kind}": {words}; needs {listed(keys)}.' for kind, words, keys, _ in curves]
    return [Paragraph((heads,)), Bullets(tuple((line,) for line in lines))]
