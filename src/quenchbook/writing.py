"""Write a file whole or not at all: into a name of its own first, then moved into place."""

from __future__ import annotations

import contextlib
import itertools
import os
import secrets
from collections.abc import Iterator
from pathlib import Path


def write_bytes(path: str | Path, data: bytes) -> Path:
    """Write a file whole or not at all, in place of one of the same name.

    Parameters
    ----------
    path : str or Path
        File to write; its folder is there already.
    data : bytes

    Returns
    -------
    Path
        The file.
    """
    path = Path(path)
    with _part(path, data) as part:
        os.replace(part, path)
    return path


def write_if_unchanged(path: str | Path, data: bytes, *, before: bytes) -> bool:
    """Write a file whole in place of one that still holds what is known of it.

    The file is looked at last of all, when the new one lies on the disk beside it.

    Parameters
    ----------
    path : str or Path
        A file.
    data : bytes
        What it is to hold.
    before : bytes
        What it must hold until then.

    Returns
    -------
    bool
        Whether it was written; False: somebody changed or took away the file, and it was left so.
    """
    path = Path(path)
    with _part(path, data) as part:
        try:
            if path.read_bytes() != before:
                return False
        except FileNotFoundError:
            return False
        os.replace(part, path)
        _settled(path.parent)
    return True


def write_text(path: str | Path, text: str) -> Path:
    """Write a text as UTF-8 with LF line ends, whole or not at all."""
    return write_bytes(path, text.encode("utf-8"))


def write_new_bytes(path: str | Path, data: bytes) -> Path:
    """Write a file whole or not at all, and only where there is none of that name.

    Of two programs that write the same name at once, one gets the error.

    Parameters
    ----------
    path : str or Path
        File to write; its folder is there already.
    data : bytes

    Raises
    ------
    FileExistsError
        If there is a file of that name; it is left as it is.
    """
    path = Path(path)
    with _part(path, data) as part:
        try:
            os.link(part, path)  # unlike a rename it never replaces
        except FileExistsError:
            raise
        except OSError:  # a file system without links, such as that of a memory stick
            if path.exists():
                raise FileExistsError(f"{path} is there already") from None
            os.rename(part, path)
        _settled(path.parent)
    return path


def write_beside(path: str | Path, data: bytes) -> Path:
    """Write a file under the first free name of ``form.csv``, ``form_2.csv``, ``form_3.csv``, ...

    A file that holds these bytes already is taken as it is.

    Parameters
    ----------
    path : str or Path
        Wanted name; its folder is there already.
    data : bytes

    Returns
    -------
    Path
        The file that holds the bytes.
    """
    path = Path(path)
    for number in itertools.count(1):
        own = path.with_name(f"{path.stem}_{number}{path.suffix}") if number > 1 else path
        if own.exists():
            if own.read_bytes() == data:
                return own
            continue
        with contextlib.suppress(FileExistsError):
            return write_new_bytes(own, data)
    raise AssertionError("numbers do not end")


@contextlib.contextmanager
def _part(path: Path, data: bytes) -> Iterator[Path]:
    """File beside `path` that holds all of the data on the disk; gone afterwards."""
    part = path.with_name(f".{path.name}.{os.getpid()}-{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())  # a name must not be on the disk before its bytes are
        yield part
    finally:
        part.unlink(missing_ok=True)


def _settled(folder: Path) -> None:
    """Wait until the names of a folder are on the disk, where the system can do that."""
    with contextlib.suppress(OSError):  # Windows opens no folders, and settles them by itself
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
