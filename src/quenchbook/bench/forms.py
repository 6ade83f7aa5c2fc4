"""Blank forms for readings, logs, deviations and corrections, as CSV and as one workbook."""

from __future__ import annotations

import csv
import datetime
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from quenchbook.plan.entry_tables import (
    CORRECTION_COLUMNS,
    DEVIATION_COLUMNS,
    actual_column,
    correction_examples,
    deviating_units,
    deviation_examples,
    logged_factors,
    movable_units,
    plausible,
    reading_columns,
    response_stem,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response
from quenchbook.writing import write_bytes

WORKBOOK: Final = "entry.xlsx"
_CREATED: Final = datetime.datetime(2000, 1, 1)  # fixed, so that the same plan gives the same bytes
_FREE_ROWS: Final = 200


@dataclass(frozen=True)
class Form:
    """One table to be filled in.

    Attributes
    ----------
    name : str
        Name of the file and of the sheet, such as ``hardness``.
    columns : tuple of str
    rows : tuple of tuple
        What is filled in already; shorter than `columns`.
    examples : tuple of tuple of str
        Rows that show what to write; the reader skips them.
    response : Response or None
        What the blank columns hold; None for a table of another kind.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int | str, ...], ...] = ()
    examples: tuple[tuple[str, ...], ...] = ()
    response: Response | None = None


@dataclass(frozen=True)
class EntryForms:
    """Forms that are there now, and notes on files that were left alone.

    Iterating gives the paths.
    """

    paths: tuple[Path, ...]
    notes: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Path]:
        return iter(self.paths)

    def __len__(self) -> int:
        return len(self.paths)

    def summary(self) -> str:
        """Say what was written and what was not."""
        return "\n".join([f"{len(self.paths)} blank forms.", *self.notes])


def entry_forms(matrix: CouponMatrix) -> tuple[Form, ...]:
    """Forms of a plan: readings in blinded test order, a log, deviations, corrections.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    tuple of Form
    """
    study, frame = matrix.study, matrix.frame
    forms = []
    for response in study.responses:
        order = f"{response.name}_order"
        tested = frame[frame[order].notna()].sort_values(order)
        rows = zip(tested[order].astype(int).tolist(), tested["coupon"].tolist(), strict=True)
        columns = ("order", "coupon", *reading_columns(response), "note")
        forms.append(Form(response_stem(response), columns, tuple(rows), response=response))
    if logged := logged_factors(study):
        loads = tuple((int(load),) for load in sorted(matrix.in_loads["furnace_load"].unique()))
        columns = ("furnace_load", *(actual_column(factor) for factor in logged))
        forms.append(Form("furnace_log", columns, loads))
    forms.append(Form("deviations", DEVIATION_COLUMNS, examples=deviation_examples(study)))
    forms.append(Form("corrections", CORRECTION_COLUMNS, examples=correction_examples(study)))
    return tuple(forms)


def write_entry_forms(matrix: CouponMatrix, folder: str | Path) -> EntryForms:
    """Write the blank forms of a plan; a form that was filled in is never touched.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Made if needed.

    Returns
    -------
    EntryForms
        Paths of the blank forms, and a note for each file that was left alone.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    forms = entry_forms(matrix)
    blanks = {f"{form.name}.csv": _csv_bytes(form, matrix.plan_hash) for form in forms}
    blanks[WORKBOOK] = _workbook_bytes(forms, matrix)
    paths, notes = [], []
    for name, blank in blanks.items():
        path = folder / name
        if path.exists() and path.read_bytes() != blank:
            notes.append(_left_alone(path, matrix))
            continue
        if not path.exists():
            write_bytes(path, blank)
        paths.append(path)
    return EntryForms(tuple(paths), tuple(notes))


def _left_alone(path: Path, matrix: CouponMatrix) -> str:
    """Why a file is not written: it is filled in, or no form of this plan."""
    with path.open("rb") as file:
        first = file.readline(200).lstrip(b'\xef\xbb\xbf"')
    if first.startswith(f"# plan {matrix.plan_hash}".encode()):
        return f"{path} is filled in or of an earlier version and was left alone."
    return f"{path} is not a blank form of this plan and was left alone."


def _csv_bytes(form: Form, plan_hash: str) -> bytes:
    text = io.StringIO()
    text.write(f"# plan {plan_hash}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(form.columns)
    writer.writerows(form.examples)
    blank = [""] * len(form.columns)
    writer.writerows([*row, *blank[len(row) :]] for row in form.rows)
    return text.getvalue().encode("utf-8")


# --- workbook -------------------------------------------------------------------------------------


def _workbook_bytes(forms: tuple[Form, ...], matrix: CouponMatrix) -> bytes:
    """Workbook with one sheet a form; only blank cells can be written into."""
    import xlsxwriter

    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True, "strings_to_formulas": False})
    workbook.set_properties({"title": f"Entry forms of {matrix.study.key}", "created": _CREATED})
    workbook.set_custom_property("plan", matrix.plan_hash)
    styles = {
        "head": workbook.add_format(
            {"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"}
        ),
        "plan": workbook.add_format({"font_color": "#5A6069"}),
        "code": workbook.add_format({"num_format": "@", "font_name": "DejaVu Sans Mono"}),
        "example": workbook.add_format({"font_color": "#5A6069", "num_format": "@"}),
        "text": workbook.add_format({"num_format": "@", "locked": False, "bottom": 4}),
        "number": workbook.add_format({"locked": False, "bottom": 4}),
    }
    for form in forms:
        _add_sheet(workbook, form, matrix, styles)
    workbook.close()
    return target.getvalue()


def _add_sheet(workbook: Any, form: Form, matrix: CouponMatrix, styles: dict[str, Any]) -> None:
    sheet = workbook.add_worksheet(form.name[:31])
    sheet.write_string(0, 0, f"# plan {matrix.plan_hash}", styles["plan"])
    for place, column in enumerate(form.columns):
        sheet.write_string(1, place, column, styles["head"])
        sheet.set_column(place, place, 34 if column in ("note", "reason") else max(12, len(column)))
    sheet.set_row(1, 30)
    filled = len(form.rows[0]) if form.rows else 0
    first = 2 + len(form.examples)
    sheet.freeze_panes(first, filled)
    last = first + (len(form.rows) or _FREE_ROWS)
    for number, example in enumerate(form.examples, start=2):
        for place, text in enumerate(example):
            sheet.write_string(number, place, text, styles["example"])
        sheet.set_column(0, 0, 24)
    for number, row in enumerate(form.rows, start=first):
        for place, cell in enumerate(row):
            if isinstance(cell, str):
                sheet.write_string(number, place, cell, styles["code"])
            else:
                sheet.write_number(number, place, cell)
    for place in range(filled, len(form.columns)):
        is_number = form.rows and form.columns[place] != "note"
        style = styles["number"] if is_number else styles["text"]
        for number in range(first, last):
            sheet.write_blank(number, place, None, style)
    _add_checks(sheet, form, matrix, filled, first, last)
    sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})


def _add_checks(
    sheet: Any, form: Form, matrix: CouponMatrix, filled: int, first: int, last: int
) -> None:
    """Checks while typing: plausible numbers, units and items by name."""
    if form.response is not None:
        limits = plausible(form.response)
        low, high = max(limits.low, -1e12), min(limits.high, 1e12)
        low = low if limits.low_is_in else 1e-9
        check = {
            "validate": "decimal",
            "criteria": "between",
            "minimum": low,
            "maximum": high,
            "error_title": "Not plausible",
            "error_message": f"{form.response.name}: expected {limits.words}. "
            "Leave it empty if there is no reading.",
        }
        readings = filled + len(reading_columns(form.response))
        sheet.data_validation(first, filled, last - 1, readings - 1, check)
    if form.name == "deviations":
        units = list(deviating_units(matrix.study))
        factors = [factor.name for factor in matrix.study.factors]
        items = [*factors, "lost", "note", *movable_units(matrix.study)]
        for place, words in ((0, units), (2, items)):
            if len(",".join(words)) <= 255:
                check = {"validate": "list", "source": words}
                sheet.data_validation(first, place, last - 1, place, check)
