"""Copies of files with their mistakes marked in them, beside the files and never over them."""

from __future__ import annotations

import csv
import datetime
import io
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from quenchbook.errors import Problem
from quenchbook.records.grids import Grid, Line, text_grid, workbook_grids
from quenchbook.records.mistakes import Mistakes, place_of
from quenchbook.records.tables import (
    MARKED_COLUMN,
    TEXT_FILES,
    WORKBOOKS,
    column_name,
    header_line,
)
from quenchbook.writing import write_beside

FOLDER: Final = "marked"
_WRONG_CELL: Final = "#F3DFA6"  # straw, as in the figures
_CREATED: Final = datetime.datetime(2000, 1, 1)  # fixed, so that the same mistakes give the bytes
_BY_ROW = dict[int, list[Problem]]


def write_marked_copies(folder: str | Path, mistakes: Mistakes) -> list[Path]:
    """Write a copy of each file that has mistakes, with each one beside its row.

    A text file gets a last column ``mistake``, which the reader passes over; a workbook (also an
    ``.ods`` file, as ``.xlsx``) gets coloured cells with a comment. A file that cannot be read at
    all has no copy.

    Parameters
    ----------
    folder : str or Path
        Folder of the records; the copies go into ``marked`` in it, which is not read.
    mistakes : Mistakes
        From `record_mistakes`.

    Returns
    -------
    list of Path
        The copies. A copy that is there already is never changed: a new one gets a number.
    """
    by_file: dict[str, dict[str, _BY_ROW]] = defaultdict(lambda: defaultdict(dict))
    for problem in mistakes.problems:
        table, row, _ = place_of(problem)
        if row is not None:
            by_file[table.partition(", sheet ")[0]][table].setdefault(row, []).append(problem)
    paths = []
    for name, tables in sorted(by_file.items()):
        source, target = Path(folder) / name, Path(folder) / FOLDER / name
        ending = source.suffix.lower()
        data = source.read_bytes() if ending in TEXT_FILES + WORKBOOKS else b""
        if ending in TEXT_FILES:
            grids, _ = text_grid(name, data)
            marked = _marked_text(grids[0], tables[name]) if grids else b""
        else:
            grids, _ = workbook_grids(name, data)
            marked = _marked_workbook(data, grids, tables) if grids else b""
            target = target.with_suffix(".xlsx")
        if marked:
            target.parent.mkdir(exist_ok=True)
            paths.append(write_beside(target, marked))
    return paths


def _marked_text(grid: Grid, problems: _BY_ROW) -> bytes:
    """Text of a grid, its delimiter kept, with the mistakes in a last column."""
    head = header_line(grid)
    width = max(len(line.cells) for line in grid.lines)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=grid.delimiter, lineterminator="\r\n")
    for line in grid.lines:
        words = [_words(problems[line.number])] if line.number in problems else []
        if head is not None and line.number == head.number:
            words = [": ".join([MARKED_COLUMN, *words])]
        blank = [""] * (width - len(line.cells))
        writer.writerow([*line.cells, *blank, *words] if words else line.cells)
    return text.getvalue().encode("utf-8-sig")  # the mark makes spreadsheets read UTF-8


def _marked_workbook(data: bytes, grids: Sequence[Grid], tables: dict[str, _BY_ROW]) -> bytes:
    """Values of a workbook, with the wrong cells coloured and commented."""
    import xlsxwriter
    from python_calamine import CalamineWorkbook

    source = CalamineWorkbook.from_filelike(io.BytesIO(data))
    target = io.BytesIO()
    book = xlsxwriter.Workbook(
        target, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    )
    book.set_properties({"created": _CREATED})
    if plan := next((grid.plan for grid in grids if grid.plan), ""):
        book.set_custom_property("plan", plan)
    wrong = book.add_format({"bg_color": _WRONG_CELL})
    by_name = {grid.name.partition(", sheet ")[2]: grid for grid in grids}
    for name, grid in by_name.items():
        problems = tables.get(grid.name, {})
        head = header_line(grid)
        names = [column_name(cell) for cell in head.cells] if head is not None else []
        sheet = book.add_worksheet(name[:31])
        values = source.get_sheet_by_name(name).to_python(skip_empty_area=False)
        for line, row in zip(grid.lines, values, strict=True):
            own = problems.get(line.number, [])
            marks = _marks(own, names, line)
            for place, value in enumerate(row):
                _write(sheet, line, place, value, wrong if place in marks else None)
            for place, words in marks.items():
                if words:
                    sheet.write_comment(line.number - 1, place, words, {"x_scale": 2})
    book.close()
    return target.getvalue()


def _marks(problems: Sequence[Problem], names: Sequence[str], line: Line) -> dict[int, str]:
    """Place of a cell to the words of its comment; a mistake of a whole row marks all its cells."""
    cells: dict[int, list[Problem]] = defaultdict(list)
    for problem in problems:
        if problem.column in names:
            cells[names.index(problem.column)].append(problem)
            continue
        filled = [place for place, cell in enumerate(line.cells) if cell] or [0]
        for place in filled[1:]:
            cells.setdefault(place, [])
        cells[filled[0]].append(problem)
    return {place: _words(own) for place, own in cells.items()}


def _write(sheet: Any, line: Line, place: int, value: object, style: Any) -> None:
    """Write a cell as it was: a number stays one, everything else as the reader takes it."""
    row = line.number - 1
    if isinstance(value, bool):
        sheet.write_boolean(row, place, value, style)
    elif isinstance(value, (int, float)):
        sheet.write_number(row, place, value, style)
    elif line.cells[place]:
        sheet.write_string(row, place, line.cells[place], style)
    else:
        sheet.write_blank(row, place, None, style)


def _words(problems: Sequence[Problem]) -> str:
    return " ".join(str(Problem("", own.problem, own.remedy)) for own in problems)
