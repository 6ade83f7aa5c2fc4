"""Accepted entries: files that are only ever added, each one vouching for the one before.

Beside the records, in ``kept``: ``entries_0001.csv``, ``entries_0002.csv``, ... hold what was
accepted, one row an entry, and ``raw`` holds the files it came from under their SHA-256. Every
acceptance writes one new file of entries whole or not at all, so a crash or a full disk in the
middle of it leaves all earlier ones as they were, and nothing is ever written twice. What counts
for a reading is the last row about it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, RecordError
from quenchbook.reading_files import path_fault
from quenchbook.shown import ShowsItself
from quenchbook.writing import write_new_bytes

if TYPE_CHECKING:
    import pandas as pd

FOLDER: Final = "kept"
_RAW: Final = "raw"
_DIGEST: Final = re.compile("[0-9a-f]{64}")
_START: Final = "nothing"
_AFTER, _SEAL = "# after ", "# sha256 "

Key = tuple[str, str, str, str, str]  # kind, what, which, item, reading


@dataclass(frozen=True)
class Entry:
    """One accepted reading, deviation or file; all texts, as they stand in the file.

    `kind` is ``reading``, ``deviation`` or ``file``. `value` is empty when the entry says that
    what was there before is gone; `reason` says why an earlier entry does not count any more.
    """

    time: str
    kind: str
    what: str
    which: str
    item: str
    reading: str
    value: str
    unit: str
    reason: str
    file: str
    row: str
    sha256: str

    @property
    def key(self) -> Key:
        """What the entry is about."""
        return (self.kind, self.what, self.which, self.item, self.reading)


_COLUMNS: Final = tuple(own.name for own in fields(Entry))
_CELLS: Final = attrgetter(*_COLUMNS)  # dataclasses.astuple copies each text, ten times slower


@dataclass(frozen=True, eq=False, repr=False)
class KeptEntries(ShowsItself):
    """Everything that was accepted, in the order of time.

    Attributes
    ----------
    entries : tuple of Entry
    files : int
        Number of files of entries.
    seal : str
        SHA-256 that the next file of entries begins with.
    """

    entries: tuple[Entry, ...]
    files: int
    seal: str = _START

    @property
    def current(self) -> dict[Key, Entry]:
        """Last entry about each reading and deviation, without those that are gone."""
        last = {own.key: own for own in self.entries if own.kind != "file"}
        return {key: own for key, own in last.items() if own.value}

    @property
    def raw_files(self) -> frozenset[tuple[str, str]]:
        """Name and SHA-256 of each file that was kept."""
        return frozenset((own.file, own.sha256) for own in self.entries if own.kind == "file")

    def to_frame(self) -> pd.DataFrame:
        """Return every entry, also those that a later one replaces."""
        import pandas as pd

        return pd.DataFrame(map(_CELLS, self.entries), columns=list(_COLUMNS))

    def summary(self) -> str:
        """Say in words how much was accepted."""
        if not self.entries:
            return "Nothing was accepted yet."
        kinds = [own.kind for own in self.current.values()]
        changed = sum(bool(own.reason) for own in self.entries)
        return (
            f"Accepted until {self.entries[-1].time}: {kinds.count('reading')} readings, "
            f"{kinds.count('deviation')} deviations, {len(self.raw_files)} files kept; "
            f"{changed} entries with a reason."
        )

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Entries": self.to_frame()}

    def __repr__(self) -> str:
        return f"<KeptEntries: {self.summary()}>"


def kept_entries(folder: str | Path) -> KeptEntries:
    """Read what was accepted of a folder of records.

    Parameters
    ----------
    folder : str or Path
        Folder of the records.

    Raises
    ------
    RecordError
        If a file of entries, or a kept file, is not as it was written.
    """
    place = Path(folder) / FOLDER
    entries: list[Entry] = []
    problems: list[Problem] = []
    seal, number = _START, 0
    for path in sorted(place.glob("entries_*.csv")):
        number += 1
        if path.name != _name(number):
            problems.append(_damage(place / _name(number), "is missing"))
            break
        found = _opened(path.read_bytes(), seal)
        if found is None:
            problems.append(_damage(path, "is not as it was written"))
            break
        own, seal = found
        entries += own
    problems += _raw_problems(place, entries)
    if problems:
        raise RecordError(problems)
    return KeptEntries(tuple(entries), number, seal)


def append_entries(
    folder: str | Path, kept: KeptEntries, entries: Sequence[Entry], raw: Iterable[bytes] = ()
) -> Path:
    """Add entries after those that are kept; nothing that is there is changed.

    Parameters
    ----------
    folder : str or Path
        Folder of the records.
    kept : KeptEntries
        What is there, from `kept_entries`.
    entries : sequence of Entry
    raw : iterable of bytes
        Contents of the files that the entries of kind ``file`` name.

    Returns
    -------
    Path
        The new file of entries.

    Raises
    ------
    RecordError
        If other entries were added since `kept` was read.
    """
    place = Path(folder) / FOLDER
    (place / _RAW).mkdir(parents=True, exist_ok=True)
    contents = {hashlib.sha256(data).hexdigest(): data for data in raw}
    for own in entries:
        if own.kind == "file":
            path = _raw_path(place, own)
            if not path.exists():  # the raw files first: entries must not name what is not there
                write_new_bytes(path, contents[own.sha256])
    path = place / _name(kept.files + 1)
    try:
        return write_new_bytes(path, _sealed(entries, kept.seal))
    except FileExistsError:
        wrong = "was written by another program a moment ago"
        raise RecordError(
            Problem(str(path), wrong, "Check and accept the records again.")
        ) from None


def _name(number: int) -> str:
    return f"entries_{number:04d}.csv"


def _raw_path(place: Path, entry: Entry) -> Path:
    return place / _RAW / f"{entry.sha256[:12]}_{entry.file}"


def _sealed(entries: Sequence[Entry], seal: str) -> bytes:
    text = io.StringIO()
    text.write(f"{_AFTER}{seal}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(_COLUMNS)
    writer.writerows(map(_CELLS, entries))
    body = text.getvalue().encode("utf-8")
    return body + f"{_SEAL}{hashlib.sha256(body).hexdigest()}\n".encode()


def _opened(data: bytes, after: str) -> tuple[list[Entry], str] | None:
    """Entries of a file and its seal; None if it was changed or does not follow `after`."""
    body, mark, end = data.rpartition(_SEAL.encode())
    seal = hashlib.sha256(body).hexdigest()
    if not mark or end != f"{seal}\n".encode():
        return None
    first, _, rest = body.decode("utf-8").partition("\n")
    if first != f"{_AFTER}{after}":
        return None
    rows = list(csv.reader(io.StringIO(rest, newline="")))[1:]
    return [Entry(*row) for row in rows], seal


def _raw_problems(place: Path, entries: Sequence[Entry]) -> list[Problem]:
    problems = []
    for own in entries:
        if own.kind == "file":
            if path_fault(own.file) or "/" in own.file or not _DIGEST.fullmatch(own.sha256):
                problems.append(_damage(place, f"names a file '{own.file:.80}' outside it"))
                continue
            path = _raw_path(place, own)
            if not path.exists():
                problems.append(_damage(path, "is missing"))
            elif hashlib.sha256(path.read_bytes()).hexdigest() != own.sha256:
                problems.append(_damage(path, "is not as it was kept"))
    return problems


def _damage(path: Path, wrong: str) -> Problem:
    return Problem(str(path), wrong, "Put it back from a copy; nothing is accepted before that.")
