"""The steps of open data: write the archive of a study, and check an archive of anybody's.

Checking executes nothing from the archive: its notebook is not run, its tables are read as text,
and the analysis is that of the installed quenchbook.
"""

from __future__ import annotations

import hashlib
import tempfile
import warnings
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import (
    ArchiveError,
    Problem,
    QuenchbookError,
    QuenchbookWarning,
    ReportError,
)
from quenchbook.report.verification import Verification
from quenchbook.study_folder import read_folder, resource
from quenchbook.writing import write_bytes

if TYPE_CHECKING:
    from quenchbook.records.reading import Records
    from quenchbook.report.archive_comparison import Compared
    from quenchbook.report.edition import Edition

_UNREADABLE: Final = (
    QuenchbookError, ArithmeticError, AttributeError, LookupError, MemoryError, OSError,
    RecursionError, TypeError, ValueError,
)  # fmt: skip
"""What a study of a stranger may raise: whatever it is, it is a difference and no traceback."""

MOST_COUPONS: Final = 2_000  # one response of so many is analysed in some 20 s
MOST_READINGS: Final = 50_000
MOST_RESPONSES: Final = 20
MOST_QUESTIONS: Final = 200
"""Of a stranger's study that is analysed: far more than a small workshop measures."""


def write_archive(folder: str | Path, path: str | Path | None = None) -> Path:
    """Write the open data of a study as one zip archive.

    Parameters
    ----------
    folder : str or Path
        Study folder.
    path : str or Path, optional
        File to write; ``reports/KEY_data.zip`` in the study folder if it is left out.

    Returns
    -------
    Path

    Warns
    -----
    QuenchbookWarning
        If records are workbooks: they go along byte for byte, with all that they hold.

    Raises
    ------
    ReportError
        If the path is no zip file, or a file stands there that is no archive of open data.
    """
    from quenchbook.findings.answers import analyse
    from quenchbook.report.archive import archive_files, workbooks_of, zip_bytes

    folder = Path(folder)
    study, _, records = read_folder(folder)
    own = folder / "notebooks" / "05_report.ipynb"
    notebook = own if own.exists() else resource("notebooks", "05_report.ipynb")
    path = Path(path) if path else folder / "reports" / f"{study.key}_data.zip"
    _check_target(path)
    files = archive_files(analyse(records), notebook.read_text(encoding="utf-8"))
    if books := workbooks_of(name.removeprefix("study/") for name in files):
        warnings.warn(
            f"{', '.join(books)}: a workbook goes into the archive byte for byte, with names of "
            "authors, comments and hidden sheets. Save it as CSV if it holds what is not public.",
            QuenchbookWarning,
            stacklevel=2,
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        return write_bytes(path, zip_bytes(files, study.date))
    except OSError as error:
        raise ReportError(
            Problem(str(path), f"cannot be written ({error.strerror})", "Name another place.")
        ) from None


def _check_target(path: Path) -> None:
    from quenchbook.report.archive import is_archive

    if path.suffix.lower() != ".zip":
        raise ReportError(
            Problem(str(path), "is no name of a zip archive", "Name a file such as STUDY_data.zip.")
        )
    if path.is_symlink() or (path.exists() and not is_archive(path)):
        raise ReportError(
            Problem(
                str(path),
                "is there already and is no archive of open data",
                "Move it away or name another file.",
            )
        )


def write_archive_edition(edition: Edition) -> list[Path]:
    """Write the archive beside the public edition; data are the same for all, so only there."""
    if edition.name != "public":
        return []
    return [write_archive(edition.study.folder, edition.path("_data.zip"))]


def verify_archive(path: str | Path) -> Verification:
    """Recompute an archive of open data from its own study, plan and records, and compare.

    Parameters
    ----------
    path : str or Path
        An archive. If its report ``KEY.html`` lies beside it, the answers are looked for there.

    Returns
    -------
    Verification

    Raises
    ------
    ArchiveError
        If the archive is unsafe, damaged or none of ours; nothing is recomputed then.
    """
    from quenchbook.report.archive import CHECKSUMS, STUDY_FOLDER
    from quenchbook.report.archive_comparison import checksum_differences
    from quenchbook.report.unpacking import unpacked

    path = Path(path)
    with tempfile.TemporaryDirectory(prefix="quenchbook_") as place:
        folder = Path(place)
        files = unpacked(path, folder)
        for needed in (CHECKSUMS, f"{STUDY_FOLDER}/study.toml"):
            if needed not in files:
                remedy = "Name an archive that quenchbook report --to archive wrote."
                raise ArchiveError(Problem(path.name, f"holds no {needed}", remedy))
        differences = checksum_differences(folder, files)
        other = _other_versions(folder)
        found, study, plan, page, recomputed = _recomputed(folder, files, path.parent)
    differences += [own for part in found for own in part.differences]
    return Verification(
        archive=path.name,
        sha256=hashlib.sha256(path.read_bytes()).hexdigest(),
        study=study,
        plan=plan,
        files=len(files) - 1,
        tables=sum(name.startswith("data/") for name in files) if plan else 0,
        numbers=sum(part.numbers for part in found),
        same=sum(part.same for part in found),
        texts=sum(part.texts for part in found),
        sentences=sum(part.sentences for part in found),
        printed=sum(part.printed for part in found),
        page=page,
        differences=tuple(differences),
        other_versions=other,
        not_compared=tuple(sorted(set(files) - set(recomputed))),
    )


def _recomputed(
    folder: Path, files: list[str], beside: Path
) -> tuple[list[Compared], str, str, str, list[str]]:
    """What was compared, key of the study, hash of the plan, name of the page; and the files.

    The files are those that were compared, and study, plan and records that all came from.
    """
    from quenchbook.findings.answers import analyse
    from quenchbook.records.kept_entries import kept_entries
    from quenchbook.report.archive import CHECKSUMS, STUDY_FOLDER, given_files
    from quenchbook.report.archive_comparison import (
        Compared,
        Difference,
        compared_page,
        compared_tables,
    )
    from quenchbook.report.archive_paper_comparison import compared_papers
    from quenchbook.report.data_tables import data_tables

    try:
        study, matrix, records = read_folder(folder / STUDY_FOLDER)
        _check_size(records)
        kept_entries(folder / STUDY_FOLDER / "records")
        analysis = analyse(records)
        tables = data_tables(analysis)
    except _UNREADABLE as error:
        problems = error.problems if isinstance(error, QuenchbookError) else (repr(error),)
        wrong = tuple(
            Difference(STUDY_FOLDER, "", "", str(problem).replace(f"{folder}/", ""), "")
            for problem in problems
        )
        return [Compared(differences=wrong)], "", "", "", []
    found = compared_tables(folder, files, tables)
    page = beside / f"{study.key}.html"
    if page.is_file():
        found.append(compared_page(page, analysis))
    given = given_files(folder / STUDY_FOLDER)
    known = [CHECKSUMS, f"{STUDY_FOLDER}/study.toml", *(f"{STUDY_FOLDER}/{path}" for path in given)]
    known += [name for name in files if name.startswith(("data/", "exact/"))]
    if _same_version(folder):
        compared, papers = compared_papers(folder, files, analysis, tables)
        found.append(compared)
        known += [*papers, *_as_installed(folder)]
    return found, study.key, matrix.plan_hash, page.name if page.is_file() else "", known


def _check_size(records: Records) -> None:
    """Too large a study is not analysed: its time and memory would be a stranger's choice."""
    study = records.study
    for count, most, what in (
        (len(records.matrix.frame), MOST_COUPONS, "coupons"),
        (len(records.readings), MOST_READINGS, "readings"),
        (len(study.responses), MOST_RESPONSES, "responses"),
        (len(study.question_keys), MOST_QUESTIONS, "questions"),
    ):
        if count > most:
            raise ArchiveError(f"it has {count} {what}; an archive is recomputed up to {most}")


def _as_installed(folder: Path) -> list[str]:
    """Files that are what this installation would write: its own report notebook, its versions."""
    from quenchbook.report.archive import ENVIRONMENT, NOTEBOOK
    from quenchbook.report.archive_papers import environment
    from quenchbook.report.public_copies import public_notebook

    own = resource("notebooks", "05_report.ipynb").read_text(encoding="utf-8")
    here = {NOTEBOOK: public_notebook(own), ENVIRONMENT: environment()}
    return [
        path
        for path, text in here.items()
        if (folder / path).is_file() and (folder / path).read_bytes() == text.encode("utf-8")
    ]


def _same_version(folder: Path) -> bool:
    """Whether an archive tells that it was made with the version of quenchbook that runs here."""
    from quenchbook import __version__
    from quenchbook.report.archive import ENVIRONMENT
    from quenchbook.report.archive_papers import versions_in

    path = folder / ENVIRONMENT
    text = path.read_text(encoding="utf-8", errors="replace") if path.is_file() else ""
    return versions_in(text).get("quenchbook") == __version__


def _other_versions(folder: Path) -> tuple[str, ...]:
    """Programs of another version than those that made the archive."""
    import platform

    from quenchbook.report.archive import ENVIRONMENT
    from quenchbook.report.archive_papers import versions, versions_in

    path = folder / ENVIRONMENT
    if not path.is_file():
        return ("The archive does not tell which versions made it.",)
    here = {"Python": platform.python_version(), **versions()}
    there = versions_in(path.read_text(encoding="utf-8", errors="replace"))
    words = [
        f"{name} {version} there, {here.get(name, 'none')} here"
        for name, version in there.items()
        if here.get(name) != version
    ]
    return (f"Made with other versions: {'; '.join(words)}.",) if words else ()
