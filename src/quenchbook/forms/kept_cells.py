"""Cells of the records as they were written, for corrections beside them."""

from __future__ import annotations

from collections.abc import Sequence

from quenchbook.errors import Problem, RecordError
from quenchbook.records.corrections import tables_as_corrected
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
    """File, row and column of cells that may be corrected for a label, misread or right."""
    found, wanted = [], label.strip().upper()
    as_corrected = {own.name: own for own in tables_as_corrected(tables)}
    for table in tables:
        if table_kind(table) != "readings":
            continue
        right = {own.number: own.text("coupon") for own in as_corrected[table.name].rows}
        names = [own.name for own in columns_of_readings(table, study)[0]]
        for row in table.rows:
            labels = (row.text("coupon"), right.get(row.number, ""))
            if wanted in (own.strip().upper() for own in labels):
                found += [(table.name, row.number, name) for name in ("coupon", *names)]
    return found
