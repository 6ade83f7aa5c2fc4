"""Corrections a person accepted: applied to the text before it is checked, raw files unchanged."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from quenchbook.errors import Problem
from quenchbook.plan.entry_tables import CORRECTION_COLUMNS
from quenchbook.records.cells import nearest_words, place
from quenchbook.records.headers import missing_columns, table_kind, unknown_columns
from quenchbook.records.tables import Row, Table, column_name

_DECIMAL: Final = re.compile(r"([+-]?\d*[.,]\d+)((?:\s*[^\d\s.,].*)?)")  # one mark, perhaps a unit


def corrected(
    tables: Sequence[Table], corrections: Sequence[Table]
) -> tuple[list[Table], list[dict[str, Any]], list[Problem]]:
    """Tables with the accepted corrections in them.

    Parameters
    ----------
    tables : sequence of Table
        Tables as written.
    corrections : sequence of Table
        Tables of corrections: file, row, column, what was found, what it is, and why.

    Returns
    -------
    tables : list of Table
    applied : list of dict
        One for each correction.
    problems : list of Problem
        Corrections that do not fit what the cell holds.
    """
    known = {table.name: table for table in tables}
    changes: dict[tuple[str, int, str], dict[str, Any]] = {}
    problems: list[Problem] = []
    for source in corrections:
        wrong = missing_columns(source, CORRECTION_COLUMNS)
        problems += wrong + unknown_columns(source, CORRECTION_COLUMNS)
        if wrong:
            continue
        for row in source.rows:
            change, problem = _checked(source, row, known)
            if problem is not None:
                problems.append(problem)
                continue
            key = (change["file"], change["row"], change["column"])
            if key in changes:
                first = f"row {changes[key]['at']}"
                problems.append(
                    Problem(
                        place(source, row),
                        f"corrects the same cell as {first}",
                        "Keep one of them.",
                    )
                )
            else:
                changes[key] = {**change, "at": row.number}
    applied = [{k: v for k, v in change.items() if k != "at"} for change in changes.values()]
    return [_with_changes(table, applied) for table in tables], applied, problems


def tables_as_corrected(tables: Sequence[Table]) -> list[Table]:
    """Tables other than those of corrections, with every correction that fits applied.

    Parameters
    ----------
    tables : sequence of Table
        All tables of a folder.
    """
    corrections = [own for own in tables if table_kind(own) == "corrections"]
    others = [own for own in tables if table_kind(own) != "corrections"]
    return corrected(others, corrections)[0]


def _checked(
    source: Table, row: Row, tables: dict[str, Table]
) -> tuple[dict[str, Any], Problem | None]:
    """Change that a row asks for, or the reason it cannot be made."""
    where = place(source, row)
    name, number, column = row.text("file"), row.text("row"), column_name(row.text("column"))
    if name not in tables:
        remedy = nearest_words(name, tables) if tables else "There is no other table."
        return {}, Problem(where, f"there is no table '{name}' to correct", remedy)
    if not number.isdecimal():
        return {}, Problem(
            where, f"row '{number}' is not a row number", "Write it as the spreadsheet shows it."
        )
    table = tables[name]
    if column not in table.header:
        remedy = nearest_words(column, table.header)
        return {}, Problem(where, f"{name} has no column '{row.text('column')}'", remedy)
    target = next((own for own in table.rows if own.number == int(number)), None)
    found = row.text("found")
    if target is None:
        remedy = _moved(table, column, found) or "Count the header and blank rows as well."
        return {}, Problem(where, f"{name} has no filled row {number}", remedy)
    holds = target.text(column)
    if not _same(holds, found):
        remedy = _moved(table, column, found) or "Correct the row number, or delete the correction."
        wrong = f"{name} row {number}, {column} holds '{holds}', not '{found}'"
        return {}, Problem(where, wrong, remedy)
    if not row.text("reason"):
        return {}, Problem(where, "the correction has no reason", "Say why it is right.")
    return {
        "file": name,
        "row": int(number),
        "column": column,
        "found": holds,
        "corrected": _with_mark(row.text("corrected"), table.decimal),
        "reason": row.text("reason"),
    }, None


def _same(holds: str, found: str) -> bool:
    """Whether a cell holds what was found, its decimal mark aside."""
    return holds == found or (
        _DECIMAL.fullmatch(holds) is not None and holds.replace(",", ".") == found.replace(",", ".")
    )


def _moved(table: Table, column: str, found: str) -> str:
    """Where the found text stands now, if that is one place."""
    rows = [own.number for own in table.rows if found and _same(own.text(column), found)]
    return f"'{found}' is in row {rows[0]} now: write that row here." if len(rows) == 1 else ""


def _with_mark(text: str, decimal: str | None) -> str:
    """Number with the decimal mark of the table it goes into; unchanged where it may be another.

    >>> _with_mark("61.2", ","), _with_mark("61,2 HRC", "."), _with_mark("1,925", ".")
    ('61,2', '61.2 HRC', '1,925')
    """
    if decimal is None or not (number := _DECIMAL.fullmatch(text)):
        return text
    if re.fullmatch(r"[+-]?[1-9]\d{0,2}[.,]\d{3}", number[1]):  # a thousand, or a decimal
        return text
    return number[1].replace(",", decimal).replace(".", decimal) + number[2]


def _with_changes(table: Table, changes: Sequence[dict[str, Any]]) -> Table:
    own = [change for change in changes if change["file"] == table.name]
    if not own:
        return table
    rows = []
    for row in table.rows:
        here = [change for change in own if change["row"] == row.number]
        new = {change["column"]: change["corrected"] for change in here}
        rows.append(
            replace(row, cells={**row.cells, **new}, exact=row.exact - set(new)) if new else row
        )
    return replace(table, rows=tuple(rows))
