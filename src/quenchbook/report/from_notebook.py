"""An executed notebook to a document: which cells are in the edition, what their outputs say."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.report.blocks import MIME, Block, Headline, Preformatted, Section, from_json
from quenchbook.report.document import Document, heading_of
from quenchbook.report.formulas import warn_of_broken_formulas
from quenchbook.report.markdown import markdown_blocks

EDITIONS: Final = ("public", "supporters")
CELL: Final = "quenchbook_cell"
"""Metadata of a cell that was run: its number in the notebook of the author."""

_NEVER: Final = frozenset({"remove-cell", "setup"})
_BARE_DISPLAY: Final = re.compile(r"<IPython\.core\.display\.\w+ object>")
_DETAILS: Final = ("title", "author", "date", "study", "foot", "language")

Cell = Mapping[str, Any]


def report_document(
    notebook: Mapping[str, Any],
    *,
    edition: str = "public",
    show_code: bool = False,
    appendix: bool = True,
    details: Mapping[str, Any] | None = None,
) -> Document:
    """Document of an executed notebook.

    Parameters
    ----------
    notebook : NotebookNode
        Version 4; its outputs carry the blocks.
    edition : {"public", "supporters"}
        Cells tagged ``supporters`` are only in the second.
    show_code : bool
        Whether the code of the cells is shown.
    appendix : bool
        Whether cells tagged ``appendix`` are shown.
    details : mapping, optional
        Title, author, date (ISO), study, foot, language. They go before the notebook's own, under
        ``quenchbook`` in its metadata.

    Returns
    -------
    Document
        Cells that are not in the edition have left no trace in it.
    """
    cells = [
        (f"cell {number}", list(cell_blocks(cell, f"cell {number}", show_code)))
        for number, cell in edition_cells(notebook, edition, appendix=appendix)
    ]
    warn_of_broken_formulas(cells)
    blocks = [block for _, found in cells for block in found]
    own = notebook.get("metadata", {}).get("quenchbook", {})
    given = {
        name: value
        for source in (own, details or {})
        for name, value in source.items()
        if name in _DETAILS and value not in (None, "")
    }
    return _document(_one_title(blocks), given)


def edition_cells(
    notebook: Mapping[str, Any], edition: str, *, appendix: bool = True
) -> list[tuple[int, Cell]]:
    """Cells that are in an edition, with their numbers in the notebook of the author."""
    if edition not in EDITIONS:
        raise ReportError(f"Edition '{edition}' is not known; write {' or '.join(EDITIONS)}.")
    unwanted = set(_NEVER)
    unwanted |= {"supporters"} if edition == "public" else set()
    unwanted |= set() if appendix else {"appendix"}
    return [
        (cell.get("metadata", {}).get(CELL, number), cell)
        for number, cell in enumerate(notebook["cells"], start=1)
        if not unwanted & set(cell.get("metadata", {}).get("tags", []))
    ]


def _document(blocks: Sequence[Block], given: Mapping[str, Any]) -> Document:
    first = next((heading for heading in map(heading_of, blocks) if heading), None)
    title = str(given.get("title") or (first[1] if first and first[0] == 1 else ""))
    if title and (first is None or first[0] != 1):
        blocks = (Section(title, level=1), *blocks)
    return Document(
        title=title,
        blocks=tuple(blocks),
        author=str(given.get("author", "")),
        date=_date(given.get("date")),
        study=str(given.get("study", "")),
        foot=str(given.get("foot", "")),
        language=str(given.get("language", "en")),
    )


def _one_title(blocks: Sequence[Block]) -> list[Block]:
    """Leave out a markdown title that asks the same question as the headline."""
    questions = {block.question.strip() for block in blocks if isinstance(block, Headline)}
    return [
        block
        for block in blocks
        if not (
            isinstance(block, Section) and block.level == 1 and block.title.strip() in questions
        )
    ]


def _date(value: object) -> datetime.date | None:
    if value is None or isinstance(value, datetime.date):
        return value
    try:
        return datetime.date.fromisoformat(str(value))
    except ValueError:
        raise ReportError(
            f"The date of the report is '{value}', expected a day such as 2026-01-14."
        ) from None


def cell_blocks(cell: Cell, where: str, show_code: bool) -> Iterator[Block]:
    """Blocks of one cell: its Markdown, or its outputs."""
    source = "".join(cell["source"])
    if cell["cell_type"] == "markdown":
        yield from markdown_blocks(source, where=where)
    elif cell["cell_type"] == "code":
        if show_code and source.strip():
            yield Preformatted(source.rstrip(), is_code=True)
        for output in cell.get("outputs", []):
            yield from _output_blocks(output, where, source)


def _output_blocks(output: Mapping[str, Any], where: str, source: str) -> Iterator[Block]:
    kind = output["output_type"]
    if kind == "error":
        raise ReportError(
            Problem(
                f"{where} ('{_first_line(source)}')",
                f"it ended with {output.get('ename', 'an error')}: {output.get('evalue', '')}",
                "Mend the cell and run the notebook again.",
            )
        )
    if kind == "stream":
        if output.get("name") == "stdout":  # the other stream is progress and warnings
            yield from _plain(output.get("text", ""))
        return
    data = output.get("data", {})
    if MIME in data:
        try:
            yield from_json(data[MIME])
        except ReportError as error:
            raise ReportError([Problem(where, str(p), p.remedy) for p in error.problems]) from None
    else:
        yield from _plain(data.get("text/plain", ""))


def _plain(text: str | Sequence[str]) -> Iterator[Block]:
    joined = re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", "".join(text)).strip("\n")
    if joined.strip() and not _BARE_DISPLAY.fullmatch(joined.strip()):
        yield Preformatted(joined)


def _first_line(source: str) -> str:
    lines = [line.strip() for line in source.splitlines() if line.strip()]
    return f"{lines[0]:.60}" if lines else ""
