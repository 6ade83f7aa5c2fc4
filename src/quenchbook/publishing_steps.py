"""The step of publishing on a study folder: one run of the report notebook, many files."""

from __future__ import annotations

import importlib
import warnings
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from quenchbook.errors import QuenchbookWarning, ReportError, TypesettingError, with_suggestion
from quenchbook.study.left_from_template import template_words
from quenchbook.study_folder import read_folder, resource
from quenchbook.study_inputs import REPORTED_FROM, input_digests, write_input_list

EDITIONS: Final = ("public", "supporters")

WRITERS: Final[Mapping[str, str]] = {
    "html": "quenchbook.report.exporters:write_html_edition",
    "pdf": "quenchbook.report.exporters:write_pdf_edition",
    "summary": "quenchbook.report.summary_page:write_summary_edition",
    "fragment": "quenchbook.report.fragment:write_fragment_edition",
    "figures": "quenchbook.report.figure_files:write_figures_edition",
    "archive": "quenchbook.archive_steps:write_archive_edition",
}
"""What a report can be written as: module and function, ``(Edition) -> list of Path``."""

USUAL: Final = ("html", "pdf")


def report_study(
    folder: str | Path,
    *,
    editions: Sequence[str] = ("public",),
    to: Sequence[str] = USUAL,
    show_code: bool = False,
    appendix: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Run the report notebook of a study once and write all that is asked for.

    ``reported_from.csv`` beside page and PDF says which files with which checksums were read.

    Parameters
    ----------
    folder : str or Path
    editions : sequence of str
        Of `EDITIONS`.
    to : sequence of str
        Of `WRITERS`.
    show_code, appendix : bool
        Whether code, and the cells tagged ``appendix``, are shown.
    progress : callable, optional
        Called with steps done and steps in all: a step is a cell of the notebook, then an output
        of an edition.

    Returns
    -------
    list of Path

    Warns
    -----
    QuenchbookWarning
        For each number of the author's prose that no result contains, and for words of the
        template that still stand in the study file.

    Raises
    ------
    ReportError
        If an edition or output is not known, or the notebook fails.
    TypesettingError
        If this machine can make no PDF; all else that was asked for is written, and the HTML.
    """
    from quenchbook.report.edition import edition_of
    from quenchbook.report.photos import photo_figures
    from quenchbook.report.run import executed

    _known(editions, EDITIONS, "edition")
    _known(to, WRITERS, "output")
    if "archive" in to and "public" not in editions:
        raise ReportError(
            "Data are the same for all: the archive comes with the public edition. Ask for that "
            "edition too, or leave the archive out."
        )
    editions, to = list(dict.fromkeys(editions)), list(dict.fromkeys(to))
    digests = input_digests(folder)
    study, _, _ = read_folder(folder)
    own = Path(folder) / "notebooks" / "05_report.ipynb"
    notebook_path = own if own.exists() else resource("notebooks", "05_report.ipynb")
    for_supporters = "supporters" in editions
    if for_supporters:  # what is wrong with a photograph is told before minutes of work
        photo_figures(study.publishing.photos, study.folder)
    steps = _Steps(progress, outputs=len(editions) * len(to))
    notebook = executed(
        notebook_path,
        parameters={"study_folder": "."},
        folder=Path(folder),
        progress=steps.cells,
        without=() if for_supporters else ("supporters",),
    )
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    paths: list[Path] = []
    for line in template_words(study):
        warnings.warn(line, QuenchbookWarning, stacklevel=2)
    _warn_of_numbers(notebook, editions, appendix)
    unset: list[str] = []
    for name in editions:
        edition = edition_of(notebook, study, name, place, show_code=show_code, appendix=appendix)
        for target in to:
            try:
                paths += _writer(target)(edition)
            except TypesettingError as error:
                unset.append(str(error))
            steps.output()
    if set(to) & set(USUAL):
        write_input_list(place / REPORTED_FROM, digests)
    if unset:
        raise TypesettingError("\n".join(unset))
    return list(dict.fromkeys(paths))  # some files serve both editions


class _Steps:
    """Counts cells and outputs together for one display of progress."""

    def __init__(self, progress: Callable[[int, int], None] | None, *, outputs: int) -> None:
        self.progress = progress
        self.outputs = outputs
        self.done = self.of_notebook = 0

    def cells(self, done: int, total: int) -> None:
        self.of_notebook = total
        self._show(done)

    def output(self) -> None:
        self._show(max(self.done, self.of_notebook) + 1)

    def _show(self, done: int) -> None:
        self.done = done
        if self.progress is not None:
            self.progress(done, self.of_notebook + self.outputs)


def _warn_of_numbers(notebook: Any, editions: Sequence[str], appendix: bool) -> None:
    """List for the author, each number once."""
    from quenchbook.report.prose_numbers import unfound_numbers

    found = [one for name in editions for one in unfound_numbers(notebook, name, appendix=appendix)]
    for one in dict.fromkeys(found):
        warnings.warn(str(one), QuenchbookWarning, stacklevel=3)


def _writer(target: str) -> Callable[..., list[Path]]:
    module, _, name = WRITERS[target].partition(":")
    writer: Callable[..., list[Path]] = getattr(importlib.import_module(module), name)
    return writer


def _known(given: Sequence[str], known: Sequence[str] | Mapping[str, Any], what: str) -> None:
    for name in given:
        if name not in known:
            words = f"{what.capitalize()} '{name}' is not known: {', '.join(known)}."
            raise ReportError(with_suggestion(words, name, known))
    if not given:
        raise ReportError(f"No {what} was named: {', '.join(known)}.")
