"""Answers to the questions of a study, with the figures that belong to them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from quenchbook.findings.answers import Analysis, AnyFinding
from quenchbook.findings.traces import trace_note
from quenchbook.findings.trade_findings import TradeFinding
from quenchbook.findings.verdicts import VERDICTS, Finding
from quenchbook.fit.curves import curve_factors, response_curves
from quenchbook.fit.mixed import MixedModel
from quenchbook.report.blocks import Block, Bullets, Paragraph, Run, Runs, Section, from_drawing
from quenchbook.report.means_blocks import means_blocks
from quenchbook.report.trade_figures import drawn_together, trade_figures
from quenchbook.units import difference_unit

CANNOT_TELL: Final = "What cannot be told"
"""Title of the section that says why a question has no answer."""

OUTCOME_MEANINGS: Final = {
    "inside the range": "it was located between the settings that were tried; an end of its "
    "interval may still be open",
    "still rising": "no highest place was reached inside the range; it rises at the upper end",
    "falling throughout": "no highest place was reached inside the range; it falls from the lower "
    "end on",
    "low point": "the fitted curve has a lowest place in the range, not a highest",
    "window found": "some settings are certainly inside the window",
    "nowhere certain": "no setting is certainly inside the window; some are possible",
    "not reached": "no setting of the range is inside the window, not even possibly",
    "inside the tested delays": "half is lost between two of the delays that were run",
    "no gain shown": "no gain was shown at the shortest delay, so there may be nothing to lose",
    "no gain to lose": "at the shortest delay there is none, or one smaller than the margin",
    "no upper limit": "the data set a lower limit only; it may lie anywhere above",
    "no lower limit": "the data set an upper limit only; it may lie anywhere below",
    "upper limit not reached": "there is an upper limit, but it lies beyond what was run",
    "in pieces": "the data allow several separate ranges",
    "not located": "the data set no limit on either side; this does not show that there is none",
    "changes with hardness": "there is no one number, because the difference depends on hardness",
}
"""Words of answers about a place along a factor, which have none of the five verdicts."""

_SHOW_CURVES = ("peak", "working_window")
"""Kinds whose figure shows the fitted curves."""

_SEVERAL_STRATA = (
    "Where a comparison carries the noise of several units, their mean squares are added and the "
    "degrees of freedom follow Satterthwaite, drawn toward the smallest of them."
)


def verdict_blocks(findings: Iterable[AnyFinding]) -> list[Block]:
    """What the words for what was shown mean, as far as they occur."""
    findings = list(findings)
    blocks: list[Block] = [Paragraph(("The words for what was shown:",))]
    meanings = tuple(
        (Run(verdict, strong=True), f": {'. Or: '.join(dict.fromkeys(words))}.")
        for verdict in VERDICTS
        if (words := [own.meaning for own in findings if own.word == verdict])
    )
    outcomes = tuple(
        (Run(word, strong=True), f": {meaning}.")
        for word in dict.fromkeys(own.word for own in findings if own.word not in VERDICTS)
        if (meaning := outcome_meaning(word))
    )
    return [*blocks, Bullets((*meanings, *outcomes))]


def outcome_meaning(word: str) -> str:
    """What the word of an answer about a curve means; empty for a word without explanation."""
    if word.startswith("no ") and word.endswith(" inside"):  # no temper inside, no time inside
        return "no setting inside the range that was tried gives the value that was asked for"
    return OUTCOME_MEANINGS.get(word, "")


def question_anchor(key: str) -> str:
    """Anchor of the section that answers a declared question."""
    return f"question-{key}"


def question_link(key: str) -> str:
    """Link to the section that answers a declared question."""
    return f"#{question_anchor(key)}"


def response_blocks(
    analysis: Analysis, name: str, own: Sequence[AnyFinding], *, level: int = 3
) -> list[Block]:
    """Answers about one response: comparisons as gauges, curves, a section for each question.

    Parameters
    ----------
    analysis : Analysis
    name : str
        Name of the response.
    own : sequence of findings
        About that response.
    level : int
        Of the heading of a question.
    """
    contrasts = [f for f in own if isinstance(f, Finding)]
    compared = comparison_blocks(contrasts, analysis.study.response(name).unit)
    blocks = compared[:1]  # the figure; what is said of it stands last
    if shows_curves(own):
        blocks += curve_blocks(analysis.models[name])
    common = _common_notes(own)
    for together in drawn_together(own):
        for f in together:
            blocks.append(Section(f.question or f.label, level, question_anchor(f.key)))
            blocks.append(Paragraph(_said(analysis, f, common)))
            blocks += means_blocks(analysis, f)
        blocks += trade_figures(together)
    return [*blocks, *_common_blocks(common), *compared[1:]]


def refused_blocks(analysis: Analysis, name: str, *, level: int) -> list[Block]:
    """A section for each question about a response that the records cannot answer."""
    blocks: list[Block] = []
    for question, _ in analysis.unanswered:
        if question.response == name:
            blocks.append(Section(question.words, level, question_anchor(question.key)))
            why = Run(CANNOT_TELL, link=f"#{CANNOT_TELL.replace(' ', '-')}")
            said = (Run("not answered", emphasis=True), ". Why stands under ", why, ".")
            blocks.append(Paragraph(said))
    return blocks


def shows_curves(own: Sequence[AnyFinding]) -> bool:
    """Whether a response gets its curves as a figure: no figure of an answer shows them already."""
    return not any(getattr(f, "asks", "") in _SHOW_CURVES for f in own)


def sentence_blocks(analysis: Analysis, own: Sequence[AnyFinding]) -> list[Block]:
    """A paragraph for each answer; notes that several carry stand once, below all."""
    common = _common_notes(own)
    blocks: list[Block] = [
        Paragraph((Run(f.question, strong=True), " ", *_said(analysis, f, common))) for f in own
    ]
    return [*blocks, *_common_blocks(common)]


def _said(analysis: Analysis, own: AnyFinding, common: Sequence[str]) -> Runs:
    """Verdict, sentence with a note on where it comes from, and what belongs to it."""
    below = (note for note in _below(own) if note not in common)
    rest = " ".join(filter(None, (own.remedy, own.change, *below)))
    sentence = Run(own.sentence, note=trace_note(analysis, own))
    return (Run(own.word, emphasis=True), ". ", sentence, f" {rest}" if rest else "")


def _common_blocks(common: Sequence[str]) -> list[Block]:
    return [Paragraph((f"Of several answers: {' '.join(common)}",))] if common else []


def curve_blocks(model: MixedModel) -> list[Block]:
    """Figure of the response along the first numeric factor; empty where there is none."""
    from quenchbook.plots.curves import figure_response_curves

    x, group = curve_factors(model)
    if x is None:
        return []
    return [from_drawing(figure_response_curves(response_curves(model, x, group)))]


def comparison_blocks(contrasts: Sequence[Finding], unit: str) -> list[Block]:
    """Figure of comparisons, and how noise of several units is added; empty for none."""
    from quenchbook.plots.gauges import figure_contrasts

    if not contrasts:
        return []
    blocks: list[Block] = [from_drawing(figure_contrasts(contrasts, unit=difference_unit(unit)))]
    if any(len(set(f.strata)) > 1 for f in contrasts):
        blocks.append(Paragraph((_SEVERAL_STRATA,)))
    return blocks


def _below(own: AnyFinding) -> tuple[str, ...]:
    """Notes that belong to the answer about a curve: its mix, shape, scatter and advice."""
    return own.notes if isinstance(own, TradeFinding) else ()


def _common_notes(findings: Iterable[AnyFinding]) -> tuple[str, ...]:
    """Notes that more than one answer carries: they stand once, below all."""
    notes = Counter(note for own in findings for note in _below(own))
    return tuple(note for note, count in notes.items() if count > 1)
