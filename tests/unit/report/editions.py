"""A study with everything that only supporters get, for tests of editions and outputs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_notebook, new_output
from PIL import Image

from quenchbook.findings.answers import Analysis
from quenchbook.report.blocks import MIME, Block
from quenchbook.report.contents import report_appendix
from quenchbook.report.first_page import report_answer
from quenchbook.report.summary_words import report_summary
from quenchbook.report.supporters import report_readings, report_supporters
from quenchbook.study.publishing import Photo, Publishing

SUPPORT: Final = "Zinnober paid for the nitrogen."
CAPTION: Final = "Vermilion glow of load three."
ALT: Final = "A crimson chamber with foil packets in a row."
ONLY_SUPPORTERS: Final = (
    "Zinnober", "Vermilion", "crimson", "For supporters", "What the study cost", "hours of own work",
    "not told", "every single reading", "photo_1",
)  # fmt: skip


def supported(analysis: Analysis, folder: Path) -> Analysis:
    """Same analysis, of a study with supporters and a photograph in `folder`."""
    Image.new("RGB", (60, 40), (200, 40, 20)).save(folder / "glow.jpg")
    told = Publishing(support=SUPPORT, photos=(Photo("glow.jpg", CAPTION, ALT),))
    return replace(analysis, study=replace(analysis.study, publishing=told, folder=folder))


def report_notebook(analysis: Analysis) -> NotebookNode:
    """Executed notebook with cells of both editions."""
    cells = [
        ((), [*report_answer(analysis), *report_summary(analysis)]),
        (("supporters",), report_supporters(analysis)),
        (("appendix",), report_appendix(analysis)),
        (("appendix", "supporters"), report_readings(analysis)),
    ]
    return new_notebook(cells=[_shown(blocks, tags) for tags, blocks in cells])


def _shown(blocks: list[Block], tags: tuple[str, ...]) -> NotebookNode:
    outputs = [new_output("display_data", data={MIME: block.to_json()}) for block in blocks]
    return new_code_cell("", outputs=outputs, metadata={"tags": list(tags)})
