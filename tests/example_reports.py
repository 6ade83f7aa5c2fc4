"""Report notebooks of the examples, executed once for a whole test run, workers included."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from pathlib import Path

import nbformat
from nbformat import NotebookNode

from quenchbook.report.edition import Edition, edition_of
from quenchbook.report.run import executed
from quenchbook.steps import copy_example
from quenchbook.study.definition import Study
from quenchbook.study.files import read_study
from quenchbook.study_folder import resource

EXAMPLES = ("plane_irons", "coated_bars")
LONGEST_WAIT = 300.0  # seconds; the demonstration runs in 10


@dataclass(frozen=True)
class ExampleReport:
    """An executed report notebook and its study."""

    study: Study
    notebook: NotebookNode

    def edition(self, name: str = "public", *, show_code: bool = False) -> Edition:
        return edition_of(self.notebook, self.study, name, self.study.folder, show_code=show_code)


def example_report(name: str, shared: Path) -> ExampleReport:
    """Report of an example; the worker that comes first executes it, the others wait for its file."""
    place = shared / f"report-{name}"
    path, failed = place / "executed.ipynb", place / "failed"
    try:
        place.mkdir()
    except FileExistsError:
        _wait(path, failed)
    else:
        _execute(name, place, path, failed)
    return ExampleReport(read_study(place / "study"), nbformat.read(path, as_version=4))


def _execute(name: str, place: Path, path: Path, failed: Path) -> None:
    try:
        study = copy_example(name, place / "study")
        notebook = resource("notebooks", "05_report.ipynb")
        done = executed(notebook, parameters={"study_folder": "."}, folder=study)
    except BaseException:
        failed.touch()
        raise
    part = path.with_suffix(".part")
    nbformat.write(done, part)
    os.replace(part, path)


def _wait(path: Path, failed: Path) -> None:
    until = time.monotonic() + LONGEST_WAIT
    while not path.exists():
        if failed.exists() or time.monotonic() > until:
            raise RuntimeError(f"{path} was not made by the test worker that began it.")
        time.sleep(0.1)
