"""Records that were checked are accepted: kept for good, and compared with ever after."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from quenchbook.errors import Problem, RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.kept_entries import (
    Entry,
    KeptEntries,
    Key,
    append_entries,
    kept_entries,
)
from quenchbook.records.reading import Records, read_records
from quenchbook.records.tables import table_files
from quenchbook.shown import ShowsItself

_SHOWN = ("kind", "what", "which", "item", "reading", "before", "after", "reason", "file", "row")


@dataclass(frozen=True, eq=False, repr=False)
class RecordChanges(ShowsItself):
    """What the records of a folder say that was not accepted yet.

    Attributes
    ----------
    new : tuple of Entry
        Entries that are not kept yet.
    changed : tuple of (Entry, Entry)
        What was accepted, and what the records say now; an empty value: nothing any more.
    files : tuple of Entry
        Files that are not kept yet with these bytes.
    """

    new: tuple[Entry, ...]
    changed: tuple[tuple[Entry, Entry], ...]
    files: tuple[Entry, ...]

    @property
    def unexplained(self) -> tuple[tuple[Entry, Entry], ...]:
        """Changes that no correction gives a reason for."""
        return tuple((before, now) for before, now in self.changed if not now.reason)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each new or changed entry, with what it was before."""
        pairs = [*((replace(own, value=""), own) for own in self.new), *self.changed]
        rows = [
            (own.kind, own.what, own.which, own.item, own.reading, old.value, own.value,
             own.reason, own.file, own.row)
            for old, own in pairs
        ]  # fmt: skip
        return pd.DataFrame(rows, columns=list(_SHOWN))

    def summary(self) -> str:
        """Say in words what is new and what was changed."""
        return self._said("Since it was accepted")

    def accepted(self) -> str:
        """Say the same after it was accepted."""
        return self._said("Accepted")

    def _said(self, head: str) -> str:
        if not self.new and not self.changed and not self.files:
            return "Everything in these records was accepted before."
        kinds = [own.kind for own in self.new]
        counts = ((kinds.count(kind), kind) for kind in ("reading", "deviation"))
        words = [f"{n} {kind}{'s' if n != 1 else ''}" for n, kind in (*counts, *self._more())]
        lines = [f"{head}: {', '.join(words)}."]
        lines += [
            f"{_place(before)}: {_difference(before, now)}. "
            + (f"Reason: {now.reason}." if now.reason else "No reason is told.")
            for before, now in self.changed
        ]
        return "\n".join(lines)

    def _more(self) -> tuple[tuple[int, str], ...]:
        return ((len(self.changed), "change"), (len(self.files), "file"))

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Entries": self.to_frame()}

    def __repr__(self) -> str:
        return f"<RecordChanges: {len(self.new)} new, {len(self.changed)} changed>"


def record_changes(folder: str | Path, records: Records) -> RecordChanges:
    """Compare the records of a folder with what was accepted of it.

    Parameters
    ----------
    folder : str or Path
        Folder of the records.
    records : Records
        What `read_records` reads there.
    """
    return _changes(records, kept_entries(folder), _raw(Path(folder)))


def accept_records(folder: str | Path, matrix: CouponMatrix, *, reason: str = "") -> RecordChanges:
    """Keep the records of a folder for good: entries, and the files they came from.

    `read_records` stays the reader: it reads the files of the folder as they are now, and every
    analysis starts from it. Accepting keeps what it read, so that a file that is changed later, by
    a slip or on purpose, is noticed and asked about. Accepting again adds only what is new.

    Parameters
    ----------
    folder : str or Path
        Folder of the records; the entries go into ``kept`` in it, see
        `quenchbook.records.kept_entries`.
    matrix : CouponMatrix
        The plan.
    reason : str
        Why something accepted is different now. Rows of ``corrections.csv`` tell their own reason.

    Returns
    -------
    RecordChanges
        What was added.

    Raises
    ------
    RecordError
        If the records have mistakes, or differ from what was accepted without a reason; then
        nothing is kept.
    """
    raw = _raw(Path(folder))
    records = read_records(folder, matrix)
    if _raw(Path(folder)) != raw:
        wrong = "a file was changed while it was read"
        raise RecordError(Problem(str(folder), wrong, "Save all files, then accept again."))
    kept = kept_entries(folder)
    changes = _changes(records, kept, raw)
    if changes.unexplained and not reason.strip():
        raise RecordError([_question(before, now) for before, now in changes.unexplained])
    told = tuple(
        (before, replace(now, reason=now.reason or reason.strip()))
        for before, now in changes.changed
    )
    entries = (*changes.files, *changes.new, *(now for _, now in told))
    if entries:
        append_entries(folder, kept, entries, raw.values())
    return replace(changes, changed=told)


def _changes(records: Records, kept: KeptEntries, raw: Mapping[str, bytes]) -> RecordChanges:
    time = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    sums = {name: hashlib.sha256(data).hexdigest() for name, data in raw.items()}
    now, before = _entries(records, sums, time), kept.current
    reasons = _reasons(records)
    known = {name for name, own in sums.items() if (name, own) in kept.raw_files}
    new, changed = [], []
    for key, entry in now.items():
        old, why = before.get(key), reasons.get((entry.file, entry.row), "")
        if old is None:
            new.append(replace(entry, reason=why) if why else entry)
        elif (old.value, old.unit) != (entry.value, entry.unit):
            # a correction explains a change only in a file that is as it was accepted
            same_file = _file(entry) in known
            changed.append((old, replace(entry, reason=why if same_file else "")))
    for key, old in before.items():
        if key not in now:
            why = reasons.get((old.file, old.row), "") if _file(old) in known else ""
            gone = replace(old, time=time, value="", reason=why, sha256=sums.get(_file(old), ""))
            changed.append((old, gone))
    blank = {"what": "", "which": "", "item": "", "reading": "", "unit": "", "reason": ""}
    files = [
        Entry(time=time, kind="file", value=name, file=name, row="", sha256=own, **blank)
        for name, own in sums.items()
        if name not in known
    ]
    return RecordChanges(tuple(new), tuple(changed), tuple(files))


def _entries(records: Records, sums: Mapping[str, str], time: str) -> dict[Key, Entry]:
    """Entries of all readings and deviations; numbers with all their digits."""
    units = {response.name: response.unit for response in records.study.responses}
    found = []
    columns = ("response", "coupon", "reading", "value", "file", "row")
    for name, coupon, reading, value, file, row in zip(
        *(records.readings[column].tolist() for column in columns), strict=True
    ):
        own = ("reading", "coupon", coupon, name, str(reading), repr(value), units[name])
        found.append(Entry(time, *own, "", file, str(row), sums[_table_file(file)]))
    told = ("what", "which", "item", "actual", "unit", "note", "file", "row")
    for what, which, item, actual, unit, note, file, row in zip(
        *(records.deviations[column].tolist() for column in told), strict=True
    ):
        words = "; ".join(_text(part) for part in (actual, note) if _text(part))
        value, number = (_text(actual) or words, "") if item != "note" else (words, words)
        own = ("deviation", what, which, item, number, value, unit)
        found.append(Entry(time, *own, "", file, str(row), sums[_table_file(file)]))
    return {entry.key: entry for entry in found}


def _reasons(records: Records) -> dict[tuple[str, str], str]:
    """Reasons of the corrections of each row."""
    found: dict[tuple[str, str], list[str]] = {}
    for own in records.corrections.to_dict("records"):
        found.setdefault((str(own["file"]), str(own["row"])), []).append(str(own["reason"]))
    return {place: "; ".join(dict.fromkeys(words)) for place, words in found.items()}


def _raw(folder: Path) -> dict[str, bytes]:
    if not folder.is_dir():
        return {}  # told by the reader
    return {path.name: path.read_bytes() for path in table_files(folder)}


def _table_file(table: str) -> str:
    return table.partition(", sheet ")[0]


def _file(entry: Entry) -> str:
    return _table_file(entry.file)


def _text(value: object) -> str:
    return "" if value is None or value != value else str(value)


def _place(entry: Entry) -> str:
    return f"{entry.file} row {entry.row}, {entry.what.replace('_', ' ')} {entry.which}"


def _difference(before: Entry, now: Entry) -> str:
    item = f"{before.item} reading {before.reading}" if before.kind == "reading" else before.item
    was = f"{before.value} {before.unit}".strip()
    if not now.value:
        return f"{item} was accepted as {was} and is not there any more"
    return f"{item} was accepted as {was} and is {f'{now.value} {now.unit}'.strip()} now"


def _question(before: Entry, now: Entry) -> Problem:
    remedy = (
        "If that is right, put the accepted file back and write a row into corrections.csv, or "
        "accept with a reason. If not, correct the file."
    )
    return Problem(_place(now if now.value else before), _difference(before, now), remedy)
