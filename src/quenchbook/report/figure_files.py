"""Figures of a report as files: SVG, PNG and the numbers behind each, with an index."""

from __future__ import annotations

import base64
import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.report.blocks import FigureBlock
from quenchbook.report.characters import shown
from quenchbook.report.guarded_csv import guarded
from quenchbook.report.own_folder import write_own_folder
from quenchbook.report.page_fonts import font_faces
from quenchbook.report.svg import svg_picture

if TYPE_CHECKING:
    from quenchbook.report.document import Document
    from quenchbook.report.edition import Edition

INDEX: Final = "figures.csv"
_COLUMNS: Final = ("figure", "key", "svg", "png", "csv", "finding", "alt")
_LONGEST_KEY: Final = 60


def write_figures_edition(edition: Edition) -> list[Path]:
    """Write every figure of an edition as SVG, PNG and CSV; returns their index.

    The folder is ``KEY_figures``. A photograph is a JPEG or PNG without SVG and CSV. In the tables
    an apostrophe stands before what a spreadsheet would take for a formula.
    """
    paths = write_own_folder(edition.path("_figures"), figure_files(edition.document))
    return [path for path in paths if path.name == INDEX]


def figure_files(document: Document) -> dict[str, bytes]:
    """Name and bytes of each file, the index last.

    Parameters
    ----------
    document : Document

    Returns
    -------
    dict of str to bytes
        ``figure_01_noise_budget.svg`` and so on; `INDEX` says what each figure shows.
    """
    figures = list(numbered_figures(document))
    faces = _faces([block.svg for _, block in figures])
    files: dict[str, bytes] = {}
    rows = []
    for number, block in figures:
        stem = figure_stem(number, block.key)
        own = {}
        if block.svg:
            own["svg"] = svg_picture(
                block.svg, where=f"figure '{block.key}'", title=block.alt, style=faces
            )
        if block.png_base64:
            own[bitmap_end(block)] = base64.b64decode(block.png_base64)
        if block.data_csv:
            own["csv"] = _guarded_csv(block.data_csv)
        files |= {f"{stem}.{end}": data for end, data in own.items()}
        bitmap = bitmap_end(block)
        names = [f"{stem}.{end}" if end in own else "" for end in ("svg", bitmap, "csv")]
        rows.append((str(number), _cell(block.key), *names, _cell(block.finding), _cell(block.alt)))
    return {**files, INDEX: _table(rows)}


def numbered_figures(document: Document) -> Iterator[tuple[int, FigureBlock]]:
    """Figures with the numbers they have on the page."""
    for placed in document.placed:
        if isinstance(placed.block, FigureBlock):
            yield int(placed.label.split()[-1]), placed.block


def figure_stem(number: int, key: str) -> str:
    """Name of the files of a figure, of plain letters only.

    >>> figure_stem(3, "Noise / budget")
    'figure_03_noise_budget'
    """
    plain = re.sub(r"[^a-z0-9]+", "_", key.lower()).strip("_")[:_LONGEST_KEY].strip("_")
    return f"figure_{number:02d}" + (f"_{plain}" if plain else "")


def bitmap_end(block: FigureBlock) -> str:
    """End of the name of a bitmap: ``png`` or ``jpg``."""
    return "jpg" if block.bitmap == "jpeg" else "png"


def _faces(svgs: Sequence[str]) -> str:
    """Font of all figures: a machine without it would let their words collide."""
    texts = [own for svg in svgs for own in re.findall(r">([^<]+)<", svg)]
    return font_faces("".join(texts)) if texts else ""


def _cell(text: str) -> str:
    """Text of an index on one line that no spreadsheet takes for a formula."""
    return guarded(" ".join(shown(text).split()))


def _guarded_csv(text: str) -> bytes:
    """Numbers behind a figure, every text of them as no spreadsheet takes for a formula."""
    rows = csv.reader(io.StringIO(text, newline=""))
    return _lines([cell if cell == "-inf" else guarded(cell) for cell in row] for row in rows)


def _table(rows: Sequence[Sequence[str]]) -> bytes:
    return _lines([_COLUMNS, *rows])


def _lines(rows: Iterable[Sequence[str]]) -> bytes:
    page = io.StringIO()
    writer = csv.writer(page, lineterminator="\n")
    writer.writerows(rows)
    return page.getvalue().encode("utf-8")
