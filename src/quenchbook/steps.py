"""The steps of a study on its folder: what the commands do, callable from Python.

A study folder holds ``study.toml``, and the steps add ``plan/``, ``bench/``, ``reports/``;
readings go into ``records/`` and are only ever read.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import PlanError, Problem, QuenchbookError, StudyError

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.plan.randomization import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study

Say = Callable[[str], None]

EXAMPLES = {"plane_irons": "invented demonstration", "coated_bars": "published experiment"}
NOTEBOOKS = ("01_plan", "02_bench", "03_records", "04_analysis", "05_report")


def resource(*parts: str) -> Path:
    """Path of a file or folder that comes with quenchbook (``data``, ``notebooks``)."""
    package = Path(__file__).parent
    for root in (package, package.parent.parent):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise QuenchbookError(
        f"{'/'.join(parts)} is missing from this installation. Install quenchbook again."
    )


def new_study(folder: str | Path) -> list[Path]:
    """Start a study: ``study.toml`` with comments, notebooks, an empty ``records`` folder.

    Parameters
    ----------
    folder : str or Path
        New or empty folder.

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
    template = Path(__file__).parent / "study" / "template.toml"
    (folder / "records").mkdir(parents=True)
    name = folder.resolve().name
    text = template.read_text(encoding="utf-8").replace("my_study", _short_name(name))
    paths = [_write(folder / "study.toml", text)]
    return [*paths, *_copy_notebooks(folder)]


def copy_example(name: str, folder: str | Path) -> Path:
    """Copy an example study with its plan and records; an earlier copy is used again.

    Parameters
    ----------
    name : str
        ``plane_irons`` or ``coated_bars``.
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
    _copy_notebooks(folder)
    return folder


def plan_study(folder: str | Path, *, seed: int | None = None) -> tuple[CouponMatrix, list[Path]]:
    """Make the plan of a study, or read the one that was made.

    Parameters
    ----------
    folder : str or Path
    seed : int, optional
        Seed of the randomization; drawn when left out, and kept in the plan.
    """
    import secrets

    from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan, write_plan
    from quenchbook.plan.randomization import coupon_matrix
    from quenchbook.study.files import read_study

    study, place = read_study(folder), Path(folder) / "plan"
    if (place / PLAN_FILE).exists():
        matrix = read_plan(place, study)
        if seed is not None and seed != matrix.seed:
            raise PlanError(
                Problem(
                    str(place / PLAN_FILE),
                    f"holds a plan with seed {matrix.seed}, you asked for {seed}",
                    "Coupons may already carry its codes. Move the plan folder away to start anew.",
                )
            )
        return matrix, [place / MATRIX_FILE, place / PLAN_FILE]
    matrix = coupon_matrix(study, seed=secrets.randbelow(10**8) if seed is None else seed)
    return matrix, write_plan(matrix, place)


def read_folder(folder: str | Path) -> tuple[Study, CouponMatrix, Records]:
    """Read study, plan and records of a study folder."""
    from quenchbook.plan.files import read_plan
    from quenchbook.records.reading import read_records
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    return study, matrix, read_records(Path(folder) / "records", matrix)


def bench_study(folder: str | Path) -> list[Path]:
    """Write bench sheets and blank entry forms."""
    from quenchbook.bench.forms import write_entry_forms
    from quenchbook.plan.files import read_plan
    from quenchbook.report.bench_pages import write_bench_documents
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    place = Path(folder) / "bench"
    return [*write_bench_documents(matrix, place), *write_entry_forms(matrix, place / "forms")]


def analyse_study(folder: str | Path) -> tuple[Analysis, list[Path]]:
    """Analyse the records; write tests, findings and variance components as CSV."""
    import pandas as pd

    from quenchbook.findings.answers import analyse

    analysis = analyse(read_folder(folder)[2])
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    tests, components = [], []
    for name, model in analysis.models.items():
        tests.append(model.tests().assign(response=name))
        components.append(model.variance_components.assign(response=name))
    findings = [
        {
            key: getattr(own, key, None)
            for key in (
                "key", "question", "response", "verdict", "scale", "unit", "estimate", "std_error",
                "df", "df_error", "statistic", "conf_low", "conf_high", "inner_low", "inner_high",
                "margin", "p_value", "sentence",
            )
        }
        for own in analysis.findings
    ]  # fmt: skip
    tables = {
        "tests": pd.concat(tests),
        "variance_components": pd.concat(components),
        "findings": pd.DataFrame(findings),
    }
    return analysis, [
        _write(place / f"{name}.csv", frame.to_csv(index=False, lineterminator="\n"))
        for name, frame in tables.items()
    ]


def report_study(
    folder: str | Path, *, progress: Callable[[int, int], None] | None = None
) -> list[Path]:
    """Run the report notebook of a study and write it as HTML and PDF.

    Parameters
    ----------
    folder : str or Path
    progress : callable, optional
        Called with cells done and cells in all.
    """
    from quenchbook.report.exporters import write_html, write_pdf
    from quenchbook.report.run import executed

    study, _, _ = read_folder(folder)
    own = Path(folder) / "notebooks" / "05_report.ipynb"
    notebook_path = own if own.exists() else resource("notebooks", "05_report.ipynb")
    notebook = executed(
        notebook_path, parameters={"study_folder": "."}, folder=Path(folder), progress=progress
    )
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    html, pdf = place / f"{study.key}.html", place / f"{study.key}.pdf"
    details = {
        "title": study.question,
        "study": study.title,
        "author": study.author,
        "date": study.date,
    }
    for write, path in ((write_html, html), (write_pdf, pdf)):
        write(notebook, path, overwrite=True, details=details)
    return [html, pdf]


def demo(folder: str | Path, say: Say, *, example: str = "plane_irons") -> list[Path]:
    """Do the whole job on an example study, from question to published report.

    Parameters
    ----------
    folder : str or Path
        Where the copy of the example goes.
    say : callable
        Told each step as it is done.
    example : str
        ``plane_irons`` or ``coated_bars``.

    Returns
    -------
    list of Path
        What was written.
    """
    folder = copy_example(example, folder)
    matrix, paths = plan_study(folder)
    say(f"1 plan      {matrix.summary().splitlines()[0]}")
    if matrix.seed is not None:
        _check_seed(matrix)
        say(f"            made again from seed {matrix.seed}: the same plan")
    bench = bench_study(folder)
    say(f"2 bench     {len(bench)} documents: sheets in furnace order, blank forms")
    records = read_folder(folder)[2]
    for number, line in enumerate(records.summary().splitlines()):
        say(f"{'3 records   ' if number == 0 else '            '}{line}")
    analysis, tables = analyse_study(folder)
    for number, own in enumerate(analysis.findings):
        say(f"{'4 analysis  ' if number == 0 else '            '}{own.question} {own.verdict}")
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


def _copy_notebooks(folder: Path) -> list[Path]:
    place = folder / "notebooks"
    place.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in NOTEBOOKS:
        notebook = json.loads(resource("notebooks", f"{name}.ipynb").read_text(encoding="utf-8"))
        for cell in notebook["cells"]:
            if "parameters" in cell["metadata"].get("tags", []):
                cell["source"] = ['study_folder = ".."']
        text = json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"
        paths.append(_write(place / f"{name}.ipynb", text))
    return paths


def _short_name(name: str) -> str:
    import re

    short = re.sub(r"[^a-z0-9_]+", "_", name.lower()).strip("_")
    return short if short and short[0].isalpha() else f"study_{short}"


def _write(path: Path, text: str) -> Path:
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8", newline="\n")
    os.replace(part, path)
    return path
