"""A folder of files written by us: old ones go, those of anybody else stay."""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from quenchbook.errors import Problem, ReportError
from quenchbook.writing import write_bytes

WRITTEN: Final = "written_files.csv"
"""List of the files of a folder that we wrote, with their checksums."""

_HEAD: Final = ("file", "sha256")
_LONGEST: Final = 255  # characters of a file name or a checksum


def write_own_folder(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write files into a folder, and take out those of an earlier run that no longer belong.

    A file is taken out or replaced only if the list of the earlier run names it and it still holds
    what was written then; whatever somebody put there or changed stays.

    Parameters
    ----------
    folder : Path
        Is made where it is missing.
    files : mapping of str to bytes
        Names without a folder.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    ReportError
        Naming every file of somebody else, or changed by hand, that stands where one would go;
        nothing is written or taken out then.
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise ReportError(
            Problem(
                str(folder), "is no folder of its own", "Move it away: files are written there."
            )
        )
    folder.mkdir(exist_ok=True)
    earlier = listed_files(folder)
    rows = {(name, _digest(data)) for name, data in files.items()}
    _check_ours(folder, files, earlier | rows)
    for name in {name for name, _ in earlier} - set(files):
        path = folder / name
        if path.is_file() and not path.is_symlink() and (name, _read_digest(path)) in earlier:
            path.unlink()
    # the list first, of old and new files: after an interrupted run every file of ours is on it
    write_bytes(folder / WRITTEN, _list(earlier | rows))
    paths = [write_bytes(folder / name, data) for name, data in files.items()]
    write_bytes(folder / WRITTEN, _list(rows))
    return paths


def _check_ours(folder: Path, files: Mapping[str, bytes], ours: set[tuple[str, str]]) -> None:
    places = [(name, folder / name) for name in files]
    problems = [
        Problem(
            str(path),
            "is not as quenchbook wrote it, and a new file would take its place",
            "Move it away or rename it, then write again.",
        )
        for name, path in places
        if path.is_symlink()
        or (path.exists() and not (path.is_file() and (name, _read_digest(path)) in ours))
    ]
    if problems:
        raise ReportError(problems)


def listed_files(folder: Path) -> set[tuple[str, str]]:
    """Names and checksums of the files that earlier runs wrote; only plain names of this folder."""
    path = folder / WRITTEN
    try:
        rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8")), strict=True))
    except FileNotFoundError:
        return set()
    except (OSError, UnicodeDecodeError, csv.Error):
        rows = []
    two = {len(row) for row in rows} == {2} and rows[0] == list(_HEAD)
    # the limit of csv is one for the whole process, and other libraries move it
    if path.is_symlink() or not two or max(map(len, itertools.chain(*rows))) > _LONGEST:
        raise ReportError(
            Problem(
                str(path),
                "is no list of files that quenchbook wrote",
                "Move it away or rename it, then write again.",
            )
        )
    return {(name, digest) for name, digest in rows[1:] if _is_plain(name)}


def _is_plain(name: str) -> bool:
    return bool(name) and name not in (".", "..", WRITTEN) and not set(name) & set("/\\:\0")


def _list(rows: Iterable[tuple[str, str]]) -> bytes:
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow(_HEAD)
    writer.writerows(sorted(rows))
    return page.getvalue().encode("utf-8")


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def _read_digest(path: Path) -> str:
    return _digest(path.read_bytes())
