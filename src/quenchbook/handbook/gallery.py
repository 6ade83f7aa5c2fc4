"""Gallery: each notebook of one question becomes a page, and a card that leads to it."""

from __future__ import annotations

import base64
import io
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.handbook.docstrings import first_sentence_of
from quenchbook.handbook.output_html import output_blocks
from quenchbook.handbook.own_blocks import Card
from quenchbook.handbook.page_source import check_links
from quenchbook.handbook.site_page import SitePage
from quenchbook.report.blocks import (
    MIME,
    Block,
    FigureBlock,
    Paragraph,
    Section,
)
from quenchbook.report.from_notebook import cell_blocks

if TYPE_CHECKING:
    from nbformat import NotebookNode
    from PIL.Image import Image

QUESTIONS: Final = ("notebooks", "questions")
FINDING: Final = "The finding on the demonstration, in words"
"""Head of the section whose first sentence stands on the card of a question."""

NOT_RUN: Final = (
    "This page was made without running its notebook: figures, tables and answers are missing."
)
_CARD_WIDTH: Final = 480  # pixels: a card is at most half as wide on the page
_CARD_SHAPE: Final = 0.85  # height over width
_CARD_COLOURS: Final = 128


def question_notebooks() -> list[Path]:
    """Notebooks of the gallery that come with quenchbook, in order of their names."""
    from quenchbook.study_folder import resource

    return sorted(resource(*QUESTIONS).glob("*.ipynb"))


def executed_questions(
    paths: Sequence[Path], progress: Callable[[int, int], None] | None = None
) -> dict[str, NotebookNode]:
    """Notebooks by their names, each run from a clean kernel, as many at once as there are cores.

    They run in a copy of notebooks and data, so nothing that comes with quenchbook is changed.

    Parameters
    ----------
    paths : sequence of Path
    progress : callable, optional
        Called with the number of notebooks done and the number of all.
    """
    from jupyter_core.utils import ensure_event_loop

    from quenchbook.report.run import executed

    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    with tempfile.TemporaryDirectory(prefix="quenchbook-handbook-") as place:
        questions = data_copy(Path(place)).joinpath(*QUESTIONS)
        questions.mkdir(parents=True)

        def run(path: Path) -> NotebookNode:
            try:
                return executed(shutil.copy(path, questions), parameters={}, folder=questions)
            finally:
                ensure_event_loop().close()  # that of this thread, which nobody else closes

        found = {}
        with ThreadPoolExecutor(max_workers=max(1, min(cores or 1, len(paths)))) as pool:
            for path, notebook in zip(paths, pool.map(run, paths), strict=True):
                _check_places(path, notebook, place)
                found[path.stem] = notebook
                if progress is not None:
                    progress(len(found), len(paths))
    return found


def data_copy(place: Path) -> Path:
    """Copy the data that come with quenchbook into a folder, as the pages name it: ``data/...``."""
    from quenchbook.study_folder import resource

    shutil.copytree(resource("data"), place / "data", ignore=shutil.ignore_patterns("__pycache__"))
    return place


def plain_notebook(path: Path) -> NotebookNode:
    """Notebook as it lies there, with nothing run."""
    import nbformat

    notebook: NotebookNode = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    return notebook


def question_page(name: str, notebook: Mapping[str, Any], *, ran: bool = True) -> SitePage:
    """Page of a notebook: its words, its code, what the code showed."""
    blocks: list[Block] = []
    for number, cell in enumerate(notebook["cells"], start=1):
        if not {"remove-cell", "setup"} & set(cell.get("metadata", {}).get("tags", [])):
            blocks += _cell_blocks(cell, f"{name}.ipynb cell {number}")
    first = blocks[0] if blocks else None
    if not isinstance(first, Section) or first.level != 1:
        raise ReportError(
            Problem(f"{name}.ipynb", "does not begin with a title", "Write '# Question?' first.")
        )
    if not ran:
        blocks.insert(1, Paragraph((NOT_RUN,)))
    return SitePage(name, first.title, tuple(blocks), "questions")


def card_of(page: SitePage) -> Card:
    """Card of a page: question, first sentence of the finding, first figure made small."""
    figure = next((own for own in page.blocks if isinstance(own, FigureBlock)), None)
    picture = _small_picture(figure.png_base64) if figure and figure.png_base64 else ""
    return Card(
        page.title,
        page.file,
        _finding_sentence(page.blocks),
        picture,
        figure.alt if figure and picture else "",
    )


def _cell_blocks(cell: Mapping[str, Any], where: str) -> Iterator[Block]:
    """Blocks of a cell; results that show themselves as HTML are read from it."""
    source = "".join(cell["source"])
    if cell["cell_type"] == "markdown":
        check_links(source, where)
    bare = {**cell, "outputs": []}
    yield from cell_blocks(bare, where, show_code=True)
    for number, output in enumerate(cell.get("outputs", []), start=1):
        data = output.get("data", {})
        page = "".join(data.get("text/html", ""))
        if page.strip() and MIME not in data:
            yield from output_blocks(page, re.sub(r"\W+", "-", f"{where}-{number}"))
        else:
            shown = {**cell, "source": "", "outputs": [output]}
            yield from (own for own in cell_blocks(shown, where, show_code=False))


def _check_places(path: Path, notebook: NotebookNode, place: str) -> None:
    """Raise if an output names a folder of this machine: no two builds would be alike."""
    shown = str([cell.get("outputs", []) for cell in notebook.cells])
    if place in shown or str(Path(place).resolve()) in shown:
        raise ReportError(
            Problem(path.name, "an output names a folder of this machine", "Show a relative path.")
        )


def _finding_sentence(blocks: Sequence[Block]) -> str:
    started = False
    for block in blocks:
        if isinstance(block, Section):
            if started:
                break
            started = block.title == FINDING
        elif started and isinstance(block, Paragraph):
            return first_sentence_of(block.runs)
    return ""


def _card_height(picture: Image) -> int:
    """Height of the top of a picture that fits a card: it ends in the widest gap between parts."""
    import numpy as np

    highest = round(_CARD_SHAPE * picture.width)
    if picture.height <= highest:
        return picture.height
    pixels = np.asarray(picture)
    empty = (pixels[:highest] == pixels[:1, :1]).all(axis=(1, 2))
    rows = np.flatnonzero(empty & (np.arange(highest) >= highest / 2))
    if not len(rows):
        return picture.height
    gaps = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    widest = max(gaps, key=lambda own: (len(own), own[0]))
    return int(widest[len(widest) // 2])


def _small_picture(png_base64: str) -> str:
    """Picture for a card: few pixels and colours, the same bytes each time."""
    import PIL.Image

    with PIL.Image.open(io.BytesIO(base64.b64decode(png_base64))) as opened:
        picture = opened.convert("RGB")
    picture = picture.crop((0, 0, picture.width, _card_height(picture)))
    width = min(_CARD_WIDTH, picture.width)
    height = max(1, round(picture.height * width / picture.width))
    small = picture.resize((width, height), PIL.Image.Resampling.LANCZOS)
    written = io.BytesIO()
    # without the two rounds of means the few pixels of a route would turn grey
    small.quantize(_CARD_COLOURS, kmeans=2).save(written, format="PNG", optimize=True)
    return base64.b64encode(written.getvalue()).decode("ascii")
