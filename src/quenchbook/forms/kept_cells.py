"""Cells of the records as they were written, for corrections beside them."""

from __future__ import annotations

from collections.abc import Sequence

from quenchbook.errors import Problem, RecordError
from quenchbook.records.headers import columns_of_readings, table_kind
from quenchbook.records.tables import Table
from quenchbook.study.definition import Study


def kept_cell(tables: Sequence[Table], file: str, row: int, column: str) -> tuple[str, str]:
    """Text of a cell, and the decimal mark of its table.

    Raises
    ------
    RecordError
        If there is no such cell.
    """
    for table in tables:
        for own in table.rows if table.name == file else ():
            if own.number == row and column in own.cells:
                return own.text(column), table.decimal or "."
    raise RecordError(
        Problem(f"{file} row {row}", f"there is no column {column} there", "Look at the file.")
    )


def cells_of_label(tables: Sequence[Table], study: Study, label: str) -> list[tuple[str, int, str]]:
    """Cells that may be corrected for a label: file, row and column of each."""
    found = []
    for table in tables:
        if table_kind(table) != "readings":
            continue
        names = [own.name for own in columns_of_readings(table, study)[0]]
        for row in table.rows:
            if row.text("coupon").strip().upper() == label.strip().upper():
                found += [(table.name, row.number, name) for name in ("coupon", *names)]
    return found
