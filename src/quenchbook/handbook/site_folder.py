"""Folder of the handbook: made beside its place, then moved there whole."""

from __future__ import annotations

import csv
import hashlib
import io
import os
import secrets
import shutil
from collections.abc import Mapping
from pathlib import Path

from quenchbook.errors import Problem, ReportError
from quenchbook.report.own_folder import WRITTEN, listed_files
from quenchbook.writing import write_bytes


def check_free(folder: Path) -> None:
    """Raise unless a folder is missing, empty, or a handbook as we wrote it."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise ReportError(
            Problem(str(folder), "is no folder of its own", "Name another place for the handbook.")
        )
    if not folder.exists():
        return
    inside = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*")}
    ours = dict(listed_files(folder)) if WRITTEN in inside else {}
    others = sorted(
        name
        for name, path in inside.items()
        if name != WRITTEN
        and (
            name not in ours  # before a file is read: it may be large, and is somebody else's
            or path.is_symlink()
            or not path.is_file()
            or _digest(path.read_bytes()) != ours[name]
        )
    )
    if others:
        raise ReportError(
            Problem(
                str(folder),
                f"holds {len(others)} files that no handbook of quenchbook wrote as they are, "
                f"the first is {others[0]}",
                "Name another place, or move the folder away.",
            )
        )


def write_site(folder: Path, files: Mapping[str, bytes]) -> list[Path]:
    """Write a folder whole or not at all, in place of an earlier handbook.

    Parameters
    ----------
    folder : Path
        As `check_free` allows it.
    files : mapping of str to bytes
        Names without a folder.

    Returns
    -------
    list of Path
        The files, without the list of them.
    """
    check_free(folder)
    folder = folder.absolute()
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = folder.with_name(f".{folder.name}.{os.getpid()}-{secrets.token_hex(4)}.part")
    earlier = part.with_suffix(".earlier")
    part.mkdir()
    try:
        for name, data in {**files, WRITTEN: _list(files)}.items():
            write_bytes(part / name, data)
        if folder.exists():
            os.rename(folder, earlier)
        try:
            os.rename(part, folder)
        except OSError:
            if earlier.exists():
                os.rename(earlier, folder)
            raise
    finally:
        shutil.rmtree(part, ignore_errors=True)
    shutil.rmtree(earlier, ignore_errors=True)  # only now: after a failure it is all there is
    return [folder / name for name in files]


def _list(files: Mapping[str, bytes]) -> bytes:
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerow(("file", "sha256"))
    writer.writerows(sorted((name, _digest(data)) for name, data in files.items()))
    return page.getvalue().encode("utf-8")


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
