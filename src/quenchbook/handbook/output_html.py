"""HTML of a notebook's output to blocks: only what blocks can say passes, never HTML itself."""

from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser
from typing import Final

from quenchbook.handbook.output_tables import OutputCell, OutputTable, cells_spanned, table_block
from quenchbook.report.blocks import (
    Block,
    Bullets,
    FigureBlock,
    Paragraph,
    Preformatted,
    Run,
    Runs,
    plain_text,
)

_SILENT: Final = ("style", "script", "head", "template", "title")
_BREAKS: Final = (
    "p", "div", "h1", "h2", "h3", "h4", "h5", "h6", "summary", "details", "section", "blockquote",
    "figcaption", "caption", "dt", "dd", "hr",
)  # fmt: skip
_STRONG: Final = ("b", "strong", "h1", "h2", "h3", "h4", "h5", "h6", "summary", "dt")
_PICTURE: Final = re.compile(r"data:image/(png|jpeg);base64,([A-Za-z0-9+/=\s]+)")


def output_blocks(page: str, key: str) -> list[Block]:
    """Blocks that say what a piece of HTML says.

    Parameters
    ----------
    page : str
        HTML of an output, as a result shows itself.
    key : str
        Name of the cell, for the keys of tables and figures.

    Returns
    -------
    list of Block
        Paragraphs, lists, tables, figures with alternative text. Scripts, styles, controls and
        links are left out; headings become bold lines, so that the page keeps its own order.
    """
    reader = _Reader(key)
    reader.feed(page)
    reader.close()
    reader.end_paragraph()
    return reader.blocks


class _Reader(HTMLParser):
    def __init__(self, key: str) -> None:
        super().__init__(convert_charrefs=True)
        self.key = key
        self.blocks: list[Block] = []
        self.runs: list[str | Run] = []
        self.strong = self.emphasis = self.code = self.silent = self.figure = 0
        self.pre = False
        self.table: OutputTable | None = None
        self.cell: list[str] | None = None
        self.spans = (1, 1)
        self.items: list[Runs] | None = None
        self.ordered = False
        self.picture: FigureBlock | None = None
        self.notes: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = dict(attrs)
        if tag in _SILENT:
            self.silent += 1
        if self.silent:
            return
        if self.table is not None:
            self._table_tag(tag, own)
        if tag == "br":
            self._say("\n")
        elif tag == "img":
            self._img(own)
        elif tag == "figure":
            self.end_paragraph()
            self.figure += 1
        elif tag == "table" and self.table is None:
            self.end_paragraph()
            self.table = OutputTable()
        elif tag in ("ul", "ol"):
            self._end_list()
            self.end_paragraph()
            self.items, self.ordered = [], tag == "ol"
        elif tag in ("li", "pre") or tag in _BREAKS:
            self.end_paragraph()
        self.pre = self.pre or tag == "pre"
        self.strong += tag in _STRONG
        self.emphasis += tag in ("em", "i")
        self.code += tag == "code"

    def handle_endtag(self, tag: str) -> None:
        if tag in _SILENT:
            self.silent = max(0, self.silent - 1)
            return
        if self.silent:
            return
        if self.table is not None and tag in ("td", "th", "caption", "thead", "table"):
            self._table_end(tag)
        if tag in ("li", "pre", "figure") or tag in _BREAKS:
            self.end_paragraph()
        if tag == "pre":
            self.pre = False
        if tag in ("ul", "ol"):
            self._end_list()
        if tag == "figure":
            self.figure = max(0, self.figure - 1)
            self._end_figure()
        self.strong = max(0, self.strong - (tag in _STRONG))
        self.emphasis = max(0, self.emphasis - (tag in ("em", "i")))
        self.code = max(0, self.code - (tag == "code"))

    def handle_data(self, data: str) -> None:
        if self.silent:
            return
        if self.cell is not None:
            self.cell.append(data)
        elif self.table is None:
            self._say(data if self.pre else re.sub(r"[ \t\r\n]+", " ", data))

    def _say(self, words: str) -> None:
        if self.cell is not None:
            self.cell.append(words)
            return
        run = Run(words, strong=self.strong > 0, emphasis=self.emphasis > 0, code=self.code > 0)
        self.runs.append(words if run == Run(words) else run)

    def end_paragraph(self) -> None:
        """Make a block of the words gathered so far."""
        runs, self.runs = _trimmed(self.runs), []
        if not plain_text(runs).strip():
            return
        if self.pre:
            self.blocks.append(Preformatted(plain_text(runs).strip("\n")))
        elif self.items is not None:
            self.items.append(runs)
        elif self.picture is not None:
            self._caption(runs)
        else:
            self.blocks.append(Paragraph(runs))

    def _end_list(self) -> None:
        if self.items:
            self.end_paragraph()
            self.blocks.append(Bullets(tuple(self.items), ordered=self.ordered))
        self.items = None

    def _img(self, own: dict[str, str | None]) -> None:
        match = _PICTURE.fullmatch(own.get("src") or "")
        alt = (own.get("alt") or "").strip()
        if not match or not alt:
            return
        number = sum(isinstance(block, FigureBlock) for block in self.blocks) + 1
        picture = FigureBlock(
            key=f"{self.key}-{number}", svg="", png_base64=re.sub(r"\s", "", match[2]),
            finding="", alt=alt, bitmap=match[1],
        )  # fmt: skip
        self._end_figure()
        self.picture = picture
        if not self.figure:
            self._end_figure()

    def _caption(self, runs: Runs) -> None:
        """Caption of our own figures: the finding is bold, notes stand on lines of their own."""
        assert self.picture is not None
        bold = "".join(run.text for run in runs if isinstance(run, Run) and run.strong)
        rest = "".join(
            run if isinstance(run, str) else "" if run.strong else run.text for run in runs
        ).strip()
        reading, *notes = rest.split("\n")
        self.picture = replace(
            self.picture,
            finding=bold.strip() or reading,
            reading=reading.strip() if bold.strip() else "",
            notes=tuple(note.strip() for note in notes if note.strip()),
        )

    def _end_figure(self) -> None:
        if self.picture is not None:
            own = self.picture
            self.picture = None
            self.blocks.append(own if own.finding else replace(own, finding=own.alt))

    def _table_tag(self, tag: str, own: dict[str, str | None]) -> None:
        assert self.table is not None
        if tag == "thead":
            self.table.in_head = True
        elif tag == "tr":
            self.table.rows.append([])
        elif tag in ("td", "th", "caption"):
            self.cell = []
            self.spans = cells_spanned(own.get("rowspan")), cells_spanned(own.get("colspan"))

    def _table_end(self, tag: str) -> None:
        assert self.table is not None
        table = self.table
        if tag == "thead":
            table.in_head = False
        elif tag == "table":
            self.table = None
            block = table_block(table, f"{self.key}-{len(self.blocks) + 1}")
            self.blocks += [block] if block else []
        elif self.cell is not None:
            words = re.sub(r"[ \t\r\n]+", " ", "".join(self.cell)).strip()
            self.cell = None
            if tag == "caption":
                table.caption = words
            else:
                if not table.rows:
                    table.rows.append([])
                table.rows[-1].append(OutputCell(words, *self.spans, is_head=tag == "th"))


def _trimmed(runs: list[str | Run]) -> Runs:
    """Runs without blanks at both ends."""
    found = list(runs)
    while found and not plain_text((found[0],)).strip():
        found.pop(0)
    while found and not plain_text((found[-1],)).strip():
        found.pop()
    if found and isinstance(found[0], str):
        found[0] = found[0].lstrip()
    if found and isinstance(found[-1], str):
        found[-1] = found[-1].rstrip()
    return tuple(found)
