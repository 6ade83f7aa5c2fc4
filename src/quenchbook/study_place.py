"""Where a new study may be made: one folder, below a root that it cannot leave."""

from __future__ import annotations

import re
from pathlib import Path, PurePosixPath
from typing import Final

from quenchbook.errors import Problem, StudyError

LONGEST: Final = 100
"""Characters of a folder name: some file systems end at 255 bytes, and paths of Windows at 260."""

# letters of any script, numbers, and what no shell and no file system takes for something else
_NAME: Final = re.compile(r"\w[\w .+-]*")
# names of devices, with any ending: Windows naming rules, learn.microsoft.com "Naming Files, Paths,
# and Namespaces" [from memory]
_DEVICE: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


def folder_name(name: str) -> str:
    """Name of a folder that can be made on every system.

    Parameters
    ----------
    name : str
        As a person wrote it; spaces around it are dropped.

    Raises
    ------
    StudyError
        If it is blank, holds more than letters, numbers and ``_ - + .``, or is a reserved name.

    Examples
    --------
    >>> folder_name(" o1_freezer ")
    'o1_freezer'
    """
    own = name.strip()
    if not own:
        raise StudyError(Problem("", "The name is blank", "Write a name such as o1_freezer."))
    if len(own) > LONGEST:
        raise StudyError(
            Problem("", f"The name has {len(own)} characters", f"Write {LONGEST} at most.")
        )
    if not _NAME.fullmatch(own) or own.endswith(".") or _DEVICE.fullmatch(own):
        raise StudyError(
            Problem(
                "",
                f"'{own}' is not a name that every system takes for a folder",
                "Write letters, numbers and _ or -, such as o1_freezer.",
            )
        )
    return own


def study_place(root: str | Path, folder: str, name: str) -> Path:
    """Path of a study to be made in a folder below a root, which it cannot leave.

    Parameters
    ----------
    root : str or Path
        What a server shows.
    folder : str
        Folder below the root, with ``/`` between its parts; blank is the root itself.
    name : str
        Name of the study folder, see `folder_name`.

    Raises
    ------
    StudyError
        If the folder is not there, is hidden, lies outside of the root (also by a link), or lies in
        a study.
    """
    own = folder_name(name)
    top = Path(root).expanduser().resolve()
    parts = PurePosixPath(folder.strip("/")).parts
    place = top.joinpath(*parts).resolve()
    inside = place == top or top in place.parents
    if not inside or any(part.startswith(".") for part in parts) or not place.is_dir():
        raise StudyError(
            Problem("", f"There is no folder '{folder}' here", "Choose one in the file browser.")
        )
    for above in (place, *place.parents):
        if (above / "study.toml").exists():
            where = "Go to the folder above it in the file browser"
            if above == top:
                where = "Start quenchbook lab in the folder above it"
            raise StudyError(
                Problem("", f"'{above.name}' is a study already", f"{where}, and try again there.")
            )
        if above == top:
            break
    return place / own
