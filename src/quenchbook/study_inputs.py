"""What the answers and the report of a study were made from, and whether it has changed since.

Checksums tell it, kept beside the answers in a list of our own: dates do not live through a copy
or an archive. Where there is no list, dates have to do.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from quenchbook.errors import Problem, RecordError
from quenchbook.reading_files import MOST_BYTES_OF_A_STUDY, file_fault, path_fault
from quenchbook.writing import write_text

RECORD_FILES: Final = (".csv", ".tsv", ".txt", ".xlsx", ".ods")
ANSWERED_FROM: Final = "answered_from.csv"
REPORTED_FROM: Final = "reported_from.csv"
_LONGEST_LINE: Final = 100_000  # the limit of csv itself is one for the whole program
_FIXED: Final = ("study.toml", "evidence.csv", "plan/plan.json", "plan/coupon_matrix.csv")
_HEAD: Final = ("file", "sha256")
_NAMED: Final = 2  # changed files that are named before they are only counted


def record_files(folder: Path) -> list[Path]:
    """Files of the records of a study folder, in order of their names."""
    place = folder / "records"
    return [
        path
        for path in (sorted(place.iterdir()) if place.is_dir() else [])
        if path.suffix.lower() in RECORD_FILES and path.is_file()
    ]


def input_digests(folder: str | Path) -> dict[str, str]:
    """Checksums of what the answers of a study are made from.

    Parameters
    ----------
    folder : str or Path
        Study folder.

    Returns
    -------
    dict of str to str
        Path below the folder, with ``/`` between its parts, to SHA-256 in hexadecimal digits;
        blank for a file that no reader would open.
    """
    folder = Path(folder)
    return {
        path.relative_to(folder).as_posix(): ""
        if file_fault(path, folder)[0]
        else hashlib.sha256(path.read_bytes()).hexdigest()
        for path in _inputs(folder)
    }


def write_input_list(path: str | Path, digests: Mapping[str, str]) -> Path:
    """Write checksums as a table, ``file, sha256``.

    Parameters
    ----------
    path : str or Path
        In the folder ``reports`` of the study.
    digests : mapping of str to str
        As of `input_digests`, taken before the files were read for the answers.
    """
    page = io.StringIO()
    csv.writer(page, lineterminator="\n").writerows([_HEAD, *sorted(digests.items())])
    return write_text(path, page.getvalue())


def changed_inputs(folder: Path, name: str, made: Sequence[Path]) -> list[str]:
    """Files that changed, came or went after the answers or the report were made from them.

    Parameters
    ----------
    folder : Path
        Study folder.
    name : str
        `ANSWERED_FROM` or `REPORTED_FROM`.
    made : sequence of Path
        What was made; its dates count where there is no sound list.
    """
    path = folder / "reports" / name
    try:
        rows = table_rows(path, folder) if path.exists() else []
    except RecordError:
        rows = []
    told = {
        file: row.get(_HEAD[1]) or ""
        for row in rows
        if not path_fault(file := row.get(_HEAD[0]) or "")
    }
    if not told:
        newest = max(map(_date, made), default=0.0)
        own = [file for file in _inputs(folder) if _date(file) > newest]
        return [file.relative_to(folder).as_posix() for file in own]
    now = input_digests(folder)
    return sorted(file for file in now.keys() | told.keys() if now.get(file) != told.get(file))


def changed_words(changed: Sequence[str]) -> str:
    """Say which files changed; of many the first ones.

    >>> changed_words(["study.toml"]), changed_words(["study.toml", "a", "b"])
    ('study.toml changed afterwards', 'study.toml, a and 1 more changed afterwards')
    """
    more = f" and {len(changed) - _NAMED} more" if len(changed) > _NAMED else ""
    return f"{', '.join(changed[:_NAMED])}{more} changed afterwards"


def table_rows(path: Path, folder: Path) -> list[dict[str, str]]:
    """Rows of a small table of ours in a study folder, which may have come from a stranger.

    Parameters
    ----------
    path : Path
        A CSV file that is there.
    folder : Path
        Study folder, which the file must lie in.

    Raises
    ------
    RecordError
        If it is no plain file inside the folder, too large, or no table in UTF-8.
    """
    again = "Move it away, and have it written again."
    fault, _ = file_fault(path, folder, most=MOST_BYTES_OF_A_STUDY)
    if fault:
        raise RecordError(Problem(path.name, fault, again))
    try:
        text = path.read_text(encoding="utf-8")
        if max(map(len, text.splitlines()), default=0) > _LONGEST_LINE:
            raise csv.Error("a line that none of ours has")
        return [
            {name: cell for name, cell in row.items() if isinstance(cell, str)}
            for row in csv.DictReader(io.StringIO(text, newline=""))
        ]
    except (OSError, UnicodeDecodeError, csv.Error):
        raise RecordError(Problem(path.name, "cannot be read as a table", again)) from None


def _inputs(folder: Path) -> list[Path]:
    fixed = [folder / name for name in _FIXED]
    return [*(path for path in fixed if path.is_file()), *record_files(folder)]


def _date(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:  # a link that leads nowhere
        return 0.0
