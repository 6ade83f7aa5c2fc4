"""Files to tables of text: header, plan number and decimal mark found; row numbers are kept."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from quenchbook.errors import Problem
from quenchbook.reading_files import file_fault
from quenchbook.records.grids import Grid, Line, text_grid, workbook_grids

TEXT_FILES: Final = (".csv", ".tsv", ".txt")
WORKBOOKS: Final = (".xlsx", ".ods")
MARKED_COLUMN: Final = "mistake"  # of a marked copy that came back; not read
OTHER_SPREADSHEETS: Final = (".xls", ".xlsm", ".xlsb", ".numbers", ".gsheet")

_WORD_COLUMNS: Final = (
    "coupon", "what", "which", "item", "note", "file", "column", "found", "corrected", "reason",
    "session", "when", "place",
)  # fmt: skip
_NUMBER = re.compile(r"^[+-]?(\d[\d.,' ]*|[.,]\d+)(?:\s*[^\d\s.,].*)?$")
_TORN = re.compile(r"[\d .;|\t+-]*")
MARK_NAMES: Final[Mapping[str, str]] = {
    ";": "semicolons", "\t": "tabs", "|": "upright strokes", ",": "commas",
}  # fmt: skip
"""Marks that may stand between cells, in words."""
_COMMENT = re.compile(r"#(\s|$)")  # '#12' may be somebody's own code
_PLAN = re.compile(r"#\s*plan\b[\s:]*(\S*)", re.IGNORECASE)


@dataclass(frozen=True)
class Row:
    """One row of a table.

    Attributes
    ----------
    number : int
        Row number as a spreadsheet shows it.
    cells : mapping
        Column name to text, stripped.
    exact : frozenset of str
        Columns whose cell was a number in a workbook, so its decimal mark is a point.
    """

    number: int
    cells: Mapping[str, str]
    exact: frozenset[str] = frozenset()

    def text(self, column: str) -> str:
        """Text of a cell; empty if there is no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True)
class Table:
    """One table as it was written, all cells still text.

    Attributes
    ----------
    name : str
        Where a person finds it: ``hardness.csv`` or ``book.xlsx, sheet hardness``.
    header : tuple of str
        Column names, in lower case with ``_`` for blanks.
    header_row : int
        Row number of the header.
    rows : tuple of Row
        Rows that are not blank.
    plan, plan_row : str, int
        Plan number written above the header (empty if none), and its row.
    decimal : str or None
        Decimal mark of the file; None when it could not be decided.
    delimiter : str
        Mark between the cells; empty for a workbook.
    """

    name: str
    header: tuple[str, ...]
    header_row: int
    rows: tuple[Row, ...]
    plan: str = ""
    plan_row: int = 1
    decimal: str | None = "."
    delimiter: str = ""

    def decimal_in(self, row: Row, column: str) -> str | None:
        """Decimal mark of one cell."""
        return "." if column in row.exact else self.decimal


def tables_in(folder: Path) -> tuple[list[Table], list[Problem], list[str]]:
    """Every table of a folder, what is wrong with the files, and notes on files not read.

    Parameters
    ----------
    folder : Path

    Returns
    -------
    tables : list of Table
        In order of the file names.
    problems : list of Problem
    notes : list of str
    """
    tables: list[Table] = []
    problems: list[Problem] = []
    notes: list[str] = []
    for path in _visible_files(folder):
        if path.suffix.lower() in OTHER_SPREADSHEETS:
            notes.append(f"{path.name} was not read: save it as .xlsx, .ods or .csv.")
    for path in table_files(folder):
        wrong_file, remedy = file_fault(path, folder.parent)
        if wrong_file:
            problems.append(Problem(path.name, wrong_file, remedy))
            continue
        read = text_grid if path.suffix.lower() in TEXT_FILES else workbook_grids
        grids, wrong = read(path.name, path.read_bytes())
        problems += wrong
        for grid in grids:
            table, wrong = table_of(grid)
            problems += wrong
            if table is not None:
                tables.append(table)
    return tables, problems, notes


def table_files(folder: Path) -> list[Path]:
    """Files of a folder that are read, in order of their names."""
    return [p for p in _visible_files(folder) if p.suffix.lower() in TEXT_FILES + WORKBOOKS]


def _visible_files(folder: Path) -> list[Path]:
    return [
        path
        for path in sorted(folder.iterdir())
        # a link that leads to no file is told, not passed over
        if (path.is_file() or (path.is_symlink() and not path.is_dir()))
        and not path.name.startswith((".", "~$"))
    ]


def table_of(grid: Grid) -> tuple[Table | None, list[Problem]]:
    """Find header, rows and decimal mark of a grid of cells."""
    problems: list[Problem] = []
    plan, plan_row = "", 1
    head = header_line(grid)
    for line in grid.lines:
        if head is not None and line.number >= head.number:
            break
        if found := _PLAN.match(next(filter(None, line.cells), "")):
            plan, plan_row = found[1].rstrip(",;"), line.number
    if head is None:
        wrong = "is empty" if not plan else "has no header"
        return None, [Problem(grid.name, wrong, "Fill it in, or delete it.")]
    lines = [line for line in grid.lines if line.number > head.number and any(line.cells)]
    body = [line for line in lines if not _COMMENT.match(line.cells[0])]
    titles = [column_name(cell) for cell in head.cells]
    if marks := [p for p, title in enumerate(titles) if title.partition("_")[0] == MARKED_COLUMN]:
        titles = ["" if place in marks else title for place, title in enumerate(titles)]
        body = [own for line in body if (own := _without(line, marks)).cells]
    header = _trimmed(titles)
    problems += _header_problems(grid.name, head.number, header, body)
    rows = []
    for line in body:
        if other := _slipped_mark(line, len(header), grid.delimiter):
            problems.append(_slip_problem(grid, line, other))
            continue
        if any(line.cells[len(header) :]):
            problems.append(_too_long(grid, line, len(header)))
            continue
        names = {place: name for place, name in enumerate(header) if name}
        cells = {n: line.cells[p] if p < len(line.cells) else "" for p, n in names.items()}
        exact = frozenset(n for p, n in names.items() if p in line.exact)
        rows.append(Row(line.number, cells, exact))
    decimal, wrong_mark = _decimal_mark(grid.name, rows)
    table = Table(
        name=grid.name,
        header=tuple(dict.fromkeys(name for name in header if name)),
        header_row=head.number,
        rows=tuple(rows),
        plan=plan or grid.plan,
        plan_row=plan_row,
        decimal=decimal,
        delimiter=grid.delimiter,
    )
    return table, problems + wrong_mark


def header_line(grid: Grid) -> Line | None:
    """First line that is neither blank nor a comment; None if there is none."""
    for line in grid.lines:
        if not next(filter(None, line.cells), "#").startswith("#"):
            return line
    return None


def column_name(text: str) -> str:
    """Name of a column as it is compared: lower case, ``_`` for blanks, no brackets.

    >>> column_name(" Hardness (HRC) 1")
    'hardness_hrc_1'
    """
    plain = unicodedata.normalize("NFKC", text).lower()
    return re.sub(r"[\s\[\]()_\-,;:/]+", "_", plain).strip("_.")


def _without(line: Line, places: Sequence[int]) -> Line:
    cells = ["" if place in places else cell for place, cell in enumerate(line.cells)]
    return replace(line, cells=tuple(_trimmed(cells)))


def _trimmed(names: list[str]) -> list[str]:
    while names and not names[-1]:
        names.pop()
    return names


def _header_problems(
    name: str, row: int, header: Sequence[str], body: Sequence[Line]
) -> list[Problem]:
    problems = [
        Problem(
            f"{name} row {row}",
            f"the column '{column}' stands {count} times",
            "Rename or delete one of them.",
        )
        for column, count in Counter(column for column in header if column).items()
        if count > 1
    ]
    for place, column in enumerate(header):
        used = [line for line in body if place < len(line.cells) and line.cells[place]]
        if not column and used:
            problems.append(
                Problem(
                    f"{name} row {row}",
                    f"column {place + 1} has no name, but row {used[0].number} has a cell in it",
                    "Name the column, or delete it.",
                )
            )
    return problems


def _slipped_mark(line: Line, columns: int, delimiter: str) -> str:
    """Mark that separates the cells of this row instead of that of the file; empty if none does."""
    first, rest = line.cells[0], [cell for cell in line.cells[1:] if cell]
    if not delimiter or columns < 2 or _NUMBER.match(first):
        return ""
    for mark in MARK_NAMES:
        parts = first.split(mark)
        if mark == delimiter or len(parts) < 2:
            continue
        # with decimal commas in a comma file the numbers are torn: 'K7TX;62' and '5;61'
        if mark == "," and (rest or len(parts) < min(columns, 3)):
            continue
        if not rest or all(_TORN.fullmatch(cell) for cell in rest):
            return mark
    return ""


def _slip_problem(grid: Grid, line: Line, other: str) -> Problem:
    return Problem(
        f"{grid.name} row {line.number}",
        f"has {MARK_NAMES[other]} between its cells, the header has {MARK_NAMES[grid.delimiter]}",
        f"Write {MARK_NAMES[grid.delimiter]} here.",
    )


def _too_long(grid: Grid, line: Line, columns: int) -> Problem:
    commas = grid.delimiter == "," and all(not c or c.isdecimal() for c in line.cells[2:])
    return Problem(
        f"{grid.name} row {line.number}",
        f"has {len(line.cells)} cells, the header has {columns} columns",
        "Decimal commas between separating commas? Save the table with ; between the columns."
        if commas
        else 'If a note holds the separating mark, put the note between quotation marks ("...").',
    )


# --- decimal mark ---------------------------------------------------------------------------------


def _decimal_mark(name: str, rows: Sequence[Row]) -> tuple[str | None, list[Problem]]:
    """Decimal mark of a table, by its numbers; None with a problem when it cannot be decided."""
    seen: dict[str, list[tuple[int, str]]] = {",": [], ".": []}
    unclear: list[tuple[int, str]] = []
    for number, text, mark, sure in _marks(rows):
        if sure:
            seen[mark].append((number, text))
        elif mark == ",":
            unclear.append((number, text))
    if seen[","] and seen["."]:
        rare, usual = sorted((",", "."), key=lambda mark: len(seen[mark]))
        words = {",": "a decimal comma", ".": "a decimal point"}
        (row, text), (other, example) = seen[rare][0], seen[usual][0]
        wrong = Problem(
            f"{name} row {row}",
            f"'{text}' has {words[rare]}, '{example}' in row {other} has {words[usual]}",
            "Write all numbers of the table with one mark.",
        )
        return None, [wrong]
    if seen[","] or seen["."]:
        return ("," if seen[","] else "."), []
    if unclear:
        row, text = unclear[0]
        wrong = Problem(
            f"{name} row {row}",
            f"'{text}' can be read as a thousand or as a decimal, and no other number settles it",
            f"Write {text.replace(',', '')} or {text.replace(',', '.')}.",
        )
        return None, [wrong]
    return ".", []


def _marks(rows: Sequence[Row]) -> Iterator[tuple[int, str, str, bool]]:
    """Row, text, decimal mark that a number points to, and whether it is sure."""
    for row in rows:
        for column, text in row.cells.items():
            if column in _WORD_COLUMNS or column in row.exact:
                continue
            found = _NUMBER.match(" ".join(unicodedata.normalize("NFKC", text).split()))
            digits = re.sub(r"[' ]", "", found[1]).rstrip(".,") if found else ""
            commas, points = digits.count(","), digits.count(".")
            if commas and points:
                yield row.number, text, max(",.", key=digits.rfind), True
            elif commas + points > 1:  # only a mark between thousands can stand twice
                if re.fullmatch(r"[+-]?\d{1,3}([.,]\d{3})+", digits):
                    yield row.number, text, "." if commas else ",", True
            elif commas + points == 1:
                mark = "," if commas else "."
                sure = re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", digits) is None
                yield row.number, text, mark, sure
