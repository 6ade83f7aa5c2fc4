"""Records of the studies of a library, read when they are asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, RecordError
from quenchbook.own_studies.contents import content_digest
from quenchbook.own_studies.entries import StudyEntry
from quenchbook.study_folder import read_folder

if TYPE_CHECKING:
    from quenchbook.records.reading import Records

_MOST_KEPT: Final = 8  # studies in memory at once; hundreds need not be


class StudyRecords(Mapping[str, "Records"]):
    """Records by the key of the study; each is read from its folder when it is asked for.

    Parameters
    ----------
    entries : mapping of key to StudyEntry
    places : mapping of folder name to Path
    """

    def __init__(self, entries: Mapping[str, StudyEntry], places: Mapping[str, Path]) -> None:
        self._entries = dict(entries)
        self._places = places
        self._last: dict[str, Records] = {}

    def __getitem__(self, key: str) -> Records:
        if key in self._last:
            return self._last[key]
        entry = self._entries[key]
        records = unchanged_records(self._places[entry.folder], entry.digest)
        while len(self._last) >= _MOST_KEPT:
            del self._last[next(iter(self._last))]
        self._last[key] = records
        return records

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __contains__(self, key: object) -> bool:
        return key in self._entries

    def only(self, keys: set[str]) -> StudyRecords:
        """Records of some of the studies."""
        entries = {key: entry for key, entry in self._entries.items() if key in keys}
        return StudyRecords(entries, self._places)


def unchanged_records(place: Path, digest: str) -> Records:
    """Records of a study folder that still holds what its digest was made of.

    Raises
    ------
    RecordError
        If the folder was changed since.
    """
    if content_digest(place) != digest:
        raise RecordError(
            Problem(
                str(place),
                "was changed after the library was read",
                "Read the library again: qb.read_studies(FOLDER).",
            )
        )
    return read_folder(place)[2]
