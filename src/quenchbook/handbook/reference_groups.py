"""Steps of the work by which the reference is ordered: each module belongs to one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Group:
    """A page of the reference.

    Attributes
    ----------
    file : str
        Stem of its file.
    title, words : str
        Head and first sentence.
    modules : tuple of str
        Modules below ``quenchbook`` whose public names it holds; the longest that fits counts.
    """

    file: str
    title: str
    words: str
    modules: tuple[str, ...]


GROUPS: Final = (
    Group(
        "reference_study", "Study",
        "The question, the factors and what they are nested in, the margins.",
        ("study",),
    ),
    Group(
        "reference_plan", "Plan",
        "Which coupon gets which treatment in which furnace load, drawn by lot.",
        ("plan",),
    ),
    Group(
        "reference_outlook", "What a plan can tell",
        "How wide intervals will be, what is found how often, what it costs.",
        ("outlook", "repeated_work", "repeated_results"),
    ),
    Group(
        "reference_bench", "Bench",
        "Papers for the furnace and the tester, and the cautions.",
        ("bench", "report.booklet_files"),
    ),
    Group(
        "reference_records", "Records",
        "What was read and what went differently; every mistake with its place.",
        ("records", "columns"),
    ),
    Group(
        "reference_analysis", "Analysis",
        "Models with the strata that the randomization gives, means, contrasts, noise.",
        ("fit",),
    ),
    Group(
        "reference_curves", "Curves and the trade's questions",
        "Peaks, windows, tempers, waiting, toughness at one hardness.",
        (
            "fit.curves", "fit.peaks", "fit.peak_height", "fit.peak_shift", "fit.working_window",
            "fit.target_window", "fit.delay", "fit.half_loss", "fit.tempering",
            "fit.tempered_steel", "fit.austenite_loss", "fit.nonlinear", "fit.equal_hardness",
            "fit.hardness_effects",
        ),
    ),
    Group(
        "reference_steel", "Published equations of steel",
        "Martensite, austenite, tempering: each with its source and its range.",
        ("metallurgy",),
    ),
    Group(
        "reference_findings", "Findings",
        "From an estimate and a margin to one of five verdicts, and its sentence.",
        ("findings",),
    ),
    Group(
        "reference_evidence", "What others and earlier studies found",
        "Published comparisons, own studies, heat lots.",
        (
            "records.reading_evidence", "records.published_comparisons", "fit.evidence",
            "findings.evidence_answers", "plots.evidence", "report.evidence_blocks", "fit.lots",
            "own_studies",
        ),
    ),
    Group(
        "reference_figures", "Figures",
        "Each draws a finished result; none computes.",
        ("plots",),
    ),
    Group(
        "reference_report", "Report",
        "Blocks of a report, to be shown in a notebook or written.",
        ("report", "references", "shown"),
    ),
    Group(
        "reference_steps", "Whole steps on a study folder",
        "What the commands do, from Python.",
        (
            "steps", "planning_steps", "publishing_steps", "archive_steps", "study_folder",
            "study_standing",
        ),
    ),
    Group(
        "reference_forms", "Forms in a notebook",
        "Say what a study asks and enter its readings, with fields or in plain code.",
        ("forms",),
    ),
    Group(
        "reference_more", "Further names",
        "Names that belong to no single step.",
        ("",),
    ),
)  # fmt: skip


def group_of(module: str) -> Group:
    """Group of a module below ``quenchbook``.

    >>> group_of("fit.peaks").title, group_of("fit.means").title
    ("Curves and the trade's questions", 'Analysis')
    """
    fits = [
        (len(own), number)
        for number, group in enumerate(GROUPS)
        for own in group.modules
        if not own or module == own or module.startswith(f"{own}.")
    ]
    return GROUPS[max(fits)[1]]
