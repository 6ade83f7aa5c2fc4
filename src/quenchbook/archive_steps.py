"""The steps of open data: write the archive of a study, and check an archive of anybody's.

Checking executes nothing from the archive: its notebook is not run, its tables are read as text,
and the analysis is that of the installed quenchbook.
"""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import ArchiveError, Problem, QuenchbookError
from quenchbook.study_folder import read_folder, resource
from quenchbook.writing import write_bytes

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.report.archive_comparison import Compared, Difference
    from quenchbook.report.edition import Edition

_UNREADABLE: Final = (
    QuenchbookError, ArithmeticError, AttributeError, LookupError, OSError, RecursionError,
    TypeError, ValueError,
)  # fmt: skip
"""What a study of a stranger may raise: whatever it is, it is a difference and no traceback."""


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
    """
    from quenchbook.findings.answers import analyse
    from quenchbook.report.archive import archive_files, zip_bytes

    folder = Path(folder)
    study, _, records = read_folder(folder)
    own = folder / "notebooks" / "05_report.ipynb"
    notebook = own if own.exists() else resource("notebooks", "05_report.ipynb")
    files = archive_files(analyse(records), notebook.read_text(encoding="utf-8"))
    path = Path(path) if path else folder / "reports" / f"{study.key}_data.zip"
    path.parent.mkdir(exist_ok=True)
    return write_bytes(path, zip_bytes(files, study.date))


def write_archive_edition(edition: Edition) -> list[Path]:
    """Write the archive beside the public edition; data are the same for all, so only there."""
    if edition.name != "public":
        return []
    return [write_archive(edition.study.folder, edition.path("_data.zip"))]


@dataclass(frozen=True, repr=False)
class Verification:
    """What came out when an archive was recomputed.

    Attributes
    ----------
    archive : str
        Name of the file.
    sha256 : str
        Checksum of the archive itself.
    study, plan : str
        Key of the study and hash of its plan; empty if they cannot be read.
    files, tables, numbers, texts, sentences : int
        How many were compared.
    same : int
        Numbers that agree.
    printed : int
        Printed answers that were looked for in the page.
    page : str
        HTML report beside the archive in which the answers were looked for; empty: none.
    differences : tuple of Difference
    other_versions : tuple of str
        Programs whose version is not the one that made the archive, in words.
    """

    archive: str
    sha256: str
    study: str
    plan: str
    files: int
    tables: int
    numbers: int
    same: int
    texts: int
    sentences: int
    printed: int
    page: str
    differences: tuple[Difference, ...]
    other_versions: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """Whether nothing differs."""
        return not self.differences

    def to_frame(self) -> pd.DataFrame:
        """One row a difference: ``table, row, column, archived, recomputed``."""
        import pandas as pd

        names = ("table", "row", "column", "archived", "recomputed")
        rows = [[getattr(own, name) for name in names] for own in self.differences]
        return pd.DataFrame(rows, columns=list(names))

    def summary(self) -> str:
        """Say what was compared and every difference."""
        from quenchbook.report.archive_comparison import RELATIVE_TOLERANCE

        lines = [f"{self.archive}: study {self.study or 'not read'}, SHA-256 {self.sha256}"]
        if self.plan:
            lines.append(f"Plan {self.plan}")
        lines.append(f"{self.files} files against their checksums.")
        if self.tables:
            lines.append(
                f"Recomputed from study, plan and records: {self.numbers} numbers, of which "
                f"{self.same} agree, and {self.texts} texts in {self.tables} tables (numbers "
                f"within {RELATIVE_TOLERANCE:g} of their size, texts exactly)."
            )
            beside = (
                f"{self.printed} printed answers looked for in {self.page}"
                if self.page
                else f"no {self.study}.html beside the archive, so no page was looked into"
            )
            lines.append(f"{self.sentences} sentences of the findings, exactly; {beside}.")
        lines += self.other_versions
        if self.agrees:
            lines.append("All of it agrees.")
        else:
            count = len(self.differences)
            lines.append(f"{count} difference{'s' if count != 1 else ''}:")
            lines += [f"  {own}" for own in self.differences]
        lines.append(
            "Checksums and numbers tell whether the archive fits together, not who made it: "
            "compare the plan hash with one that was published before the data."
        )
        return "\n".join(lines)

    def __repr__(self) -> str:
        return f"<Verification of {self.archive}: {len(self.differences)} differences>"


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
        found, study, plan, page = _recomputed(folder, files, path.parent)
        other = _other_versions(folder)
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
    )


def _recomputed(
    folder: Path, files: list[str], beside: Path
) -> tuple[list[Compared], str, str, str]:
    """What was compared, key of the study, hash of the plan, name of the page."""
    from quenchbook.findings.answers import analyse
    from quenchbook.records.kept_entries import kept_entries
    from quenchbook.report.archive import STUDY_FOLDER
    from quenchbook.report.archive_comparison import (
        Compared,
        Difference,
        compared_page,
        compared_tables,
    )
    from quenchbook.report.data_tables import data_tables

    try:
        study, matrix, records = read_folder(folder / STUDY_FOLDER)
        kept_entries(folder / STUDY_FOLDER / "records")
        analysis = analyse(records)
        tables = data_tables(analysis)
    except _UNREADABLE as error:
        problems = error.problems if isinstance(error, QuenchbookError) else (repr(error),)
        wrong = tuple(
            Difference(STUDY_FOLDER, "", "", str(problem).replace(f"{folder}/", ""), "readable")
            for problem in problems
        )
        return [Compared(differences=wrong)], "", "", ""
    found = compared_tables(folder, files, tables)
    page = beside / f"{study.key}.html"
    if page.is_file():
        found.append(compared_page(page, analysis))
    return found, study.key, matrix.plan_hash, page.name if page.is_file() else ""


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
