"""The example studies published in both unit systems, and one with impact energy as differences."""

from __future__ import annotations

import dataclasses
import functools
import json
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import quenchbook as qb
from quenchbook.findings.answers import Analysis
from quenchbook.findings.headlines import study_names
from quenchbook.findings.plain_answers import plain_answer
from quenchbook.findings.verdicts import VERDICTS, Finding
from quenchbook.plots.share_words import SmallPicture
from quenchbook.report.blocks import Block, FigureBlock, TableBlock
from quenchbook.report.summary_words import short_answer, short_interval

DATA = Path(__file__).parent.parent / "data"
NOTEBOOK = DATA.parent / "notebooks" / "05_report.ipynb"
IN_JOULES = "plane_irons, differences in J"
STUDIES = (*sorted(own.name for own in DATA.iterdir() if own.is_dir()), IN_JOULES)
SLOW = ("leaf_springs", "plane_irons", "steel_bars", IN_JOULES)
"""No temperature in two of them; the demo study draws many figures."""

# what the demo study does not ask, and the same asked of impact energy in J
_MORE = """
[[questions]]
key = "target"
words = "Where do coupons reach the target?"
response = "hardness"
asks = "target_window"
along = "austenitize"
at = { cold_route = "dry_ice" }
target = "62 HRC"

[[questions]]
key = "curve"
words = "How much hotter does the curve lie?"
response = "hardness"
asks = "curve_shift"
along = "austenitize"
compare = { cold_route = ["dry_ice", "none"] }

[[questions]]
key = "temper_j"
words = "Which temper is tough enough?"
response = "impact"
asks = "temper_for"
along = "temper"
target = "15 J"

[[questions]]
key = "temper_term"
words = "Does the temper matter?"
response = "impact"
term = "temper"

[[questions]]
key = "decade_j"
words = "What does ten times the wait cost in toughness?"
response = "impact"
asks = "per_decade"
along = "delay"

[[questions]]
key = "peak_j"
words = "At which austenitize is it toughest?"
response = "impact"
asks = "peak"
along = "austenitize"

[[questions]]
key = "window_j"
words = "How exact must the furnace be for toughness?"
response = "impact"
asks = "working_window"
along = "austenitize"
within = "2 J"

[[questions]]
key = "target_j"
words = "Where do coupons reach an impact energy?"
response = "impact"
asks = "target_window"
along = "austenitize"
target = "10 J"
"""


@functools.cache
def both_units_analysis(name: str) -> Analysis:
    """Analysis of an example study with ``units = "both"``."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "study"
        shutil.copytree(DATA / name.partition(",")[0], folder)
        path = folder / "study.toml"
        text = path.read_text(encoding="utf-8")
        if name == IN_JOULES:
            text = re.sub(r'scale = "log".*\n', "", text)
            text = text.replace('equivalence_margin = "15 %"', 'equivalence_margin = "2 J"')
            text += _MORE
        if "[publishing]" in text:
            text = text.replace('units = "metric"', 'units = "both"')
        else:
            text += '\n[publishing]\nunits = "both"\n'
        path.write_text(text, encoding="utf-8")
        return qb.analyse(qb.read_folder(folder)[2])


@functools.cache
def report_blocks(name: str) -> tuple[Block, ...]:
    """Everything a report says of a study, in every edition: each cell of the report notebook."""
    analysis = both_units_analysis(name)
    evidence = qb.read_evidence(DATA / name.partition(",")[0], analysis.study)
    said: list[Block] = []
    for maker in _makers():
        more = (evidence,) if maker == "report_evidence" else ()
        said += getattr(qb, maker)(analysis, *more)
    return tuple(said)


def _makers() -> list[str]:
    """Functions whose blocks the report notebook shows; a cell of another form is an error."""
    cells = json.loads(NOTEBOOK.read_text(encoding="utf-8"))["cells"]
    makers = []
    for cell in cells:
        tags = cell["metadata"].get("tags", [])
        if cell["cell_type"] == "code" and not {"parameters", "setup"} & set(tags):
            found = re.fullmatch(
                r"qb\.show\(qb\.(report_\w+)\(analysis\)\)", "".join(cell["source"])
            )
            if found is None:
                raise ValueError(f"{NOTEBOOK.name}: the blocks of this cell are not known: {cell}")
            makers.append(found[1])
    return makers


def answer_words(name: str) -> Iterator[str]:
    """Every answer of a study as plain sentence and in one line, also those that no page shows."""
    analysis = both_units_analysis(name)
    for own in analysis.findings:
        yield from (plain_answer(own, study_names(analysis.study)), short_answer(own))
        yield short_interval(own)
        for verdict in VERDICTS if isinstance(own, Finding) and own.unit else ():
            as_if = dataclasses.replace(own, verdict=verdict, margin=own.margin or 2.0)
            yield from (plain_answer(as_if), short_answer(as_if), short_interval(as_if))


def words_of_authors(analysis: Analysis) -> tuple[str, ...]:
    """Prose of the study file and of the records: it stays as its author wrote it."""
    study, records = analysis.study, analysis.records
    asked = [own.words for own in (*study.questions, *study.trade_questions)]
    notes = [str(own) for own in records.deviations["note"] if isinstance(own, str)]
    return tuple(filter(None, (study.question, study.title, *asked, *study.notes, *notes)))


def texts_of(block: object) -> Iterator[str]:
    """Sentences, captions, alternative texts and cells of a block; no picture, no data."""
    if isinstance(block, str):
        yield block
    elif isinstance(block, TableBlock):
        yield from (block.caption, *block.notes, *(cell for row in block.rows for cell in row))
    elif isinstance(block, FigureBlock):
        yield from (block.finding, block.reading, *block.notes, block.alt)
    elif isinstance(block, SmallPicture):
        yield from (block.alt, block.reading, *(words for _, words, _ in block.groups))
    elif isinstance(block, tuple | list):
        if all(isinstance(own, str) or hasattr(own, "text") for own in block):
            yield "".join(getattr(own, "text", own) for own in block)  # pieces of one sentence
            yield from filter(None, (getattr(own, "note", None) for own in block))
        else:
            for own in block:
                yield from texts_of(own)
    elif dataclasses.is_dataclass(block):
        for own in dataclasses.fields(block):
            if not own.name.endswith("svg"):
                yield from texts_of(getattr(block, own.name))
