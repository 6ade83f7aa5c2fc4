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


def place_for_studies(root: str | Path, folder: str) -> Path:
    """Folder in which a new study is made: a folder below a root, or the next above it in no study.

    Parameters
    ----------
    root : str or Path
        What a server shows.
    folder : str
        Folder below the root, with ``/`` between its parts; blank is the root itself. In a study
        the new one is made beside it.

    Returns
    -------
    Path
        The root or a folder below it.

    Raises
    ------
    StudyError
        If the folder is not there, is hidden or lies outside of the root (each also by a link), or
        the root itself lies in a study.
    """
    top = Path(root).expanduser().resolve()
    parts = PurePosixPath(folder.strip("/")).parts
    place = top.joinpath(*parts).resolve()
    inside = place == top or top in place.parents
    own = place.relative_to(top).parts if inside else ()
    if not inside or any(part.startswith(".") for part in (*parts, *own)) or not place.is_dir():
        raise StudyError(
            Problem("", f"There is no folder '{folder}' here", "Choose one in the file browser.")
        )
    studies = [above for above in (place, *place.parents) if (above / "study.toml").exists()]
    if not studies:
        return place
    outer = studies[-1]
    if outer == top or outer in top.parents:
        raise StudyError(
            Problem(
                "",
                f"No study can be made here: JupyterLab was started in the study '{outer.name}', "
                "and a study is not made inside another",
                "Stop it, and start quenchbook lab in a folder above it that you may write in.",
            )
        )
    return outer.parent


def study_place(root: str | Path, folder: str, name: str) -> Path:
    """Path of a study to be made in a folder below a root, which it cannot leave.

    Parameters
    ----------
    root, folder
        See `place_for_studies`.
    name : str
        Name of the study folder, see `folder_name`.

    Raises
    ------
    StudyError
        If the name or the folder will not do, or there is something of this name.
    """
    own = folder_name(name)
    place = place_for_studies(root, folder) / own
    if place.is_symlink() or (place.exists() and (not place.is_dir() or any(place.iterdir()))):
        raise StudyError(
            Problem("", f"'{own}' is there already", "Write another name; nothing is overwritten.")
        )
    return place
