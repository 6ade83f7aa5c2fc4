"""Bytes of a file to numbered lines of cells, nothing interpreted yet."""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.errors import Problem
from quenchbook.records.workbook_size import workbook_fault

_DELIMITERS: Final = ("\t", ";", "|", ",")
_MOST_PROPERTIES: Final = 1_000_000  # bytes of a workbook's properties that are looked at


@dataclass(frozen=True)
class Line:
    """Cells of one row, stripped; `exact` are the places of cells that were numbers."""

    number: int
    cells: tuple[str, ...]
    exact: frozenset[int] = frozenset()


@dataclass(frozen=True)
class Grid:
    """Cells of a text file or of one sheet; `plan` comes from a workbook's properties."""

    name: str
    lines: tuple[Line, ...]
    delimiter: str = ""
    plan: str = ""


def text_grid(name: str, data: bytes) -> tuple[list[Grid], list[Problem]]:
    """Read a text table.

    Parameters
    ----------
    name : str
        File name, for messages.
    data : bytes
        UTF-8, UTF-16 with its mark, or cp1252; tab, ``;``, ``|`` or ``,`` between cells.

    Returns
    -------
    grids : list of Grid
        One, or none if the file cannot be read.
    problems : list of Problem
    """
    if not data.strip():
        return [], [Problem(name, "is empty", "Fill it in, or delete it.")]
    text = _decoded(data)
    if text is None:
        return [], [Problem(name, "is not a text file", "Save the table as CSV, UTF-8.")]
    delimiter = _delimiter(text)
    lines: list[Line] = []
    problems: list[Problem] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(reader, start=1):
            lines.append(Line(number, tuple(cell.strip() for cell in cells)))
    except csv.Error:
        wrong = "a quotation mark is never closed, or stands inside a cell"
        where = f"{name} row {len(lines) + 1}"
        return [], [Problem(where, wrong, 'Delete it, or write it twice ("").')]
    for line in lines:
        # a note of several lines can be meant, but not one that holds the mark between cells
        below = [part for cell in line.cells for part in cell.splitlines()[1:]]
        if any(delimiter in part for part in below):
            wrong = "a quotation mark opens a cell that swallows the rows below"
            where = f"{name} row {line.number}"
            remedy = "Delete the quotation mark, or write the cell on one line."
            problems.append(Problem(where, wrong, remedy))
    return [Grid(name, tuple(lines), delimiter)], problems


def _decoded(data: bytes) -> str | None:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings: tuple[str, ...] = ("utf-16",)
    else:
        encodings = ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if "\x00" in text else text
    return None


def _delimiter(text: str) -> str:
    """Mark that gives most rows as many cells as the header."""
    kept = [line for line in text.splitlines() if line.strip(' \t;|,"')]
    lines = [line for line in kept if not line.lstrip(' "').startswith("#")] or kept

    def score(mark: str) -> tuple[float, int]:
        counts = [len(cells) for cells in csv.reader(lines, delimiter=mark)]
        if not counts or counts[0] < 2:
            return (0.0, 0)
        return (sum(count == counts[0] for count in counts) / len(counts), counts[0])

    try:
        return max(_DELIMITERS, key=score) if lines and max(map(score, _DELIMITERS))[1] else ","
    except csv.Error:
        return max(_DELIMITERS, key=(lines or [""])[0].count)


# --- workbooks ------------------------------------------------------------------------------------


def workbook_grids(name: str, data: bytes) -> tuple[list[Grid], list[Problem]]:
    """Read every sheet of a workbook that is not empty; numbers keep all their digits.

    Parameters
    ----------
    name : str
        File name, for messages.
    data : bytes
        An ``.xlsx`` or ``.ods`` file.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    if not data.strip():
        return [], [Problem(name, "is empty", "Fill it in, or delete it.")]
    wrong = workbook_fault(data)
    if wrong:
        return [], [Problem(name, wrong, "Save it again, or as CSV.")]
    grids: list[Grid] = []
    try:
        workbook = CalamineWorkbook.from_filelike(io.BytesIO(data))
        for sheet_name in workbook.sheet_names:
            rows = workbook.get_sheet_by_name(sheet_name).to_python(skip_empty_area=False)
            lines = tuple(_sheet_line(number, row) for number, row in enumerate(rows, start=1))
            if any(any(line.cells) for line in lines):
                grids.append(Grid(f"{name}, sheet {sheet_name}", lines))
    except (CalamineError, OSError, ValueError) as error:
        first = (str(error).strip() or type(error).__name__).splitlines()[0]
        return [], [
            Problem(name, f"cannot be opened as a workbook ({first})", "Save it again, or as CSV.")
        ]
    except BaseException as error:
        if type(error).__name__ != "PanicException":  # the reader's own crash on a damaged file
            raise
        return [], [Problem(name, "is damaged and cannot be opened", "Save it again, or as CSV.")]
    if not grids:
        return [], [Problem(name, "has no filled sheet", "Fill it in, or delete it.")]
    plan = _plan_property(data)
    return [Grid(grid.name, grid.lines, plan=plan) for grid in grids], []


def _sheet_line(number: int, row: Sequence[object]) -> Line:
    numeric = (int, float)
    exact = {p for p, v in enumerate(row) if isinstance(v, numeric) and not isinstance(v, bool)}
    return Line(number, tuple(map(_cell_text, row)), frozenset(exact))


def _cell_text(value: object) -> str:
    """Text of a workbook cell: numbers with all digits, dates as they are, true as TRUE."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return value.date().isoformat()
    return str(value).strip()


def _plan_property(data: bytes) -> str:
    """Plan number in the own properties of an xlsx workbook, or nothing."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as book, book.open("docProps/custom.xml") as file:
            properties = file.read(_MOST_PROPERTIES).decode("utf-8", "replace")
    except (KeyError, zipfile.BadZipFile, zlib.error, OSError, ValueError, RuntimeError):
        return ""
    found = re.search(r'name="plan"[^>]*>\s*<vt:lpwstr>([0-9a-f]+)</vt:lpwstr>', properties)
    return found[1] if found else ""
