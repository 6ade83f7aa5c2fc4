"""Files of a form for entry: written whole, added to row by row, never over what others wrote."""

from __future__ import annotations

import csv
import io
import unicodedata
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from quenchbook.errors import Problem, RecordError
from quenchbook.forms.entry_wording import FORM, in_form_words, without_place
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.grids import text_grid
from quenchbook.records.reading import records_from_tables
from quenchbook.records.tables import Table, table_of, tables_in
from quenchbook.writing import write_if_unchanged, write_new_bytes

Cells = tuple[str, ...]

MOST_CHARACTERS: Final = 2000  # of a cell: the reader of CSV ends at 131072, a table long before
_UNWRITABLE: Final = ("Cc", "Cs", "Zl", "Zp")  # control characters, half characters, line ends


@dataclass
class OwnFile:
    """A file that a form writes: its rows so far, and the bytes that must still be in it."""

    columns: Cells
    rows: list[Cells] = field(default_factory=list)
    path: Path | None = None
    data: bytes = b""

    @property
    def is_as_written(self) -> bool:
        """Whether the file still holds what was written; else it belongs to somebody else now."""
        try:
            return self.path is not None and self.path.read_bytes() == self.data
        except OSError:
            return False


@dataclass(eq=False)
class OwnFiles:
    """Files of one form in the folder of the records.

    Attributes
    ----------
    folder : Path
    matrix : CouponMatrix
    """

    folder: Path
    matrix: CouponMatrix
    _files: dict[str, OwnFile] = field(default_factory=dict)

    def tables(self) -> tuple[list[Table], list[Problem]]:
        """Every table of the folder as it is now, and what is wrong with the files."""
        if not self.folder.is_dir():
            return [], []
        tables, problems, _ = tables_in(self.folder)
        return tables, problems

    def names(self) -> list[str]:
        """Names of the files written so far."""
        return [own.path.name for own in self._files.values() if own.path is not None]

    def keep(self, kind: str, columns: Cells, row: Cells) -> Path:
        """Write one more row, if the readers of records have nothing against it.

        Parameters
        ----------
        kind : str
            Stem of the file name, such as ``hardness``.
        columns, row : tuple of str

        Returns
        -------
        Path
            The file that the row stands in.

        Raises
        ------
        RecordError
            If the row, or the file with it, would not be read as it was typed; nothing is written.
        """
        check_writable(columns, row)
        check_folder(self.folder)
        while True:
            own = self._files.get(kind)
            if own is None or own.columns != columns or not own.is_as_written:
                own = OwnFile(columns)
            rows = [*own.rows, row]
            data = _csv_bytes(self.matrix.plan_hash, columns, rows)
            self._check(own.path.name if own.path is not None else "", data, columns, rows)
            path = self._written(kind, own, data)
            if path is not None:
                self._files[kind] = OwnFile(columns, rows, path, data)
                return path
            # somebody changed the file during the check: it is theirs now, and a new one is begun

    def _written(self, kind: str, own: OwnFile, data: bytes) -> Path | None:
        """The file with these bytes; None if it is no longer the form's own."""
        if own.path is not None:
            return own.path if write_if_unchanged(own.path, data, before=own.data) else None
        self.folder.mkdir(parents=True, exist_ok=True)
        number = 1
        while True:
            try:
                return write_new_bytes(self.folder / f"{kind}_entered_{number}.csv", data)
            except FileExistsError:
                number += 1

    def _check(self, name: str, data: bytes, columns: Cells, rows: Sequence[Cells]) -> None:
        """Raise what is wrong with the records only since the new row.

        `name` is the file that the bytes replace; empty for a new one.
        """
        tables, wrong = self.tables()
        # counted: a second row with a mistake that is there already is a new mistake
        before = Counter(map(without_place, self._problems(tables, wrong)))
        new = _read_back(name or FORM, data, columns, rows)
        others = [table for table in tables if table.name != name]
        after = []
        for own in self._problems([*others, new], wrong):
            if before[without_place(own)]:
                before[without_place(own)] -= 1
            else:
                after.append(in_form_words(own, new.name))
        if after:
            raise RecordError(after)

    def _problems(self, tables: Sequence[Table], wrong: Sequence[Problem]) -> tuple[Problem, ...]:
        try:
            records_from_tables(tables, self.matrix, wrong)
        except RecordError as error:
            return error.problems
        return ()


def check_folder(folder: Path) -> None:
    """Raise `RecordError` if records would be written outside of the study, or into no folder."""
    remedy = "Put the folder itself there."
    try:
        inside = folder.resolve().is_relative_to(folder.parent.resolve())
    except (OSError, RuntimeError):  # a circle of links
        inside = False
    if folder.is_symlink() and not (inside and folder.is_dir()):
        wrong = "is a link that leads out of the study folder" if folder.is_dir() else (
            "is a link that leads to no folder"
        )  # fmt: skip
        raise RecordError(Problem(str(folder), wrong, remedy))
    if folder.exists() and not folder.is_dir():
        raise RecordError(Problem(str(folder), "is no folder", remedy))


def check_writable(columns: Cells, row: Cells) -> None:
    """Raise `RecordError` for a cell that no table can hold, whatever its column means."""
    problems = []
    for column, text in zip(columns, row, strict=True):
        if column == "found":  # copied from a file that was read
            continue
        bad = next((c for c in text if unicodedata.category(c) in _UNWRITABLE), "")
        if bad:
            found = f"{column} has the character U+{ord(bad):04X}, which no table can hold"
            problems.append(Problem("", found, "Type the words again, on one line.", column))
        elif len(text) > MOST_CHARACTERS:
            found = f"{column} has {len(text)} characters, expected at most {MOST_CHARACTERS}"
            problems.append(Problem("", found, "Keep the long text in a file of its own.", column))
    if problems:
        raise RecordError(problems)


def form_table(columns: Cells, rows: Sequence[Cells]) -> Table:
    """Table as the reader of records finds it in a file with these rows.

    Raises
    ------
    RecordError
        If it would not be read so.
    """
    for row in rows:
        check_writable(columns, row)
    return _read_back(FORM, _csv_bytes("", columns, rows), columns, rows)


def _csv_bytes(plan_hash: str, columns: Cells, rows: Sequence[Cells]) -> bytes:
    text = io.StringIO()
    if plan_hash:
        text.write(f"# plan {plan_hash}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def _read_back(name: str, data: bytes, columns: Cells, rows: Sequence[Cells]) -> Table:
    """Table that the reader of records makes of the bytes; raises if a row of it is another."""
    grids, problems = text_grid(name, data)
    table: Table | None = None
    if grids:
        table, wrong = table_of(grids[0])
        problems = [*problems, *wrong]
    if problems:
        raise RecordError([in_form_words(own, name) for own in problems])
    wanted = [dict(zip(columns, (cell.strip() for cell in row), strict=True)) for row in rows]
    if table is None or [dict(own.cells) for own in table.rows] != wanted:
        raise RecordError(
            Problem(
                "",
                "the row would not be read again as it was typed",
                "Begin it with another character than #.",
            )
        )
    return table
