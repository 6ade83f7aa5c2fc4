"""Where a study stands: which steps were done, what comes next, where its papers lie."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from quenchbook.errors import QuenchbookError
from quenchbook.shown import Shown, ShowsItself, finding_html, origin_html

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study

State = Literal["done", "in part", "look again", "open"]

RECORD_FILES: Final = (".csv", ".tsv", ".txt", ".xlsx", ".ods")
_SHOWN: Final = 5  # mistakes that are named before they are only counted


@dataclass(frozen=True)
class ProgressStep:
    """One step of a study.

    Attributes
    ----------
    name : str
        ``plan``, ``bench``, ``records``, ``answers``, ``report`` or ``more coupons``.
    notebook : str
        Notebook of the step, without its ending.
    state : {"done", "in part", "look again", "open"}
    words : str
        What there is.
    papers : tuple of str
        Files of the step, relative to the study folder.
    """

    name: str
    notebook: str
    state: State
    words: str
    papers: tuple[str, ...] = ()

    @property
    def state_words(self) -> str:
        """How the state is said."""
        return "not yet" if self.state == "open" else self.state


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
            for name, notebook in _NOTEBOOKS.items()
        )
        return StudyProgress(
            folder, "", "", "put study.toml right; then look here again.", steps, _told([error])
        )
    plan, matrix, notes = _plan_step(folder, study)
    bench = _bench_step(folder, matrix)
    records, read, mistakes = _records_step(folder, matrix)
    newest = max((path.stat().st_mtime for path in _record_files(folder)), default=0.0)
    answers = _answers_step(folder, read, newest)
    report = _report_step(folder, newest)
    more = _more_step(matrix)
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


_NOTEBOOKS: Final = {
    "plan": "01_plan",
    "bench": "02_bench",
    "records": "03_records",
    "answers": "04_analysis",
    "report": "05_report",
    "more coupons": "06_next",
}


def _step(name: str, state: State, words: str, papers: Iterable[str] = ()) -> ProgressStep:
    return ProgressStep(name, _NOTEBOOKS[name], state, words, tuple(papers))


def _told(errors: Sequence[QuenchbookError]) -> tuple[str, ...]:
    """Mistakes as sentences; of many the first ones and how many more there are."""
    lines = [str(problem) for error in errors for problem in error.problems]
    if len(lines) > _SHOWN:
        lines = [*lines[:_SHOWN], f"And {len(lines) - _SHOWN} more."]
    return tuple(lines)


def _plan_step(
    folder: Path, study: Study
) -> tuple[ProgressStep, CouponMatrix | None, tuple[str, ...]]:
    from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan

    if not (folder / "plan" / PLAN_FILE).exists():
        return _step("plan", "open", "no coupon has its treatment yet"), None, ()
    try:
        matrix = read_plan(folder / "plan", study)
    except QuenchbookError as error:
        return _step("plan", "look again", "the plan does not fit"), None, _told([error])
    counts = matrix.unit_counts()
    coupons, loads = len(matrix.frame), counts["furnace_load"]
    words = (
        f"{coupons} {study.unit_word('coupon', coupons)} in {loads} "
        f"{study.unit_word('furnace_load', loads)}, plan {matrix.short_hash}"
    )
    return _step("plan", "done", words, [f"plan/{MATRIX_FILE}"]), matrix, tuple(matrix.changes)


def _bench_step(folder: Path, matrix: CouponMatrix | None) -> ProgressStep:
    names = ("booklet.pdf", "booklet.html", "phone.html")
    parts = len(matrix.hashes) if matrix is not None else 1
    places = ["bench", *(f"bench/continuation_{number}" for number in range(1, parts))]
    found = {
        place: [f"{place}/{name}" for name in names if (folder / place / name).exists()]
        for place in places
    }
    papers = [path for own in found.values() for path in own]
    missing = [place for place in places if not found[place]]
    if not papers:
        return _step("bench", "open", "no booklet and no forms here")
    if missing:
        return _step("bench", "in part", "the booklet of the new coupons is not written", papers)
    forms = len([*(folder / "bench").glob("**/forms/*.csv")])
    return _step("bench", "done", f"booklet, and {forms} form{'' if forms == 1 else 's'}", papers)


def _record_files(folder: Path) -> list[Path]:
    place = folder / "records"
    return [
        path
        for path in (sorted(place.iterdir()) if place.is_dir() else [])
        if path.suffix.lower() in RECORD_FILES and path.is_file()
    ]


def _records_step(
    folder: Path, matrix: CouponMatrix | None
) -> tuple[ProgressStep, Records | None, tuple[str, ...]]:
    from quenchbook.study_folder import read_folder

    files = _record_files(folder)
    count = f"{len(files)} file{'' if len(files) == 1 else 's'}"
    if not files:
        return _step("records", "open", "no readings yet"), None, ()
    if matrix is None:
        return _step("records", "look again", f"{count}, but no plan to read them by"), None, ()
    try:
        records = read_folder(folder)[2]
    except QuenchbookError as error:
        found = len(error.problems)
        words = f"{found} mistake{'' if found == 1 else 's'} in {count}"
        return _step("records", "look again", words), None, _told([error])
    complete, words = _coverage(records)
    state: State = "done" if complete else "in part" if len(records.readings) else "open"
    return _step("records", state, f"{words}; no mistake found"), records, ()


def _coverage(records: Records) -> tuple[bool, str]:
    """Whether every planned coupon is accounted for, and of how many each response is there."""
    frame, parts, complete = records.matrix.frame, [], True
    lost = set(records.lost["coupon"])
    for response in records.study.responses:
        planned = set(frame.loc[frame[f"{response.name}_order"].notna(), "coupon"])
        own = records.readings["response"] == response.name
        read = set(records.readings.loc[own, "coupon"])
        gaps = records.missing["response"] == response.name
        told = lost | set(records.missing.loc[gaps, "coupon"])
        complete = complete and planned <= read | told
        gone = len(planned & told - read)
        parts.append(
            f"{response.quantity} of {len(planned & read)} of {len(planned)}"
            f"{f' ({gone} lost or blank)' if gone else ''}"
        )
    return complete, f"{', '.join(parts)} {records.study.unit_word('coupon', 2)}"


def _answers_step(folder: Path, records: Records | None, newest: float) -> ProgressStep:
    path = folder / "reports" / "findings.csv"
    if not path.exists():
        ready = "the records can be analysed" if records is not None else "they need records"
        return _step("answers", "open", ready)
    with path.open(encoding="utf-8", newline="") as file:
        verdicts = Counter(row.get("verdict") or "" for row in csv.DictReader(file))
    count = sum(verdicts.values())
    kinds = ", ".join(f"{number} {word}" for word, number in sorted(verdicts.items()) if word)
    words = f"{count} question{'' if count == 1 else 's'} answered{f': {kinds}' if kinds else ''}"
    if path.stat().st_mtime < newest:
        words = f"{words}; the records were changed afterwards"
        return _step("answers", "look again", words, ["reports/findings.csv"])
    return _step("answers", "done", words, ["reports/findings.csv"])


def _report_step(folder: Path, newest: float) -> ProgressStep:
    place = folder / "reports"
    paths = sorted([*place.glob("*.html"), *place.glob("*.pdf")])
    papers = [f"reports/{path.name}" for path in paths]
    if not paths:
        return _step("report", "open", "not written")
    if max(path.stat().st_mtime for path in paths) < newest:
        return _step("report", "look again", "the records were changed afterwards", papers)
    return _step("report", "done", f"{len(paths)} file{'' if len(paths) == 1 else 's'}", papers)


def _more_step(matrix: CouponMatrix | None) -> ProgressStep:
    if matrix is None or not matrix.continuations:
        return _step("more coupons", "open", "only if a question stays open")
    count = len(matrix.continuations)
    words = f"continued {'once' if count == 1 else f'{count} times'}"
    return _step("more coupons", "done", words)


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
        return "work at the furnace by the booklet, then put the filled forms into records."
    if records.state == "in part":
        return "the other readings. What is there can be checked in 03_records already."
    if steps["report"].state == "done":
        return "read the report; 06_next says what a question that is still open would need."
    if steps["report"].state == "look again":
        return "write the report again with 05_report: the records were changed."
    return "look at the answers in 04_analysis, then write the report with 05_report."
