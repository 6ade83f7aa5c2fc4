"""What others found, as a section of a report: present where the study has a table of it."""

from __future__ import annotations

from quenchbook.both_units import PrintedUnits
from quenchbook.findings.answers import Analysis
from quenchbook.findings.evidence_answers import evidence_answers
from quenchbook.records.published_comparisons import EvidenceTable, PublishedComparison
from quenchbook.report.blocks import Block, Bullets, Paragraph, Run, Runs, Section, from_drawing
from quenchbook.study.definition import held_value
from quenchbook.units import capital


def report_evidence(analysis: Analysis, evidence: EvidenceTable | None = None) -> list[Block]:
    """Published comparisons, kind by kind, with the own study beside them.

    Parameters
    ----------
    analysis : Analysis
        Of the own study.
    evidence : EvidenceTable, optional
        From `read_evidence`; the table beside the study file when left out.

    Returns
    -------
    list of Block
        Empty where there is no table, so that a report without one has no such section.
    """
    from quenchbook.plots.evidence import figure_evidence
    from quenchbook.records.reading_evidence import read_evidence

    if evidence is None:
        evidence = read_evidence(analysis.study.folder, analysis.study)
    if not len(evidence):
        return []
    blocks: list[Block] = [Section("What others found")]
    answers = evidence_answers(evidence, analysis)
    for answer, rows in zip(answers, evidence.comparisons(), strict=True):
        if len(answers) > 1:
            blocks.append(Section(capital(answer.title), level=3))
        blocks.append(from_drawing(figure_evidence(answer)))
        for own in answer.findings:
            runs = (Run(own.word, emphasis=True), f". {' '.join((own.sentence, *own.notes))}")
            blocks.append(Paragraph(runs))
        units = analysis.study.publishing.units
        blocks.append(Bullets(tuple(_source(row, units) for row in rows)))
    return blocks


def _source(own: PublishedComparison, units: PrintedUnits) -> Runs:
    """Where a row is from, and what it was about."""
    conditions = held_value(own.conditions, units) if units == "both" else own.conditions
    loads = f"{own.furnace_loads} furnace loads" if own.furnace_loads > 1 else "one furnace load"
    about = [own.steel, conditions, loads if own.furnace_loads else "furnace loads not told"]
    source = ", ".join(filter(None, (own.source, own.found_at)))
    how = f" ({own.obtained})" if own.obtained else ""
    note = f" {capital(own.note)}." if own.note else ""
    return (
        Run(own.study, strong=True),
        f": {own.kind}; {', '.join(filter(None, about))}. Source: {source}{how}.{note}",
    )
