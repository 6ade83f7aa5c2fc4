"""Where a study stands: which steps were done, what comes next, where its papers lie."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import QuenchbookError
from quenchbook.progress_steps import (
    NOTEBOOK_OF,
    ProgressStep,
    answers_step,
    bench_step,
    more_step,
    plan_step,
    records_step,
    report_step,
    told,
)
from quenchbook.shown import Shown, ShowsItself, finding_html, origin_html

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False, repr=False)
class StudyProgress(ShowsItself):
    """Where a study stands; says first what comes next.

    Attributes
    ----------
    folder : Path
    title, question : str
        Of the study; blank if ``study.toml`` cannot be read.
    comes_next : str
        What to do now, in one or two sentences.
    steps : tuple of ProgressStep
        In the order of the work.
    notes : tuple of str
        Mistakes and whatever else the next step needs to know.
    dangers : tuple of (str, str)
        Hazards of the study and the usual caution for each.
    """

    folder: Path
    title: str
    question: str
    comes_next: str
    steps: tuple[ProgressStep, ...]
    notes: tuple[str, ...] = ()
    dangers: tuple[tuple[str, str], ...] = ()

    def step(self, name: str) -> ProgressStep:
        """Return the step of this name."""
        return next(own for own in self.steps if own.name == name)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each step: ``step, notebook, state, words, papers``."""
        import pandas as pd

        rows = [
            (own.name, own.notebook, own.state_words, own.words, ", ".join(own.papers))
            for own in self.steps
        ]
        return pd.DataFrame(rows, columns=["step", "notebook", "state", "words", "papers"])

    def shown(self) -> Shown:
        """What comes next, then each step, then the study and the notes."""
        steps = self.to_frame()[["step", "state", "words"]].rename(columns={"words": "there is"})
        told = (f"{self.title}. {self.question}",) if self.title else ()
        return Shown(f"Next: {self.comes_next}", steps, (*told, *self.notes))

    def summary(self) -> str:
        """Say what comes next, then the study, each step and the notes.

        No word of it is shortened, as one of a table is: this is all that a terminal shows.
        """
        lines = [f"Next: {self.comes_next}"]
        if self.title:
            lines.append(f"{self.title}. {self.question}")
        lines += [f"  {own.name:<13}{own.state_words:<11}{own.words}" for own in self.steps]
        return "\n".join([*lines, *self.notes])

    def __repr__(self) -> str:
        return self.summary()

    def _repr_html_(self) -> str:
        """Page with links that work from the ``notebooks`` folder of the study."""
        from html import escape

        from quenchbook.study_progress_page import cautions_html, steps_html

        head = f"<p>{escape(self.title)}. <em>{escape(self.question)}</em></p>"
        notes = "".join(f"<li>{escape(note)}</li>" for note in self.notes)
        parts = [
            finding_html(f"Next: {self.comes_next}"),
            head if self.title else "",
            '<p>What is asked and varied stands in <a href="../study.toml">study.toml</a>.</p>',
            steps_html(self),
            f"<ul>{notes}</ul>" if notes else "",
            cautions_html(self.dangers),
            origin_html(self.made_by, self.cite()),
        ]
        return "".join(parts)


def study_progress(folder: str | Path) -> StudyProgress:
    """Where the study in a folder stands, and what comes next; writes nothing.

    Parameters
    ----------
    folder : str or Path
        Study folder. A study that cannot be read is no error here: its mistakes are told.

    Returns
    -------
    StudyProgress

    Examples
    --------
    >>> from quenchbook.study_folder import resource
    >>> own = study_progress(resource("data", "coated_bars"))
    >>> [step.state for step in own.steps[:3]]
    ['done', 'open', 'done']
    """
    from quenchbook.bench.safety import cautions
    from quenchbook.study.files import read_study
    from quenchbook.study.left_from_template import template_words

    folder = Path(folder)
    try:
        study = read_study(folder)
    except QuenchbookError as error:
        steps = tuple(
            ProgressStep(name, notebook, "open", "not known: study.toml cannot be read")
            for name, notebook in NOTEBOOK_OF.items()
        )
        return StudyProgress(
            folder, "", "", "put study.toml right; then look here again.", steps, told([error])
        )
    plan, matrix, notes = plan_step(folder, study)
    bench = bench_step(folder, matrix)
    records, read, mistakes = records_step(folder, matrix)
    answers = answers_step(folder, read)
    report = report_step(folder)
    more = more_step(matrix)
    steps = (plan, bench, records, answers, report, more)
    return StudyProgress(
        folder,
        study.title,
        study.question,
        _comes_next({own.name: own for own in steps}),
        steps,
        (*notes, *mistakes, *template_words(study)),
        tuple((own.hazard, " ".join(own.sentences)) for own in cautions(study)),
    )


def _comes_next(steps: dict[str, ProgressStep]) -> str:
    """What to do now, in one or two sentences."""
    plan, bench, records = steps["plan"], steps["bench"], steps["records"]
    if plan.state == "look again":
        return "the plan and study.toml do not fit each other; see below."
    if plan.state == "open":
        return (
            "say in study.toml what is asked and varied, then look at a draft of the plan in "
            "01_plan. Nothing is kept before you say so."
        )
    if records.state == "look again":
        return "put the mistakes in the records right; 03_records names each with its row."
    if records.state != "done" and bench.state != "done":
        return "write the booklet and the forms with 02_bench, and print them."
    if records.state == "open":
        return (
            "work at the furnace by the booklet, then type the readings into the form of "
            "03_records, or put the filled forms into records."
        )
    if records.state == "in part":
        return "the other readings. What is there can be checked in 03_records already."
    if steps["report"].state == "done":
        return "read the report; 06_next says what a question that is still open would need."
    if steps["report"].state == "look again":
        return "write the report again with 05_report: what it was made from has changed."
    return "look at the answers in 04_analysis, then write the report with 05_report."
