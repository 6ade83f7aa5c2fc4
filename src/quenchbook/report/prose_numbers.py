"""The author's own sentences, checked for numbers that no result of the notebook contains.

A list for the author, never a block and never in the output: a number may come from elsewhere and
be right. Numbers of lists and headings, years, references to figures and standards, numbers in
code, formulas, addresses and quoted words are left alone.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any, Final

from quenchbook.errors import QuenchbookWarning
from quenchbook.report.blocks import (
    Block,
    Bullets,
    FigureBlock,
    Paragraph,
    Runs,
    Section,
    TableBlock,
)
from quenchbook.report.characters import shortened
from quenchbook.report.from_notebook import cell_blocks, edition_cells
from quenchbook.report.written_numbers import (
    WrittenNumber,
    with_unit_of,
    written_dates,
    written_numbers,
)
from quenchbook.units import with_unit

_FEW_ROWS: Final = 40  # a longer table holds single coupons: almost any number stands in it
_PICTURES: Final = frozenset(("svg", "png_base64", "glyph_svg", "gauge_svg", "data_csv", "key"))
_SENTENCE_END: Final = re.compile(r"(?<=[.!?])\s+(?=[^\sa-z])|\n")
_NUMBERED: Final = re.compile(r"^\s*(?:\(?\d+(?:\.\d+)*[.)]|\d+(?:\.\d+)+)(?=\s)")
_REFERENCE: Final = re.compile(
    r"\b(?:fig(?:ure)?s?|tab(?:le)?s?|sections?|chapters?|pages?|pp?|nos?|nr|equations?|eqs?|refs?|"
    r"notes?|steps?|vol(?:ume)?|version|grade|type|cells?|ISO|ASTM|DIN|EN|SAE|AISI|JIS|EN ISO)"
    r"\.?\s*(?:\d+\s*(?:-|–|,|and|to)\s*)*$",
    re.IGNORECASE,
)
_YEARS: Final = range(1800, 2101)
_ENDINGS: Final[Mapping[str, str]] = {
    "c": "°C", "hrc": "HRC", "j": "J", "minutes": "min", "hours": "h", "mm": "mm", "percent": "%",
}  # fmt: skip
_SLACK: Final = 1e-9  # of floats; far below the last digit of any number in print


@dataclass(frozen=True)
class UnfoundNumber:
    """A number of the author's prose that no result contains.

    Attributes
    ----------
    cell : str
        As in ``cell 4``.
    sentence, number, nearest : str
        Where it stands, the number, and the nearest result; empty if there is none of its kind.
    """

    cell: str
    sentence: str
    number: str
    nearest: str

    def __str__(self) -> str:
        nearest = f"nearest: {self.nearest}" if self.nearest else "none of its kind"
        return (
            f"{self.cell}: {self.number} is in no result ({nearest}). "
            f"It stands in: {shortened(self.sentence, 160)}"
        )


@dataclass
class _Results:
    """Everything the results say: numbers, days, and rows of long tables by their first cell."""

    numbers: list[WrittenNumber] = field(default_factory=list)
    days: set[datetime.date] = field(default_factory=set)
    rows: dict[str, list[WrittenNumber]] = field(default_factory=dict)
    words: set[str] = field(default_factory=set)

    def add_text(self, text: str) -> None:
        self.numbers += written_numbers(text)
        self.days.update(day for _, day in written_dates(text))
        self.words.update(re.findall(r"\b[0-9a-f]{6,}\b", text))

    def add_table(self, units: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        for row in rows:
            found = [
                with_unit_of(number, unit)
                for unit, cell in zip(units, row, strict=False)
                for number in written_numbers(cell)
            ]
            if len(rows) <= _FEW_ROWS:
                self.numbers += found
            elif row and re.search("[A-Za-z]", row[0]):
                self.rows.setdefault(row[0], []).extend(found)
            for cell in row:
                self.days.update(day for _, day in written_dates(cell))
        if len(rows) > _FEW_ROWS:
            self.numbers += written_numbers(str(len(rows)))

    def for_sentence(self, sentence: str) -> list[WrittenNumber]:
        """Numbers that a sentence may quote: those of a single coupon only if it is named."""
        named = [
            found
            for word in set(re.findall(r"[\w-]+", sentence))
            for found in self.rows.get(word, [])
        ]
        return [*self.numbers, *named]


def unfound_numbers(
    notebook: Mapping[str, Any], edition: str = "public", *, appendix: bool = True
) -> list[UnfoundNumber]:
    """Numbers in the Markdown cells of an executed notebook that none of its outputs contain.

    A number is contained if a result rounds to it: 1.3 is found in 1.27, and so is 34 °F for a
    difference of 19 °C, and 1778 °F beside 970 °C where that is found. A sign may stand in words, a
    share as per cent; ``about 1000`` allows for its zeros.

    Parameters
    ----------
    notebook : NotebookNode
        Executed.
    edition : {"public", "supporters"}
        Only cells of this edition are read, both for prose and for results.
    appendix : bool
        Whether cells tagged ``appendix`` are in it.

    Returns
    -------
    list of UnfoundNumber
    """
    prose: list[tuple[str, Block]] = []
    results = _Results()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", QuenchbookWarning)  # told when the document is made
        for number, cell in edition_cells(notebook, edition, appendix=appendix):
            where = f"cell {number}"
            blocks = list(cell_blocks(cell, where, False))
            if cell["cell_type"] == "markdown":
                prose += [(where, block) for block in blocks]
            else:
                _gather(blocks, results)
    return [
        found
        for where, block in prose
        for sentence in _sentences(block)
        for found in _unfound(sentence, where, results)
    ]


def _gather(part: Any, results: _Results) -> None:
    """Take in every text of the blocks."""
    if isinstance(part, str):
        results.add_text(part)
    elif isinstance(part, TableBlock):
        results.add_table([column.unit for column in part.columns], part.rows)
        _gather([part.caption, part.notes, part.columns], results)
    elif part is None or isinstance(part, Mapping | bool | int):
        return
    elif is_dataclass(part):
        if isinstance(part, FigureBlock) and part.data_csv:
            head, *rows = list(csv.reader(io.StringIO(part.data_csv))) or [[]]
            results.add_table([_ENDINGS.get(n.rpartition("_")[2], "") for n in head], rows)
        for one in fields(part):
            if one.name not in _PICTURES:
                _gather(getattr(part, one.name), results)
    elif isinstance(part, Iterable):
        for one in part:
            _gather(one, results)


def _sentences(block: Block) -> Iterator[str]:
    for text in _texts(block):
        for sentence in _SENTENCE_END.split(_NUMBERED.sub("", text)):
            if sentence.strip():
                yield sentence.strip()


def _texts(block: Block) -> Iterator[str]:
    """Prose of a block; the words of others, code and formulas are not in it."""
    if isinstance(block, Section):
        yield block.title
    elif isinstance(block, Paragraph):
        yield _prose(block.runs)
    elif isinstance(block, Bullets):
        yield from map(_prose, block.items)
        for below in filter(None, block.below):
            yield from _texts(below)
    elif isinstance(block, TableBlock):
        for row in block.rows:
            yield from row


def _prose(runs: Runs) -> str:
    return "".join(
        run if isinstance(run, str) else "\u2026" if run.code or run.math else run.text
        for run in runs
    )


def _unfound(sentence: str, where: str, results: _Results) -> Iterator[UnfoundNumber]:
    known = results.for_sentence(sentence)
    numbers = written_numbers(sentence)
    found = [number for number in numbers if any(_fits(number, k) for k in known)]
    for number in numbers:
        if number in found or _is_left_alone(number, sentence):
            continue
        if not any(_is_in_other_unit(number, own) for own in found):
            yield UnfoundNumber(where, sentence, number.text, _nearest(number, known))
    for text, day in written_dates(sentence):
        if day not in results.days:
            yield UnfoundNumber(where, sentence, text, "")
    for text in re.findall(r"\bplan ([0-9a-f]{6,})\b", sentence, re.IGNORECASE):
        if not any(word.startswith(text) for word in results.words):
            yield UnfoundNumber(where, sentence, f"plan {text}", "")


def _is_left_alone(number: WrittenNumber, sentence: str) -> bool:
    bare = not number.dimension or number.inherited
    if bare and re.fullmatch(r"\d{4}", number.text) and int(number.value) in _YEARS:
        return True
    before = sentence[: number.start].rstrip("+-\u2212")
    if re.search(r"\bplan $", before, re.IGNORECASE):
        return True  # its hash is compared as a word
    return bare and _REFERENCE.search(before) is not None


def _fits(number: WrittenNumber, known: WrittenNumber) -> bool:
    """Whether a result rounds to a number of the prose."""
    converted = bool(number.unit and known.unit and number.unit != known.unit)
    return any(
        abs(value - found) <= (half + (known_half if converted else 0.0)) * (1 + 1e-6) + _SLACK
        for dimension, value, half in number.readings
        for kind, found, known_half in known.readings
        if _comparable(dimension, kind, known)
    )


def _is_in_other_unit(number: WrittenNumber, beside: WrittenNumber) -> bool:
    """Whether it is a found number of the sentence once more: ``970 °C (1778 °F)``.

    What stands in brackets is the printed number converted, which a result of 970.4 need not round
    to.
    """
    units = {number.unit, beside.unit}
    same = number.dimension == beside.dimension
    return bool(same and all(units) and len(units) > 1 and _fits(number, beside))


def _comparable(dimension: str, kind: str, known: WrittenNumber) -> bool:
    """Same kind; a plain number meets any kind, a unit also a result that tells none."""
    return dimension == kind or not dimension or (not kind and known.decimals > 0)


def _nearest(number: WrittenNumber, known: Sequence[WrittenNumber]) -> str:
    found = [
        (abs(value - other), with_unit(one.text, one.unit if one.inherited else ""))
        for dimension, value, _ in number.readings
        for one in known
        for kind, other, _ in one.readings
        if dimension == kind
    ]
    return min(found)[1] if found else ""
