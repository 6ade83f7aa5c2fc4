"""Where the numbers are, how they were computed, with what, and how to cite them."""

from __future__ import annotations

from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import Block, Paragraph, Run, Section
from quenchbook.report.made_with import versions_used
from quenchbook.report.measured_rates import measured_rates_words

_METHOD = (
    "Each term is tested against the mean square of the unit it was set for, on unit values with "
    "equal weights; where units are of unequal size a safety factor and error degrees of freedom "
    "after Box are used, in balanced parts the test is the classical F of the stratum. Variance "
    "components are estimated by REML, not below zero; the limits of their standard deviations "
    "are modified large-sample limits. No reading was removed by a rule."
)


def report_data(analysis: Analysis) -> list[Block]:
    """Data, licence, citation, method with its measured error rates, and versions.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Block
        Dates are those of the study; nothing is taken from the clock or the machine.
    """
    study, matrix = analysis.study, analysis.records.matrix
    dated = f", dated {study.date}" if study.date else ", date not told"
    seed = f"seed {matrix.seed}" if matrix.seed is not None else "no seed, order as published"
    made = ", ".join(f"{name} {value}" for name, value in matrix.versions.items())
    used = ", ".join(f"{name} {value}" for name, value in versions_used().items())
    return [
        Section("Data and method"),
        _line("Data", f"Study {study.key}{dated}; licence of data and text: {study.licence}."),
        _line("Cite as", cite_as(analysis)),
        _line("Plan", f"{matrix.plan_hash} (SHA-256), {seed}, made with {made}."),
        _line("Method", _METHOD),
        _line("Measured error rates", measured_rates_words(study.multiplicity)),
        _line("Analysed with", f"{used}."),
    ]


def cite_as(analysis: Analysis) -> str:
    """Citation of the study: author, date, title, plan, licence."""
    study, matrix = analysis.study, analysis.records.matrix
    author = study.author.rstrip(".") or "Author not told"
    dated = f" ({study.date})" if study.date else " (no date)"
    mark = " Invented data." if study.invented else ""
    return (
        f"{author}{dated}. {study.title.rstrip('.')}. Study {study.key}, plan "
        f"{matrix.short_hash}.{mark} Licence: {study.licence}."
    )


def _line(title: str, words: str) -> Paragraph:
    return Paragraph((Run(f"{title}.", strong=True), f" {words}"))
