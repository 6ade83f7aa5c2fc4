"""The steps of a study on its folder: what the commands do, callable from Python.

A study folder holds ``study.toml``, and the steps add ``plan/``, ``bench/``, ``reports/``;
readings go into ``records/``, where files of yours are only ever read; the form for
entries writes files of its own there.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import PlanError, Problem, StudyError
from quenchbook.study_folder import plan_of, read_folder, resource
from quenchbook.writing import write_new_bytes, write_text

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.acceptance import RecordChanges
    from quenchbook.records.mistakes import Mistakes
    from quenchbook.records.reading import Records

Say = Callable[[str], None]

EXAMPLES = {
    "plane_irons": "invented demonstration",
    "coated_bars": "published experiment",
    "steel_bars": "published experiment",
    "springs": "published experiment without repeats",
    "leaf_springs": "published experiment, a fraction of all settings",
}
START_PAGE = "00_start"
"""Notebook that says where a study stands; opened first."""

NOTEBOOKS = (
    START_PAGE, "01_plan", "02_bench", "03_records", "04_analysis", "05_report", "06_next",
)  # fmt: skip


def new_study(folder: str | Path, *, text: str | None = None) -> list[Path]:
    """Start a study: ``study.toml`` with comments, notebooks, an empty ``records`` folder.

    Parameters
    ----------
    folder : str or Path
        New or empty folder.
    text : str, optional
        Text of the study file with the key ``my_study``; the template when left out.

    Returns
    -------
    list of Path

    Raises
    ------
    StudyError
        If the folder holds anything: nothing is overwritten.
    """
    folder = Path(folder)
    if folder.exists() and any(folder.iterdir()):
        raise StudyError(
            Problem(str(folder), "is not empty", "Name a new folder; nothing is overwritten.")
        )
    if text is None:
        text = (Path(__file__).parent / "study" / "template.toml").read_text(encoding="utf-8")
    (folder / "records").mkdir(parents=True)
    name = folder.resolve().name
    text = text.replace('key = "my_study"', f'key = "{_short_name(name)}"', 1)
    paths = [write_text(folder / "study.toml", text)]
    return [*paths, *write_missing_notebooks(folder)]


def missing_notebooks(folder: str | Path) -> list[str]:
    """Names of the notebooks that a study folder does not have, in order."""
    place = Path(folder) / "notebooks"
    return [name for name in NOTEBOOKS if not (place / f"{name}.ipynb").exists()]


def write_missing_notebooks(folder: str | Path) -> list[Path]:
    """Copy the notebooks that a study folder does not have; those that are there stay as they are.

    Parameters
    ----------
    folder : str or Path
        Study folder; ``notebooks`` in it is made if needed.

    Returns
    -------
    list of Path
        What was written; empty if nothing was missing.
    """
    place = Path(folder) / "notebooks"
    place.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in missing_notebooks(folder):
        notebook = json.loads(resource("notebooks", f"{name}.ipynb").read_text(encoding="utf-8"))
        for cell in notebook["cells"]:
            if "parameters" in cell["metadata"].get("tags", []):
                lines = [line for line in cell["source"] if not line.startswith("study_folder")]
                cell["source"] = ['study_folder = ".."' + ("\n" if lines else ""), *lines]
        text = json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"
        paths.append(write_new_bytes(place / f"{name}.ipynb", text.encode("utf-8")))
    return paths


def copy_example(name: str, folder: str | Path) -> Path:
    """Copy an example study with its plan and records; an earlier copy is used again.

    Parameters
    ----------
    name : str
        One of `EXAMPLES`.
    folder : str or Path
        Target folder.
    """
    source, folder = resource("data", name), Path(folder)
    study = folder / "study.toml"
    if study.exists():
        if study.read_bytes() != (source / "study.toml").read_bytes():
            raise StudyError(
                Problem(
                    str(study), "is another study", "Name another folder; nothing is overwritten."
                )
            )
        return folder
    if folder.exists() and any(folder.iterdir()):
        raise StudyError(
            Problem(str(folder), "is not empty", "Name a new folder; nothing is overwritten.")
        )
    shutil.copytree(
        source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__")
    )
    write_missing_notebooks(folder)
    return folder


def marked_study(folder: str | Path) -> tuple[Mistakes, list[Path]]:
    """Mistakes of the records of a study folder, and copies of the files with them marked."""
    from quenchbook.records.marked_copies import write_marked_copies
    from quenchbook.records.mistakes import Mistakes, record_mistakes
    from quenchbook.study_folder import evidence_problems

    matrix = plan_of(folder)
    mistakes = record_mistakes(Path(folder) / "records", matrix)
    paths = write_marked_copies(Path(folder) / "records", mistakes)
    return Mistakes((*mistakes.problems, *evidence_problems(folder, matrix.study))), paths


def accept_study(folder: str | Path, *, reason: str = "") -> RecordChanges:
    """Keep the records of a study folder for good, see `quenchbook.records.acceptance`."""
    from quenchbook.records.acceptance import accept_records

    return accept_records(Path(folder) / "records", plan_of(folder), reason=reason)


def changes_of_study(folder: str | Path) -> tuple[Records, RecordChanges | None]:
    """Records of a study folder, and what is new in them; None if nothing was ever accepted."""
    from quenchbook.records.acceptance import record_changes
    from quenchbook.records.kept_entries import FOLDER

    records, place = read_folder(folder)[2], Path(folder) / "records"
    return records, record_changes(place, records) if (place / FOLDER).exists() else None


def bench_study(folder: str | Path, *, say: Say | None = None) -> list[Path]:
    """Write the bench booklet, the bench page for a phone and blank entry forms.

    Parameters
    ----------
    folder : str or Path
    say : callable, optional
        Told of each form that already holds entries and was left alone.
    """
    from quenchbook.bench.forms import write_entry_forms
    from quenchbook.plan.files import read_plan
    from quenchbook.report.booklet_files import write_bench_documents
    from quenchbook.report.phone_page import PHONE_FILE, write_phone_page
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    paths = []
    for number in range(len(matrix.hashes)):
        place = Path(folder) / "bench"
        if number:
            place = place / f"continuation_{number}"
        part = matrix.part(number)
        sheets = [
            *write_bench_documents(part, place),
            write_phone_page(part, place / PHONE_FILE),
        ]
        forms = write_entry_forms(part, place / "forms")
        if say is not None:
            for note in forms.notes:
                say(note)
        paths += [*sheets, *forms]
    return paths


def analyse_study(folder: str | Path) -> tuple[Analysis, list[Path]]:
    """Analyse the records; write the tables of `analysis_tables` as CSV.

    ``columns.csv`` beside them says what each column means, ``answered_from.csv`` which files with
    which checksums were read.
    """
    import pandas as pd

    from quenchbook.columns import meaning
    from quenchbook.findings.answers import analyse
    from quenchbook.findings.result_tables import analysis_tables
    from quenchbook.study_inputs import ANSWERED_FROM, input_digests, write_input_list

    digests = input_digests(folder)
    analysis = analyse(read_folder(folder)[2])
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    tables = analysis_tables(analysis)
    used = dict.fromkeys(str(name) for frame in tables.values() for name in frame)
    rows = [(name, *meaning(name, analysis.study)) for name in used]
    tables["columns"] = pd.DataFrame(rows, columns=["column", "meaning", "unit"])
    paths = [
        write_text(place / f"{name}.csv", frame.to_csv(index=False, lineterminator="\n"))
        for name, frame in tables.items()
    ]
    return analysis, [*paths, write_input_list(place / ANSWERED_FROM, digests)]


def demo(folder: str | Path, say: Say, *, example: str = "plane_irons") -> list[Path]:
    """Do the whole job on an example study, from question to published report.

    Parameters
    ----------
    folder : str or Path
        Where the copy of the example goes.
    say : callable
        Told each step as it is done.
    example : str
        One of `EXAMPLES`.

    Returns
    -------
    list of Path
        What was written.
    """
    from quenchbook.planning_steps import plan_study
    from quenchbook.publishing_steps import report_study

    folder = copy_example(example, folder)
    matrix, paths = plan_study(folder)
    say(f"1 plan      {matrix.summary().splitlines()[0]}")
    if matrix.seed is not None:
        _check_seed(matrix)
        say(f"            made again from seed {matrix.seed}: the same plan")
    bench = bench_study(folder)
    say(f"2 bench     {len(bench)} files: booklet in furnace order, blank forms")
    records = read_folder(folder)[2]
    for number, line in enumerate(records.summary().splitlines()):
        say(f"{'3 records   ' if number == 0 else '            '}{line}")
    analysis, tables = analyse_study(folder)
    for number, own in enumerate(analysis.in_file_order()):
        if isinstance(own, tuple):  # a question, and why it has no answer
            line = f"{own[0].words} not answered"
        else:
            line = f"{own.question} {own.word}{', exploratory' if own.change else ''}"
        say(f"{'4 analysis  ' if number == 0 else '            '}{line}")
    say("5 report    running the notebook ...")
    reports = report_study(folder)
    return [*paths, *bench, *tables, *reports]


def _check_seed(matrix: CouponMatrix) -> None:
    from quenchbook.plan.randomization import coupon_matrix

    assert matrix.seed is not None
    again = coupon_matrix(matrix.study, seed=matrix.seed)
    if again.plan_hash != matrix.plan_hash:
        raise PlanError(
            f"The seed {matrix.seed} makes plan {again.short_hash} with this version, not "
            f"{matrix.short_hash}. "
            "The stored matrix stays the plan; the seed is only evidence."
        )


def _short_name(name: str) -> str:
    import re

    short = re.sub(r"[^a-z0-9_]+", "_", name.lower()).strip("_")
    return short if short and short[0].isalpha() else f"study_{short}"
