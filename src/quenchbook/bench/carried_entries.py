"""What was entered in an older form, carried into a new one of another layout."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from quenchbook.bench.form_tables import Form
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.grids import text_grid, workbook_grids
from quenchbook.records.tables import Row, Table, column_name, table_of


@dataclass(frozen=True)
class OlderForm:
    """Tables of a form that is there already, by the name of their form."""

    path: Path
    tables: dict[str, Table]

    def is_current(self, forms: Sequence[Form]) -> bool:
        """Whether it has the columns of the forms and every row of them."""
        return all(own.name in self.tables and _holds(self.tables[own.name], own) for own in forms)


def newest_form(path: Path, matrix: CouponMatrix) -> tuple[Path, OlderForm | None]:
    """Last of ``form.csv``, ``form_2.csv``, ...; None if it cannot be read as one of this plan.

    Parameters
    ----------
    path : Path
        The first one, which is there.
    matrix : CouponMatrix
    """
    number = 1
    while (own := path.with_name(f"{path.stem}_{number + 1}{path.suffix}")).exists():
        number += 1
    last = path if number == 1 else path.with_name(f"{path.stem}_{number}{path.suffix}")
    read = workbook_grids if last.suffix == ".xlsx" else text_grid
    grids, problems = read(path.stem, last.read_bytes())
    tables = {}
    for grid in grids:
        table, wrong = table_of(grid)
        plan = "" if table is None else table.plan
        if table is None or wrong or not plan or not any(h.startswith(plan) for h in matrix.hashes):
            return own, None
        tables[grid.name.removeprefix(f"{path.stem}, sheet ")] = table
    return own, (OlderForm(last, tables) if tables and not problems else None)


def with_entries(form: Form, old: Table) -> tuple[Form, list[str]]:
    """Form with the entries of an older one in it.

    Parameters
    ----------
    form : Form
    old : Table
        Older form of the same name.

    Returns
    -------
    form : Form
        Entries stand beside their coupon or load; rows that were added by hand follow.
    notes : list of str
        Entries that the new form has no column for.
    """
    filled = len(form.rows[0]) if form.rows else 0
    sources = [_source(column, old, form) for column in form.columns]
    key = column_name(form.columns[filled - 1]) if filled else ""
    places = {_label(row[-1]): place for place, row in enumerate(form.rows)}
    entries: dict[int, tuple[str, ...]] = {}
    more: list[tuple[str, ...]] = []
    notes = []
    for row in old.rows:
        cells = tuple(row.text(name) for name in sources)
        at = places.get(_label(row.text(key)), -1) if filled else -1
        if at >= 0 and at not in entries:
            entries[at] = cells[filled:]
        elif any(cells[filled:]):
            more.append(cells)
        notes += _without_place(row, old, sources)
    return replace(form, entries=entries, more=tuple(more)), notes


def _source(column: str, old: Table, form: Form) -> str:
    """Column of the older form that holds what this column asks for; empty if there is none."""
    names = [column_name(column)]
    if form.response is not None:  # the first of several readings, or the only one
        first = f"{form.response.name}_1"
        names += {first: [form.response.name], form.response.name: [first]}.get(column, [])
    return next((name for name in names if name in old.header), "")


def _holds(old: Table, form: Form) -> bool:
    filled = len(form.rows[0]) if form.rows else 0
    if {column_name(column) for column in form.columns} != set(old.header):
        return False
    if not filled:
        return True
    labels = {_label(row.text(column_name(form.columns[filled - 1]))) for row in old.rows}
    return all(_label(row[-1]) in labels for row in form.rows)


def _without_place(row: Row, old: Table, sources: Sequence[str]) -> list[str]:
    return [
        f"row {row.number}, {name}: '{row.text(name)}'"
        for name in old.header
        if name not in sources and name not in ("order", "coupon") and row.text(name)
    ]


def _label(text: int | str) -> str:
    plain = str(text).strip().upper()
    return re.sub(r"^0*(\d+)(\.0*)?$", r"\1", plain)
