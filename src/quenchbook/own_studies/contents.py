"""Digests of what a study folder holds: the same digest means that the same would be read.

The bytes themselves are digested, not sizes and times of files: a record that was changed within
the resolution of the clock, or whose time was put back, is another record.
"""

from __future__ import annotations

import functools
import hashlib
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from quenchbook.made_by import made_by

_FOLDERS: Final = ("plan", "records")
_FILES: Final = ("study.toml", "evidence.csv")
_ONE_READ: Final = 1 << 20


def content_digest(folder: str | Path) -> str:
    """SHA-256 of the name of a study folder and of all files that reading it looks at.

    Parameters
    ----------
    folder : str or Path
        The name counts too: a study file without a key gets its key from it.

    Returns
    -------
    str
        64 hexadecimal digits.
    """
    folder = Path(folder)
    total = hashlib.sha256(folder.name.encode("utf-8", "surrogateescape") + b"\0")
    for path in _read_files(folder):
        name = path.relative_to(folder).as_posix().encode("utf-8", "surrogateescape")
        total.update(b"%d %s %s" % (len(name), name, _file_digest(path)))
    return total.hexdigest()


def _read_files(folder: Path) -> Iterator[Path]:
    yield from (folder / name for name in _FILES)
    for name in _FOLDERS:
        try:
            with os.scandir(folder / name) as entries:
                found = sorted(entry.name for entry in entries if not entry.is_dir())
        except OSError:
            continue
        yield from (folder / name / own for own in found)


def _file_digest(path: Path) -> bytes:
    """Digest of the bytes; that nothing is read where there is none, and of what is no file."""
    from quenchbook.reading_files import MOST_BYTES

    if not path.is_file():
        return b"none"
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            if size > MOST_BYTES:  # it is refused when it is read
                return b"large %d" % size
            own = hashlib.sha256()
            while piece := file.read(_ONE_READ):
                own.update(piece)
    except OSError as error:
        return b"error %d" % (error.errno or 0)
    return own.digest()


@functools.cache
def reader_digest() -> str:
    """Digest of the quenchbook that reads: another version may read the same bytes otherwise."""
    root = Path(__file__).parents[1]
    used = made_by(None).versions  # Python and the packages that can change a number
    total = hashlib.sha256(repr(sorted(used.items())).encode())
    for path in sorted(root.rglob("*.py")):
        about = path.stat()
        total.update(f"{path.relative_to(root)} {about.st_size} {about.st_mtime_ns}".encode())
    return total.hexdigest()
