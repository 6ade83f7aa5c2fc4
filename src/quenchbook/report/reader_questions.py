"""What readers ask, each answered in one sentence from a result, or said to be not tested."""

from __future__ import annotations

from quenchbook.findings.answers import Analysis
from quenchbook.findings.first_words import first_words
from quenchbook.findings.headlines import study_names
from quenchbook.findings.plain_answers import plain_answer
from quenchbook.findings.traces import trace_note
from quenchbook.report.answer_blocks import question_link
from quenchbook.report.blocks import Block, Paragraph, Run, Runs, Section
from quenchbook.study.publishing import ReaderQuestion

NOT_TESTED = "Not tested here."


def report_reader_questions(analysis: Analysis) -> list[Block]:
    """Questions of readers, answered from the results of the study.

    Parameters
    ----------
    analysis : Analysis
        Its study lists them below ``[publishing]``.

    Returns
    -------
    list of Block
        Empty where the study file lists none, so that a report without them has no such section.
    """
    asked = analysis.study.publishing.reader_questions
    if not asked:
        return []
    blocks: list[Block] = [Section("What readers ask")]
    return [*blocks, *(Paragraph(_answered(analysis, own)) for own in asked)]


def _answered(analysis: Analysis, asked: ReaderQuestion) -> Runs:
    """Question, answer and where it is shown."""
    head = Run(asked.words, strong=True)
    found = next((own for own in analysis.findings if own.key == asked.answer_from), None)
    if found is not None:
        words = plain_answer(found, study_names(analysis.study))
        mark = "Exploratory: " if found.change else ""
        sentence = Run(words, note=trace_note(analysis, found))
        first = first_words(found, asked.yes_if)
        start = f"{mark}{first} " if first else mark
        return (head, f"\n{start}", sentence, " ", *_shown_under(asked, found.question))
    for question, why in analysis.unanswered:
        if question.key == asked.answer_from:
            return (head, f"\nNot answered: {why} ", *_shown_under(asked, question.words))
    return (head, f"\n{NOT_TESTED}")


def _shown_under(asked: ReaderQuestion, question: str) -> Runs:
    """Link to the section of the declared question, in its own words."""
    return ("Asked as: ", Run(question, link=question_link(asked.answer_from)))
