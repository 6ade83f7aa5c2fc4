"""A folder of files written by us: old ones go, those of anybody else stay."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from quenchbook.errors import Problem, ReportError
from quenchbook.writing import write_bytes

WRITTEN: Final = "written_files.csv"
"""List of the files of a folder that we wrote, with their checksums."""


def write_own_folder(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write files into a folder, and take out those of an earlier run that no longer belong.

    A file is taken out only if the list of the earlier run names it and it still holds what was
    written then; whatever somebody put there or changed stays.

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
    """
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise ReportError(
            Problem(
                str(folder), "is no folder of its own", "Move it away: files are written there."
            )
        )
    folder.mkdir(exist_ok=True)
    earlier = _earlier(folder)
    for name, digest in earlier.items():
        path = folder / name
        left = name not in files and path.is_file() and not path.is_symlink()
        if left and _digest(path.read_bytes()) == digest:
            path.unlink()
    # the list first: after an interrupted run every file of ours is on it
    rows = {name: _digest(data) for name, data in files.items()}
    write_bytes(folder / WRITTEN, _list({**earlier, **rows}))
    paths = [write_bytes(folder / name, data) for name, data in files.items()]
    write_bytes(folder / WRITTEN, _list(rows))
    return paths


def _earlier(folder: Path) -> dict[str, str]:
    """Files of an earlier run with their checksums; only plain names of this folder."""
    try:
        text = (folder / WRITTEN).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return {}
    rows = csv.DictReader(io.StringIO(text))
    found = {str(row.get("file") or ""): str(row.get("sha256") or "") for row in rows}
    return {name: digest for name, digest in found.items() if _is_plain(name)}


def _is_plain(name: str) -> bool:
    return bool(name) and name not in (".", "..", WRITTEN) and not set(name) & set("/\\:\0")


def _list(rows: Mapping[str, str]) -> bytes:
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow(("file", "sha256"))
    writer.writerows(sorted(rows.items()))
    return page.getvalue().encode("utf-8")


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
