"""What may be read of a study folder: plain files inside it, of names and sizes that are sane.

A study folder can come from a stranger. A link in it could lead to any file of this machine, a
device or a pipe never ends, and a file of gigabytes takes the memory before a word is read.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path
from typing import Final

MOST_BYTES: Final = 50_000_000  # of one file: some ten million readings
MOST_BYTES_OF_A_STUDY: Final = 2_000_000  # of study.toml: more than a thousand pages
_LONGEST_PATH: Final = 200
_RESERVED: Final = frozenset(
    (
        "CON", "PRN", "AUX", "NUL", "CONIN$", "CONOUT$",
        *(f"{port}{n}" for port in ("COM", "LPT") for n in "123456789¹²³"),
    )
)  # fmt: skip
"""Of Microsoft, "Naming Files, Paths, and Namespaces"; CONIN$, CONOUT$ of "Console Handles"."""


def path_fault(path: str) -> str:
    """Why a path below a folder is not safe; empty if it is.

    >>> path_fault("data/readings.csv"), path_fault("../readings.csv")
    ('', "'..' leads out of the folder")
    """
    if len(path) > _LONGEST_PATH:
        return f"longer than {_LONGEST_PATH} characters"
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in path) or set(path) & set('\\:"<>|?*'):
        return "a character that some system does not allow, or takes for a path"
    parts = path.split("/")
    if ".." in parts:
        return "'..' leads out of the folder"
    if any(part in ("", ".") or part.endswith((" ", ".")) for part in parts):
        return "a part is empty, or ends with a blank or a dot"
    if any(is_reserved(part) for part in parts):
        return "a name that Windows keeps for a device"
    return ""


def is_reserved(name: str) -> bool:
    """Whether Windows keeps a name for a device, whatever its ending.

    >>> is_reserved("con"), is_reserved("aux.csv"), is_reserved("console")
    (True, True, False)
    >>> is_reserved("conin$"), is_reserved("COM².txt"), is_reserved("COM")
    (True, True, False)
    """
    return name.partition(".")[0].strip().upper() in _RESERVED


def file_fault(path: Path, folder: Path, *, most: int = MOST_BYTES) -> tuple[str, str]:
    """What is wrong with a file of a study folder, and what to do; both empty if it may be read.

    Parameters
    ----------
    path : Path
        A file that is there.
    folder : Path
        Folder that it must lie in, also behind links.
    most : int
        Bytes it may hold.
    """
    try:
        real = path.resolve(strict=True)
        inside = real.is_relative_to(folder.resolve())
    except (OSError, RuntimeError):  # a circle of links
        return "is a link that leads nowhere", "Put the file itself there."
    if not inside:
        return "is a link that leads out of the study folder", "Put the file itself there."
    if not real.is_file():
        return "is no plain file", "Put a file there."
    if (size := real.stat().st_size) > most:
        return (
            f"has {size / 1e6:.0f} MB, expected at most {most / 1e6:.0f} MB",
            "Keep only the table itself in it.",
        )
    return "", ""
