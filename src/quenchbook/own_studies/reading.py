"""Read a folder of study folders: what was kept of those that did not change, the others anew."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import StudyError
from quenchbook.own_studies.contents import content_digest
from quenchbook.own_studies.coupon_table import joined, study_rows, tidy_table
from quenchbook.own_studies.entries import StudyEntry, UnreadStudy
from quenchbook.own_studies.kept_tables import FOLDER, NO_PYARROW, KeptTables
from quenchbook.own_studies.noise import NoiseOfStudies, read_faults, reason_of
from quenchbook.own_studies.studies import OwnStudies
from quenchbook.own_studies.study_records import StudyRecords
from quenchbook.own_studies.workers import results_of
from quenchbook.study_folder import read_folder, study_folders

if TYPE_CHECKING:
    import pandas as pd

    Read = tuple[StudyEntry, "pd.DataFrame", bool] | str

_WORTH_SAYING: Final = 2.0  # seconds of reading that a kept table would have saved


def read_studies(
    folder: str | Path,
    *,
    cache: str | Path | bool = True,
    workers: int | None = None,
) -> OwnStudies:
    """Read every study in a folder of study folders.

    Parameters
    ----------
    folder : str or Path
    cache : bool, str or Path
        Where the table is kept until the next reading: True for the hidden folder
        ``.quenchbook`` in `folder`, a folder of your own, or False for nowhere. What is kept is
        used only for study folders that hold byte by byte what they held; it is numbers and texts
        (Parquet, with the extra ``library``; without it nothing is kept, which `notes` says) and
        executes nothing. Who can write into the library can change it as well as the
        records: of a library from a stranger delete ``.quenchbook``, or read with ``cache=False``.
    workers : int, optional
        Processes that read at once; by default as many as there are processors where more than
        some two dozen studies are to be read.

    Returns
    -------
    OwnStudies
        With every study that could not be read, and why.

    Raises
    ------
    StudyError
        If there is no study in the folder, or none can be read.

    Examples
    --------
    >>> from quenchbook.study_folder import resource
    >>> studies = read_studies(resource("data", "coated_bars"), cache=False)
    >>> studies.table["study"].unique().tolist()
    ['coated_bars']
    """
    started = time.monotonic()
    found = study_folders(folder)
    kept = KeptTables(_cache_folder(Path(folder), found, cache))
    before, old_rows = kept.studies() or ([], None)
    known = {(entry.folder, entry.digest): entry for entry in before}
    digests = [content_digest(place) for place in found]
    missing = [
        (place, digest)
        for place, digest in zip(found, digests, strict=True)
        if (place.name, digest) not in known
    ]
    read = dict(
        zip(
            (place.name for place, _ in missing),
            results_of(_read_one, missing, "studies", workers),
            strict=True,
        )
    )
    entries: list[StudyEntry] = []
    settled: list[StudyEntry] = []
    unread: list[UnreadStudy] = []
    parts: list[pd.DataFrame] = []
    for place, digest in zip(found, digests, strict=True):
        own = read.get(place.name)
        if isinstance(own, str):
            unread.append(UnreadStudy(place, own))
            continue
        if own is None:
            entries.append(known[place.name, digest])
            settled.append(entries[-1])
            continue
        entries.append(own[0])
        parts.append(own[1])
        settled += [own[0]] if own[2] else []
    if old_rows is not None:
        stale = set(read) & {entry.folder for entry in before}
        parts.append(old_rows[~old_rows["folder"].isin(stale)] if stale else old_rows)
    rows = joined(parts, entries)
    notes = []
    new = kept.folder is not None and not kept.folder.exists()
    if settled != before:
        names = {entry.folder for entry in settled}
        own_rows = rows if len(settled) == len(entries) else rows[rows["folder"].isin(names)]
        problem = kept.write_studies(settled, joined([own_rows], settled))
        if problem == NO_PYARROW:
            notes.append(f"{NO_PYARROW}: nothing is kept, and each reading takes as long as this.")
        elif new and not problem:
            notes.append(
                f"The table is kept in {kept.folder}, new in your folder: the next reading is "
                "faster. It can be deleted at any time."
            )
        elif problem and time.monotonic() - started > _WORTH_SAYING:
            notes.append(
                f"{problem}: nothing is kept, and each reading takes as long as this one. Name "
                "another place: read_studies(FOLDER, cache=PLACE)."
            )
    chosen = _with_own_keys(entries, dict(zip((p.name for p in found), found, strict=True)), unread)
    if not chosen:
        raise StudyError("\n".join(f"{own.folder.name}: {own.reason}" for own in unread))
    if len(chosen) < len(entries):
        rows = joined([rows], list(chosen.values()))
    places = {place.name: place for place in found}
    return OwnStudies(
        table=tidy_table(rows, list(chosen.values())),
        records=StudyRecords(chosen, places),
        entries=chosen,
        noise_of=NoiseOfStudies(places, kept, workers, {own.digest for own in entries}),
        unread=tuple(sorted(unread, key=lambda own: found.index(own.folder))),
        notes=tuple(notes),
        newly_read=len(missing),
    )


def _cache_folder(folder: Path, found: list[Path], cache: str | Path | bool) -> Path | None:
    if cache is True:
        return None if found == [folder] else folder / FOLDER
    if cache is False:
        return None
    place = Path(cache)
    if not place.is_dir():
        raise StudyError(f"{place}: there is no such folder to keep the table in. Make it first.")
    return place


def _read_one(work: tuple[Path, str]) -> Read:
    """Entry and rows of a study, and whether it stayed the same while it was read; or why not."""
    place, digest = work
    try:
        entry, rows = study_rows(read_folder(place)[2], place.name, digest)
    except read_faults() as error:
        return reason_of(error)
    return entry, rows, content_digest(place) == digest


def _with_own_keys(
    entries: list[StudyEntry], places: dict[str, Path], unread: list[UnreadStudy]
) -> dict[str, StudyEntry]:
    """Entries by their keys; a study with the key of another one is not read."""
    chosen: dict[str, StudyEntry] = {}
    for entry in entries:
        if entry.key in chosen:
            other = chosen[entry.key].folder
            reason = f"Its key '{entry.key}' is that of {other} too; give it its own."
            unread.append(UnreadStudy(places[entry.folder], reason))
        else:
            chosen[entry.key] = entry
    return chosen
