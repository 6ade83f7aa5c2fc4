"""Forms as a workbook: locked keys, checks while typing, the plan's hash inside."""

from __future__ import annotations

import datetime
import io
import re
from typing import Any, Final

from quenchbook.bench.form_tables import Form
from quenchbook.plan.entry_tables import (
    deviating_units,
    movable_units,
    reading_columns,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.plausible_readings import plausible

_CREATED: Final = datetime.datetime(2000, 1, 1)  # fixed, so that the same plan gives the same bytes
_FREE_ROWS: Final = 200


def workbook_bytes(forms: tuple[Form, ...], matrix: CouponMatrix) -> bytes:
    """Workbook with one sheet a form; only blank cells can be written into.

    Parameters
    ----------
    forms : tuple of Form
    matrix : CouponMatrix
        Its hash stands on every sheet and in the properties.
    """
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
    given = len(form.rows)
    last = first + max(given + len(form.more), _FREE_ROWS if not given else 0)
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
            _write_entry(sheet, number, place, _entered(form, number - first, place), style)
    for number, added in enumerate(form.more, start=first + given):
        for place, text in enumerate(added[:filled]):
            sheet.write_string(number, place, text, styles["text"])
    _add_checks(sheet, form, matrix, filled, first, last)
    sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})


def _entered(form: Form, row: int, place: int) -> str:
    """What was entered in an older form; empty for a blank cell."""
    given = len(form.rows)
    if row >= given:
        added = form.more[row - given] if row - given < len(form.more) else ()
        return added[place] if added else ""
    entries = form.entries.get(row, ())
    return entries[place - len(form.rows[0])] if entries else ""


def _write_entry(sheet: Any, row: int, place: int, text: str, style: Any) -> None:
    if re.fullmatch(r"-?\d+(\.\d+)?", text):
        sheet.write_number(row, place, float(text), style)
    elif text:
        sheet.write_string(row, place, text, style)
    else:
        sheet.write_blank(row, place, None, style)


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
    if form.name == "block_checks":
        check = {"validate": "list", "source": ["before", "after"]}
        sheet.data_validation(first, 1, last - 1, 1, check)
    if form.name == "deviations":
        units = list(deviating_units(matrix.study))
        factors = [factor.name for factor in matrix.study.factors]
        items = [*factors, "lost", "note", *movable_units(matrix.study)]
        for place, words in ((0, units), (2, items)):
            if len(",".join(words)) <= 255:
                check = {"validate": "list", "source": words}
                sheet.data_validation(first, place, last - 1, place, check)
