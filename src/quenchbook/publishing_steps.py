"""The step of publishing on a study folder: one run of the report notebook, many files."""

from __future__ import annotations

import importlib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from quenchbook.errors import ReportError, TypesettingError
from quenchbook.study_folder import read_folder, resource

EDITIONS: Final = ("public", "supporters")

WRITERS: Final[Mapping[str, str]] = {
    "html": "quenchbook.report.exporters:write_html_edition",
    "pdf": "quenchbook.report.exporters:write_pdf_edition",
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
        Called with cells done and cells in all.

    Returns
    -------
    list of Path

    Raises
    ------
    ReportError
        If an edition or output is not known, or the notebook fails.
    TypesettingError
        If this machine can make no PDF; all else that was asked for is written, and the HTML.
    """
    from quenchbook.report.edition import edition_of
    from quenchbook.report.run import executed

    _known(editions, EDITIONS, "edition")
    _known(to, WRITERS, "output")
    study, _, _ = read_folder(folder)
    own = Path(folder) / "notebooks" / "05_report.ipynb"
    notebook_path = own if own.exists() else resource("notebooks", "05_report.ipynb")
    notebook = executed(
        notebook_path, parameters={"study_folder": "."}, folder=Path(folder), progress=progress
    )
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    paths: list[Path] = []
    unset: list[str] = []
    for name in dict.fromkeys(editions):
        edition = edition_of(notebook, study, name, place, show_code=show_code, appendix=appendix)
        for target in dict.fromkeys(to):
            try:
                paths += _writer(target)(edition)
            except TypesettingError as error:
                unset.append(str(error))
    if unset:
        raise TypesettingError("\n".join(unset))
    return paths


def _writer(target: str) -> Callable[..., list[Path]]:
    module, _, name = WRITERS[target].partition(":")
    writer: Callable[..., list[Path]] = getattr(importlib.import_module(module), name)
    return writer


def _known(given: Sequence[str], known: Sequence[str] | Mapping[str, Any], what: str) -> None:
    for name in given:
        if name not in known:
            raise ReportError(f"{what.capitalize()} '{name}' is not known: {', '.join(known)}.")
    if not given:
        raise ReportError(f"No {what} was named: {', '.join(known)}.")
