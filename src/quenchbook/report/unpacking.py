"""Unpack an archive of a stranger: plain files below one folder, of limited number and size.

Nothing in it is trusted: not its names (they could lead out of the folder), not the sizes it tells
(a few bytes can unpack to terabytes), not the kinds of its files (a link could lead anywhere).
"""

from __future__ import annotations

import stat
import unicodedata
import zipfile
import zlib
from pathlib import Path
from typing import IO, Final

from quenchbook.errors import ArchiveError, Problem
from quenchbook.reading_files import path_fault

MOST_FILES: Final = 5_000
MOST_BYTES: Final = 50_000_000  # unpacked, all files and all parts of all workbooks together
_ONE_READ: Final = 1 << 20
_ENCRYPTED: Final = 0x1
_METHODS: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_KINDS: Final = (0, stat.S_IFREG, stat.S_IFDIR)
_DAMAGE: Final = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
    OSError,
)  # fmt: skip
_WORKBOOKS: Final = (".xlsx", ".ods")


def unpacked(path: str | Path, folder: str | Path) -> list[str]:
    """Unpack an archive into an empty folder.

    Parameters
    ----------
    path : str or Path
        A zip archive.
    folder : str or Path
        There already, and empty.

    Returns
    -------
    list of str
        Paths of the files below the folder, with ``/``, sorted.

    Raises
    ------
    ArchiveError
        If it is no zip archive, is damaged, or holds anything that is not a plain file inside the
        limits. What was unpacked until then stays in the folder.
    """
    path, folder = Path(path), Path(folder)
    if not path.is_file():
        found = "is a folder, expected a file" if path.is_dir() else "there is no such file"
        raise ArchiveError(Problem(str(path), found, "Name an archive: STUDY_data.zip"))
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
            _check(path, entries)
            left = MOST_BYTES
            written: list[str] = []
            for entry in entries:
                if entry.is_dir():
                    continue
                target = folder.joinpath(*entry.filename.split("/"))
                target.parent.mkdir(parents=True, exist_ok=True)
                with archive.open(entry) as source, target.open("xb") as file:
                    left -= _copied(source, file, left, f"{path.name}, {entry.filename}")
                written.append(entry.filename)
    except ArchiveError:
        raise
    except _DAMAGE as error:
        remedy = "Fetch the archive again."
        raise ArchiveError(Problem(str(path), f"is damaged ({error})", remedy)) from None
    for name in written:
        if name.lower().endswith(_WORKBOOKS):
            left -= _unpacked_size(folder / name, left, f"{path.name}, {name}")
    return sorted(written)


def _check(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    if len(entries) > MOST_FILES:
        wrong = f"holds {len(entries)} files, expected at most {MOST_FILES}"
        raise ArchiveError(Problem(path.name, wrong))
    problems = []
    seen: set[str] = set()
    for entry in entries:
        name = entry.filename
        mode = entry.external_attr >> 16 if entry.create_system == 3 else 0
        plain = unicodedata.normalize("NFC", name).casefold()
        if fault := path_fault(name.removesuffix("/")):
            wrong = f"its path is not safe: {fault}"
        elif stat.S_IFMT(mode) not in _KINDS:
            wrong = "is a link or a device, expected a plain file"
        elif entry.flag_bits & _ENCRYPTED or entry.compress_type not in _METHODS:
            wrong = "is encrypted, or packed in an unusual way"
        elif plain in seen:
            wrong = "stands twice in the archive"
        else:
            seen.add(plain)
            continue
        problems.append(Problem(f"{path.name}, {name!r:.80}", wrong, "Nothing was read."))
    if problems:
        raise ArchiveError(problems)


def _copied(source: IO[bytes], file: IO[bytes] | None, left: int, where: str) -> int:
    """Bytes that were unpacked, counted as they come; ArchiveError when there are too many."""
    count = 0
    while piece := source.read(_ONE_READ):
        count += len(piece)
        if count > left:
            wrong = f"unpacks to more than {MOST_BYTES // 1_000_000} MB"
            raise ArchiveError(Problem(where, wrong, "Nothing was read."))
        if file is not None:
            file.write(piece)
    return count


def _unpacked_size(path: Path, left: int, where: str) -> int:
    """Bytes that the parts of a workbook unpack to; it is a zip archive too.

    A part that cannot be unpacked here may be unpacked by the reader of records: so damage is an
    error and no reason to stop counting.
    """
    count = 0
    try:
        with zipfile.ZipFile(path) as book:
            parts = book.infolist()
            if len(parts) > MOST_FILES:
                raise ArchiveError(Problem(where, f"holds {len(parts)} parts", "Nothing was read."))
            for part in parts:
                with book.open(part) as source:
                    count += _copied(source, None, left - count, where)
    except ArchiveError:
        raise
    except _DAMAGE as error:
        remedy = "Nothing was read."
        raise ArchiveError(Problem(where, f"is no sound workbook ({error})", remedy)) from None
    return count
