"""Steps of a study, each judged from the files that stand in its folder."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from quenchbook.errors import QuenchbookError, RecordError
from quenchbook.study_inputs import (
    ANSWERED_FROM,
    REPORTED_FROM,
    changed_inputs,
    changed_words,
    record_files,
    table_rows,
)

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study

State = Literal["done", "in part", "look again", "open"]

FINDINGS: Final = "findings.csv"
UNDECIDED: Final = "undecided"
_NOTHING_YET: Final = (
    "nothing is recorded yet: type into the form of 03_records, or fill the forms of the bench"
)
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


NOTEBOOK_OF: Final = {
    "plan": "01_plan",
    "bench": "02_bench",
    "records": "03_records",
    "answers": "04_analysis",
    "report": "05_report",
    "more coupons": "06_next",
}


def _step(name: str, state: State, words: str, papers: Iterable[str] = ()) -> ProgressStep:
    return ProgressStep(name, NOTEBOOK_OF[name], state, words, tuple(papers))


def told(errors: Sequence[QuenchbookError]) -> tuple[str, ...]:
    """Mistakes as sentences; of many the first ones and how many more there are."""
    lines = [str(problem) for error in errors for problem in error.problems]
    if len(lines) > _SHOWN:
        lines = [*lines[:_SHOWN], f"And {len(lines) - _SHOWN} more."]
    return tuple(lines)


def plan_step(
    folder: Path, study: Study
) -> tuple[ProgressStep, CouponMatrix | None, tuple[str, ...]]:
    """Whether there is a plan that can be read, the plan, and its mistakes or changes."""
    from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan

    if not (folder / "plan" / PLAN_FILE).exists():
        return _step("plan", "open", "no coupon has its treatment yet"), None, ()
    try:
        matrix = read_plan(folder / "plan", study)
    except QuenchbookError as error:
        return _step("plan", "look again", "the plan does not fit"), None, told([error])
    counts = matrix.unit_counts()
    coupons, loads = len(matrix.frame), counts["furnace_load"]
    words = (
        f"{coupons} {study.unit_word('coupon', coupons)} in {loads} "
        f"{study.unit_word('furnace_load', loads)}, plan {matrix.short_hash}"
    )
    return _step("plan", "done", words, [f"plan/{MATRIX_FILE}"]), matrix, tuple(matrix.changes)


def bench_step(folder: Path, matrix: CouponMatrix | None) -> ProgressStep:
    """Whether the booklet of every part of the plan is written."""
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
    forms = sum(len([*(folder / place / "forms").glob("*.csv")]) for place in places)
    return _step("bench", "done", f"booklet, and {forms} form{'' if forms == 1 else 's'}", papers)


def records_step(
    folder: Path, matrix: CouponMatrix | None
) -> tuple[ProgressStep, Records | None, tuple[str, ...]]:
    """Whether the readings are complete, the records, and their mistakes."""
    from quenchbook.study_folder import read_folder

    files = record_files(folder)
    count = f"{len(files)} file{'' if len(files) == 1 else 's'}"
    if not files:
        return _step("records", "open", _NOTHING_YET), None, ()
    if matrix is None:
        return _step("records", "look again", f"{count}, but no plan to read them by"), None, ()
    try:
        records = read_folder(folder)[2]
    except QuenchbookError as error:
        found = len(error.problems)
        words = f"{found} mistake{'' if found == 1 else 's'} in {count}"
        return _step("records", "look again", words), None, told([error])
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


def answers_step(folder: Path, records: Records | None) -> ProgressStep:
    """Whether the questions were answered, from what stands in the folder now."""
    path = folder / "reports" / FINDINGS
    if not path.exists() and not path.is_symlink():
        ready = "the records can be analysed" if records is not None else "they need records"
        return _step("answers", "open", ready)
    papers = [f"reports/{FINDINGS}"]
    try:
        verdicts = [row.get("verdict") or "" for row in table_rows(path, folder)]
        missing = path.with_name("unanswered.csv")
        without = len(table_rows(missing, folder)) if missing.exists() else 0
    except RecordError as error:
        words = f"{error.problems[0]}"
        return _step("answers", "look again", words)
    words = _answered_words(verdicts, without)
    if changed := changed_inputs(folder, ANSWERED_FROM, [path]):
        return _step("answers", "look again", f"{words}; {changed_words(changed)}", papers)
    return _step("answers", "done", words, papers)


def _answered_words(verdicts: Sequence[str], without: int) -> str:
    """How many questions have an answer and which; what is undecided has none."""
    from quenchbook.findings.verdicts import MEANINGS

    counts, count = Counter(verdicts), len(verdicts) + without
    kinds = [f"{counts[word]} {word}" for word in MEANINGS if counts[word] and word != UNDECIDED]
    found = sum(counts[word] for word in MEANINGS if word != UNDECIDED)
    words = f"{found} of {count} question{'' if count == 1 else 's'} answered"
    words = f"{words} ({', '.join(kinds)})" if kinds else words
    unknown = len(verdicts) - found - counts[UNDECIDED]
    for number, kind in (
        (counts[UNDECIDED], UNDECIDED),
        (without, "that cannot be answered"),
        (unknown, "without a verdict"),
    ):
        words = f"{words}, {number} {kind}" if number else words
    return words


def report_step(folder: Path) -> ProgressStep:
    """Whether a report was written, from what stands in the folder now."""
    place = folder / "reports"
    paths = sorted([*place.glob("*.html"), *place.glob("*.pdf")])
    papers = [f"reports/{path.name}" for path in paths]
    if not paths:
        return _step("report", "open", "not written")
    if changed := changed_inputs(folder, REPORTED_FROM, paths):
        return _step("report", "look again", changed_words(changed), papers)
    return _step("report", "done", f"{len(paths)} file{'' if len(paths) == 1 else 's'}", papers)


def more_step(matrix: CouponMatrix | None) -> ProgressStep:
    """Whether coupons were added to the plan."""
    if matrix is None or not matrix.continuations:
        return _step("more coupons", "open", "only if a question stays open")
    count = len(matrix.continuations)
    words = f"continued {'once' if count == 1 else f'{count} times'}"
    return _step("more coupons", "done", words)
