"""Open data of a study as one zip archive: the same inputs give the same bytes."""

from __future__ import annotations

import hashlib
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.reading_files import path_fault
from quenchbook.records.kept_entries import FOLDER as KEPT
from quenchbook.records.published_comparisons import EVIDENCE_FILE
from quenchbook.records.tables import WORKBOOKS, table_files
from quenchbook.report.archive_papers import citation, environment, readme
from quenchbook.report.data_package import descriptor, iso_date
from quenchbook.report.data_tables import data_tables
from quenchbook.report.licences import licence_statement
from quenchbook.report.public_copies import public_notebook, public_study

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.report.data_tables import DataTable

STUDY_FOLDER: Final = "study"
NOTEBOOK: Final = f"{STUDY_FOLDER}/notebooks/05_report.ipynb"
CHECKSUMS: Final = "SHA256SUMS"
ENVIRONMENT: Final = "environment.txt"
PAPERS: Final = ("CITATION.cff", "LICENSE.txt", "README.md", "datapackage.json")
_FIRST_DAY: Final = (1980, 1, 1)  # before it a zip archive knows no dates, nor after 2107
_LAST_YEAR: Final = 2107
_PERMISSIONS: Final = 0o100644 << 16  # a plain file that its owner may write


def archive_files(analysis: Analysis, notebook: str) -> dict[str, bytes]:
    """Files of the archive of a study, by their paths.

    Parameters
    ----------
    analysis : Analysis
        Of records that were read from the folder of the study.
    notebook : str
        Report notebook as JSON.

    Returns
    -------
    dict of str to bytes
        In the order in which they are written.

    Raises
    ------
    ReportError
        If a file of the records has a name that no archive should hold.
    """
    study = analysis.study
    study_file, left_out = public_study((study.folder / "study.toml").read_bytes())
    given = given_files(study.folder)
    tables = data_tables(analysis)
    texts: dict[str, str] = {}
    for name, table in tables.items():
        texts[f"data/{name}.csv"] = table.csv()
        texts[f"exact/{name}.jsonl"] = table.json_lines()
    texts |= {
        NOTEBOOK: public_notebook(notebook),
        ENVIRONMENT: environment(),
    }
    files = {path: text.encode("utf-8") for path, text in texts.items()}
    papers = papers_of(analysis, tables, left_out, given, files)
    files |= {path: text.encode("utf-8") for path, text in papers.items()}
    files |= {f"{STUDY_FOLDER}/{path}": data for path, data in given.items()}
    files[f"{STUDY_FOLDER}/study.toml"] = study_file
    _check_names(files)
    files = dict(sorted(files.items()))
    return {**files, CHECKSUMS: checksums(files).encode("utf-8")}


def papers_of(
    analysis: Analysis,
    tables: Mapping[str, DataTable],
    left_out: Sequence[str],
    given: Iterable[str],
    contents: Mapping[str, bytes],
) -> dict[str, str]:
    """Return `PAPERS`, which follow from study, tables and version of quenchbook alone.

    Parameters
    ----------
    analysis : Analysis
    tables : mapping of name to DataTable
    left_out : sequence of str
        What is not in the copy of the study file.
    given : iterable of str
        Paths of `given_files`.
    contents : mapping of path to bytes
        The tables as files, ``data/<name>.csv``.
    """
    study, paths = analysis.study, list(given)
    readme_text = readme(
        analysis,
        tables,
        left_out,
        has_kept_entries=any(path.startswith(f"records/{KEPT}/") for path in paths),
        workbooks=workbooks_of(paths),
    )
    texts = (
        citation(study),
        licence_statement(study.licence, study.author),
        readme_text,
        descriptor(analysis, tables, contents),
    )
    return dict(zip(PAPERS, texts, strict=True))


def checksums(files: Mapping[str, bytes]) -> str:
    """Lines of ``SHA256SUMS``, as ``sha256sum`` writes and reads them."""
    return "".join(f"{hashlib.sha256(data).hexdigest()}  {path}\n" for path, data in files.items())


def zip_bytes(files: Mapping[str, bytes], date: str = "") -> bytes:
    """Zip archive of files: order as given, one date, one set of permissions.

    Parameters
    ----------
    files : mapping of path to bytes
    date : str
        Date of the study, such as 2026-09-12; 1980-01-01 where it is no date.
    """
    day = iso_date(date) or _FIRST_DAY
    day = day if _FIRST_DAY[0] <= day[0] <= _LAST_YEAR else _FIRST_DAY
    memory = io.BytesIO()
    with zipfile.ZipFile(memory, "w") as archive:
        for path, data in files.items():
            entry = zipfile.ZipInfo(path, (*day, 0, 0, 0))
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.create_system = 3  # so that the permissions are told, on every system alike
            entry.external_attr = _PERMISSIONS
            archive.writestr(entry, data, compresslevel=9)
    return memory.getvalue()


def workbooks_of(given: Iterable[str]) -> list[str]:
    """Paths in the archive of what is a workbook, from the paths of `given_files`."""
    return [f"{STUDY_FOLDER}/{path}" for path in given if path.lower().endswith(WORKBOOKS)]


def is_archive(path: Path) -> bool:
    """Whether a file is an archive that `archive_files` could have made, from its names."""
    try:
        with zipfile.ZipFile(path) as archive:
            return {CHECKSUMS, f"{STUDY_FOLDER}/study.toml"} <= set(archive.namelist())
    except (OSError, ValueError, zipfile.BadZipFile):
        return False


def given_files(folder: Path) -> dict[str, bytes]:
    """Plan, records, what was accepted of them, and published comparisons, as they were given."""
    paths = [
        *sorted((folder / "plan").glob("coupon_matrix.csv")),
        *sorted((folder / "plan").glob("plan.json")),
        *sorted((folder / "plan").glob("continuation_*.*")),
        *table_files(folder / "records"),
        *sorted((folder / "records" / KEPT).rglob("*")),
        folder / EVIDENCE_FILE,
    ]
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in paths if path.is_file()
    }


def _check_names(files: Mapping[str, bytes]) -> None:
    problems = [
        Problem(path, f"has a name that no archive should hold: {fault}", "Rename the file.")
        for path in files
        if (fault := path_fault(path))
    ]
    if problems:
        raise ReportError(problems)
