"""Entry of readings in plain code: what the form for entry does, and only that.

What is accepted is written at once into a file of the form's own in the folder of the records, and
read by `read_records` like any other file. A file that somebody else made or changed is never
written again: the next row begins a new one.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from quenchbook.errors import Problem, RecordError, StudyError
from quenchbook.plan.entry_tables import (
    CORRECTION_COLUMNS,
    DEVIATION_COLUMNS,
    reading_columns,
    response_stem,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.headers import columns_of_readings, table_kind
from quenchbook.records.labels import Labels
from quenchbook.records.measurements import Measurements, measurements
from quenchbook.records.reading import records_from_tables
from quenchbook.records.tables import Table, table_of, tables_in
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Response, Study
from quenchbook.study.mistakes import nearest
from quenchbook.units import is_energy, unit_ending
from quenchbook.writing import write_bytes, write_new_bytes

ENERGY_UNITS = ("J", "ft lbf")
_FORM = "this form"
_COMMA = re.compile(r"(?<=\d),(?=\d)")

Cells = tuple[str, ...]


@dataclass
class _OwnFile:
    """A file that this book writes: its rows so far, and the bytes that must still be in it."""

    columns: Cells
    rows: list[Cells] = field(default_factory=list)
    path: Path | None = None
    data: bytes = b""


@dataclass(eq=False, repr=False)
class EntryBook(ShowsItself):
    """Entries into the records of a study, each checked and kept at once.

    Attributes
    ----------
    folder : Path
        Folder of the records.
    matrix : CouponMatrix
    """

    folder: Path
    matrix: CouponMatrix
    _files: dict[str, _OwnFile] = field(default_factory=dict)

    @property
    def study(self) -> Study:
        """The study of the plan."""
        return self.matrix.study

    def response(self, name: str) -> Response:
        """Response of this name, with or without its unit: ``hardness``."""
        for own in self.study.responses:
            if name in (own.name, response_stem(own)):
                return own
        names = [own.name for own in self.study.responses]
        raise StudyError(Problem(name, "is no response of this study", nearest(name, names)))

    def units(self, response: str) -> Cells:
        """Units that readings can be entered in, that of the study first."""
        unit = self.response(response).unit
        others = ENERGY_UNITS if is_energy(unit) else ()
        return (unit, *(own for own in others if unit_ending(own) != unit_ending(unit)))

    def readings(self, response: str) -> Cells:
        """Words for the readings of one coupon: ``indent 1`` to ``indent 5``."""
        own = self.response(response)
        word = "indent" if own.kind == "hardness" else "reading"
        if own.readings == 1:
            return (own.quantity,)
        return tuple(f"{word} {number}" for number in range(1, own.readings + 1))

    def coupons(self, response: str) -> pd.DataFrame:
        """Return the coupons of a response in the order of the tester's sheet.

        Returns
        -------
        DataFrame
            ``order, coupon, read``: place on the sheet, code, readings that are there already.
        """
        own = self.response(response)
        order, frame = f"{own.name}_order", self.matrix.frame
        tested = frame[frame[order].notna()].sort_values(order)
        found = self._measured(self._tables()[0])
        counts = pd.Series([key[1] for key in found.readings if key[0] == own.name], dtype=object)
        read = tested["coupon"].map(counts.value_counts()).fillna(0)
        return pd.DataFrame(
            {
                "order": tested[order].astype(int).to_numpy(),
                "coupon": tested["coupon"].astype(str).to_numpy(),
                "read": read.astype(int).to_numpy(),
            }
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the coupons of all responses: ``response, order, coupon, read``."""
        parts = [
            self.coupons(own.name).assign(response=own.name)[
                ["response", "order", "coupon", "read"]
            ]
            for own in self.study.responses
        ]
        return pd.concat(parts, ignore_index=True)

    def next_coupon(self, response: str) -> str:
        """Code of the first coupon of the sheet without a reading; empty if all have some."""
        frame = self.coupons(response)
        left = frame.loc[(frame["read"] == 0) & ~frame["coupon"].isin(self._lost()), "coupon"]
        return str(left.iloc[0]) if len(left) else ""

    def reading_problems(
        self, response: str, readings: Sequence[str], *, unit: str = "", coupon: str = ""
    ) -> dict[int, Problem]:
        """What the reader of records says against readings, by their place from 0.

        Parameters
        ----------
        response : str
        readings : sequence of str
            As typed; empty ones are left out.
        unit : str
            Of bare numbers; that of the study when left out.
        coupon : str
            Code, for the message.
        """
        columns = self._reading_columns(response, unit)
        code = coupon or str(self.matrix.frame["coupon"].iloc[0])
        problems: dict[int, Problem] = {}
        for place, text in enumerate(readings):
            if not text.strip():
                continue
            header, row = ("coupon", columns[place]), (code, _pointed(text))
            found = self._measured([_table("form", header, [row])])
            own = [p for p in found.problems if p.column == columns[place]]
            if own:
                problems[place] = Problem("", own[0].problem, own[0].remedy)
        return problems

    def enter(
        self,
        response: str,
        coupon: str,
        readings: Sequence[str],
        *,
        unit: str = "",
        note: str = "",
        with_blanks: bool = False,
    ) -> Path:
        """Check the readings of one coupon and keep them.

        Parameters
        ----------
        response : str
            Such as ``hardness``.
        coupon : str
            Code on the coupon.
        readings : sequence of str
            As typed, one for each indent; blank ones count as not there.
        unit : str
            Of bare numbers; that of the study when left out.
        note : str
        with_blanks : bool
            Accept fewer readings than planned.

        Returns
        -------
        Path
            The file they stand in now.

        Raises
        ------
        RecordError
            If a reading cannot be, the label is not in the plan, the coupon was read already, or
            readings are missing; nothing is written then.
        """
        own, texts = self.response(response), [_pointed(text) for text in readings]
        filled = sum(1 for text in texts if text)
        if not filled or (filled < own.readings and not with_blanks):
            words = self.readings(response)
            blank = ", ".join(
                words[place] for place in range(own.readings)
                if place >= len(texts) or not texts[place]
            )  # fmt: skip
            raise RecordError(
                Problem(
                    f"coupon {coupon}",
                    f"{blank} not filled in, {own.readings} planned",
                    "Type the rest, or say that it is to be taken with blanks."
                    if filled
                    else "Type the readings.",
                )
            )
        code = Labels(self.matrix).coupon(coupon) or coupon.strip()
        order = self.matrix.frame.set_index("coupon")[f"{own.name}_order"].get(code)
        place = str(int(order)) if order is not None and order == order else ""
        columns = ("order", "coupon", *self._reading_columns(response, unit), "note")
        row = (place, code, *texts, note.strip())
        stem = response_stem(own)
        ending = unit_ending(unit) if unit and unit_ending(unit) != unit_ending(own.unit) else ""
        return self._keep(f"{stem}_{ending}" if ending else stem, columns, row)

    def deviate(self, what: str, which: str, item: str, actual: str = "", note: str = "") -> Path:
        """Check and keep something that went differently.

        Parameters
        ----------
        what : str
            Unit: ``coupon``, ``furnace_load``, ``cold_batch``, ``temper_batch``.
        which : str
            Its label.
        item : str
            ``lost``, ``note``, a factor, or the load or batch that a coupon came into.
        actual : str
            What was really run, with its unit (``85 min``, ``1850 degF``); why it was lost.
        note : str
        """
        row = tuple(text.strip() for text in (what, which, item, actual, note))
        return self._keep("deviations", DEVIATION_COLUMNS, row)

    def correct(self, file: str, row: int, column: str, corrected: str, reason: str) -> Path:
        """Keep a correction of one cell of the records; the cell itself stays as it was written.

        Parameters
        ----------
        file : str
            Name of the file in the records.
        row : int
            Row as a spreadsheet shows it.
        column : str
        corrected : str
            What it should say.
        reason : str
        """
        found = self.cell(file, row, column)
        own = corrected.strip() if column == "coupon" else _pointed(corrected)
        table = self._table_named(file)
        if column != "coupon" and table is not None and table.decimal == ",":
            own = own.replace(".", ",")
        cells = (file, str(row), column, found, own, reason.strip())
        return self._keep("corrections", CORRECTION_COLUMNS, cells)

    def cell(self, file: str, row: int, column: str) -> str:
        """Text of a cell of the records, as it was written."""
        table = self._table_named(file)
        for own in table.rows if table is not None else ():
            if own.number == row and column in own.cells:
                return own.text(column)
        raise RecordError(
            Problem(f"{file} row {row}", f"there is no column {column} there", "Look at the file.")
        )

    def cells_of(self, label: str) -> list[tuple[str, int, str]]:
        """Cells that may be corrected for a label: file, row and column of each.

        Parameters
        ----------
        label : str
            Code as it stands in the records, right or misread.
        """
        found = []
        for table in self._tables()[0]:
            if table_kind(table) != "readings":
                continue
            names = [own.name for own in columns_of_readings(table, self.study)[0]]
            for row in table.rows:
                if row.text("coupon").strip().upper() == label.strip().upper():
                    found += [(table.name, row.number, name) for name in ("coupon", *names)]
        return found

    def summary(self) -> str:
        """Say how many coupons have readings, and which files this book wrote."""
        lines = []
        for own in self.study.responses:
            frame = self.coupons(own.name)
            done, word = int((frame["read"] > 0).sum()), self.study.unit_word("coupon", 2)
            lines.append(f"{own.quantity}: {done} of {len(frame)} {word} have readings.")
        names = [file.path.name for file in self._files.values() if file.path is not None]
        if names:
            lines.append(f"Entered here: {', '.join(names)}.")
        return "\n".join(line[:1].upper() + line[1:] for line in lines)

    def __repr__(self) -> str:
        return f"<EntryBook of {self.study.key}: {self.folder}>"

    # --- the folder ---------------------------------------------------------------------------

    def _tables(self) -> tuple[list[Table], list[Problem]]:
        if not self.folder.is_dir():
            return [], []
        tables, problems, _ = tables_in(self.folder)
        return tables, problems

    def _table_named(self, file: str) -> Table | None:
        return next((own for own in self._tables()[0] if own.name == file), None)

    def _measured(self, tables: Sequence[Table]) -> Measurements:
        own = [table for table in tables if table_kind(table) == "readings"]
        return measurements(own, self.study, Labels(self.matrix))

    def _lost(self) -> set[str]:
        """Coupons that are said to be lost, as far as that can be read."""
        rows = [row for t in self._tables()[0] if table_kind(t) == "deviations" for row in t.rows]
        return {row.text("which").upper() for row in rows if row.text("item").lower() == "lost"}

    def _reading_columns(self, response: str, unit: str) -> Cells:
        """Columns of a response; of another unit with its letters: ``impact_ftlbf``."""
        own = self.response(response)
        columns = reading_columns(own)
        if not unit or unit_ending(unit) == unit_ending(own.unit):
            return columns
        if unit not in self.units(response):
            known = ", ".join(self.units(response))
            raise RecordError(
                Problem(own.quantity, f"is not entered in {unit}", f"Known: {known}.")
            )
        stem = response_stem(own)
        return tuple(f"{stem}_{unit_ending(unit)}{name[len(own.name) :]}" for name in columns)

    # --- writing ------------------------------------------------------------------------------

    def _keep(self, kind: str, columns: Cells, row: Cells) -> Path:
        """Write one more row, if the readers of records have nothing against it."""
        own = self._files.get(kind)
        if own is None or own.columns != columns or not _is_as_written(own):
            own = _OwnFile(columns)
        rows = [*own.rows, row]
        data = _csv_bytes(self.matrix.plan_hash, columns, rows)
        self._check(own.path.name if own.path is not None else "", columns, rows)
        if own.path is not None:
            path = write_bytes(own.path, data)
        else:
            self.folder.mkdir(parents=True, exist_ok=True)
            path = self._new_file(kind, data)
        self._files[kind] = _OwnFile(columns, rows, path, data)
        return path

    def _new_file(self, kind: str, data: bytes) -> Path:
        number = 1
        while True:
            try:
                return write_new_bytes(self.folder / f"{kind}_entered_{number}.csv", data)
            except FileExistsError:
                number += 1

    def _check(self, name: str, columns: Cells, rows: Sequence[Cells]) -> None:
        """Raise what is wrong with the records only since the new row.

        `name` is the file that the rows replace; empty for a new one.
        """
        tables, wrong = self._tables()
        before = {_unnamed(own) for own in self._problems(tables, wrong)}
        new = _table(name or _FORM, columns, rows, self.matrix.plan_hash)
        others = [table for table in tables if table.name != name]
        after = [
            _in_words(own, new.name)
            for own in self._problems([*others, new], wrong)
            if _unnamed(own) not in before
        ]
        if after:
            raise RecordError(after)

    def _problems(self, tables: Sequence[Table], wrong: Sequence[Problem]) -> tuple[Problem, ...]:
        try:
            records_from_tables(tables, self.matrix, wrong)
        except RecordError as error:
            return error.problems
        return ()


def entry_book(folder: str | Path) -> EntryBook:
    """Open the records of a study for entry; nothing is written before the first entry.

    Parameters
    ----------
    folder : str or Path
        Study folder with a plan.

    Returns
    -------
    EntryBook

    Raises
    ------
    PlanError
        If no plan is kept yet: readings belong to codes of a plan.

    Examples
    --------
    >>> from quenchbook.study_folder import resource
    >>> print(entry_book(resource("data", "two_lots")))
    Hardness: 40 of 40 coupons have readings.
    """
    from quenchbook.study_folder import plan_of

    return EntryBook(Path(folder) / "records", plan_of(folder))


def _pointed(text: str) -> str:
    """Number with a decimal point, whatever was typed."""
    plain = text.strip()
    return _COMMA.sub(".", plain) if plain.count(",") == 1 and "." not in plain else plain


def _is_as_written(own: _OwnFile) -> bool:
    """Whether a file still holds what was written; else it belongs to somebody else now."""
    try:
        return own.path is not None and own.path.read_bytes() == own.data
    except OSError:
        return False


def _csv_bytes(plan_hash: str, columns: Cells, rows: Sequence[Cells]) -> bytes:
    text = io.StringIO()
    text.write(f"# plan {plan_hash}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return text.getvalue().encode("utf-8")


def _table(name: str, columns: Cells, rows: Sequence[Cells], plan_hash: str = "") -> Table:
    """Table as the reader of records would find it in a file."""
    from quenchbook.records.grids import Grid, Line

    lines = [(f"# plan {plan_hash}",)] if plan_hash else []
    grid = Grid(
        name,
        tuple(Line(n, tuple(cells)) for n, cells in enumerate([*lines, columns, *rows], start=1)),
        ",",
    )
    table, problems = table_of(grid)
    if table is None or problems:
        raise RecordError([_in_words(own) for own in problems] or "nothing to enter")
    return table


def _unnamed(problem: Problem) -> tuple[str, str]:
    """Problem without its place: a row may have moved from one file to another."""
    return problem.problem, problem.remedy


def _in_words(problem: Problem, name: str = _FORM) -> Problem:
    """Problem as a form says it: it has no rows and no columns, and its corrections are made here.

    `name` is the table of the form itself.
    """
    where = re.sub(rf"^{re.escape(name)} row \d+(, )?", "", problem.where)
    remedy = problem.remedy.replace(" in the column actual", "")
    if "add a row to corrections.csv" in remedy:
        remedy = remedy.partition("add a row")[0] + "choose that code, and say so in the note."
    if "already read" in problem.problem:
        remedy = "Choose another coupon, or correct what was entered."
    return Problem(where, problem.problem, remedy, problem.column)
