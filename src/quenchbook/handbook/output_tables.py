"""Tables of a notebook's output: cells as HTML tells them, to a table that a page can set."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from itertools import zip_longest
from typing import Final

from quenchbook.report.blocks import Column, TableBlock
from quenchbook.report.number_columns import number_texts

_MOST_CELLS: Final = 200  # that one cell may span


@dataclass(frozen=True)
class OutputCell:
    """Cell of a table, with the rows and columns that it spans."""

    words: str
    rows: int = 1
    columns: int = 1
    is_head: bool = False


@dataclass
class OutputTable:
    """Table while it is being read."""

    head: list[list[OutputCell]] = field(default_factory=list)
    body: list[list[OutputCell]] = field(default_factory=list)
    caption: str = ""
    in_head: bool = False

    @property
    def rows(self) -> list[list[OutputCell]]:
        """Rows of the part that is being read."""
        return self.head if self.in_head else self.body


def cells_spanned(text: str | None) -> int:
    """Rows or columns that a cell spans, by its attribute; 1 if it tells none.

    >>> cells_spanned("3"), cells_spanned("many"), cells_spanned(None)
    (3, 1, 1)
    """
    return min(int(text), _MOST_CELLS) if text and text.isdecimal() and int(text) else 1


def _grid(rows: list[list[OutputCell]]) -> list[list[str]]:
    """Words of each place; a cell over several rows speaks in each of them."""
    found: list[list[str]] = []
    taken: dict[tuple[int, int], str] = {}
    for number, row in enumerate(rows):
        place = 0
        for cell in row:
            while (number, place) in taken:
                place += 1
            for down in range(min(cell.rows, len(rows) - number)):
                for right in range(cell.columns):
                    taken[number + down, place + right] = "" if right else cell.words
        width = 1 + max((own for line, own in taken if line == number), default=-1)
        found.append([taken.get((number, own), "") for own in range(width)])
    return found


def table_block(table: OutputTable, key: str) -> TableBlock | None:
    """Table as a block; None if it has no rows."""
    cells = [row for row in table.body if row]
    if not cells:
        return None
    rows, heads = _grid(cells), _grid([row for row in table.head if row])
    width = max(map(len, [*rows, *heads]))
    rows = [[*row, *[""] * width][:width] for row in rows]
    if len(heads) > 1 and all(row[0].is_head for row in cells):
        # pandas writes names of columns above and names of rows below: only both are a head
        depth = next((n for n, own in enumerate(cells[0]) if not own.is_head), width)
        heads = [["", *[""] * (depth - 1), *heads[0][depth:]], *heads[1:]]
    head = [" ".join(filter(None, own)) for own in zip_longest(*heads, fillvalue="")]
    head = [*head, *[""] * width][:width]
    numbers = [row[0] for row in rows] == [str(n) for n in range(len(rows))]
    if cells[0][0].is_head and numbers and not head[0] and width > 1:
        head, rows = head[1:], [row[1:] for row in rows]  # numbers of rows say nothing to a reader
    columns = tuple(
        Column(name, align="right" if _is_numbers([row[place] for row in rows]) else "left")
        for place, name in enumerate(head)
    )
    return TableBlock(key, table.caption, columns, tuple(map(tuple, rows)))


def _is_numbers(texts: list[str]) -> bool:
    plain = [text.replace("-", "−") if re.fullmatch(r"-[\d.]+", text) else text for text in texts]
    return number_texts(plain) is not None
