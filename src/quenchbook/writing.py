"""Write a file whole or not at all: into a name of its own first, then moved into place."""

from __future__ import annotations

import os
import secrets
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
    part = path.with_name(f".{path.name}.{os.getpid()}-{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as file:
            file.write(data)
        os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
    return path


def write_text(path: str | Path, text: str) -> Path:
    """Write a text as UTF-8 with LF line ends, whole or not at all."""
    return write_bytes(path, text.encode("utf-8"))
