"""Compare an archive of open data with what its own study, plan and records give again."""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.report.archive import CHECKSUMS
from quenchbook.report.blocks import FindingRows, Headline, Paragraph, plain_text
from quenchbook.report.characters import shown
from quenchbook.report.guarded_csv import INTEGER, NUMBER, rows_of_csv, rows_of_json_lines

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.report.data_tables import DataTable

RELATIVE_TOLERANCE: Final = 1e-6  # another BLAS or SciPy moves the eighth digit, not the sixth
ABSOLUTE_TOLERANCE: Final = 1e-12  # what is zero but for rounding
LARGEST_PAGE: Final = 100_000_000  # bytes of a report that is looked at
_LISTED: Final = re.compile(r"([0-9a-f]{64}) [ *](.+)")


@dataclass(frozen=True)
class Difference:
    """One thing that is not as it is recomputed.

    Attributes
    ----------
    table : str
        Table or file.
    row : str
        Key of the row, or its number in the file; empty where it is about all of it.
    column : str
    archived, recomputed : str
        Without `column` and `recomputed`: why nothing can be recomputed.
    """

    table: str
    row: str
    column: str
    archived: str
    recomputed: str

    def __str__(self) -> str:
        row = f"row {self.row}" if self.row else ""
        place = ", ".join(filter(None, (self.table, row, self.column)))
        if not self.column and not self.recomputed:
            return f"{shown(place)} cannot be recomputed: {_quoted(self.archived)}"
        both = f"archived {_quoted(self.archived)}, recomputed {_quoted(self.recomputed)}"
        return f"{shown(place)}: {both}"


@dataclass(frozen=True)
class Compared:
    """How much of something was compared, and what differs; `same` counts numbers that agree."""

    numbers: int = 0
    same: int = 0
    texts: int = 0
    sentences: int = 0
    printed: int = 0
    differences: tuple[Difference, ...] = ()


def checksum_differences(folder: Path, files: Sequence[str]) -> list[Difference]:
    """Files that are not as ``SHA256SUMS`` says, that it does not list, or that are not there.

    Parameters
    ----------
    folder : Path
        The unpacked archive.
    files : sequence of str
        Paths in it.
    """
    lines = (folder / CHECKSUMS).read_text(encoding="utf-8", errors="replace").splitlines()
    found: list[Difference] = []
    listed: dict[str, str] = {}
    for number, line in enumerate(lines, start=1):
        if match := _LISTED.fullmatch(line):
            listed[match[2]] = match[1]
        else:
            found.append(Difference(CHECKSUMS, str(number), "", line, "a checksum and a path"))
    for path in files:
        if path == CHECKSUMS:
            continue
        real = hashlib.sha256((folder / path).read_bytes()).hexdigest()
        told = listed.pop(path, "not listed")
        if told != real:
            found.append(Difference(path, "", "sha256", told, real))
    found += [Difference(path, "", "sha256", own, "no such file") for path, own in listed.items()]
    return found


def compared_tables(
    folder: Path, files: Sequence[str], tables: Mapping[str, DataTable]
) -> list[Compared]:
    """Each table of an archive, and its exact twin, against the recomputed one.

    What differs in the twin just as in the table is told once.

    Parameters
    ----------
    folder : Path
        The unpacked archive.
    files : sequence of str
        Paths in it.
    tables : mapping of name to DataTable
        Recomputed.
    """
    done = []
    for name, table in tables.items():
        own = _compared(folder / "data" / f"{name}.csv", f"data/{name}.csv", table)
        twin = _compared(folder / "exact" / f"{name}.jsonl", f"exact/{name}.jsonl", table)
        told = {(one.row, one.column, one.archived) for one in own.differences}
        more = [o for o in twin.differences if (o.row, o.column, o.archived) not in told]
        done += [own, Compared(differences=tuple(more))]
    known = {f"data/{name}.csv" for name in tables} | {f"exact/{name}.jsonl" for name in tables}
    unknown = [p for p in files if p.startswith(("data/", "exact/")) and p not in known]
    extra = tuple(Difference(path, "", "", "a table", "no such table") for path in unknown)
    return [*done, Compared(differences=extra)]


def compared_page(path: Path, analysis: Analysis) -> Compared:
    """Answers as the report prints them, looked for in an HTML report.

    Parameters
    ----------
    path : Path
        The page.
    analysis : Analysis
        Recomputed.
    """
    if path.stat().st_size > LARGEST_PAGE:
        size = f"larger than {LARGEST_PAGE // 1_000_000} MB"
        return Compared(differences=(Difference(path.name, "", "", size, "a report"),))
    page = page_text(path.read_text(encoding="utf-8", errors="replace"))
    texts = printed_texts(analysis)
    return Compared(
        printed=len(texts),
        differences=tuple(
            Difference(path.name, where, "", "not in the page", words)
            for where, words in texts.items()
            if _unspaced(words) not in page
        ),
    )


def printed_texts(analysis: Analysis) -> dict[str, str]:
    """What the report prints of its answers, by where: the first page, then each question."""
    from quenchbook.report.answer_blocks import sentence_blocks
    from quenchbook.report.first_page import report_answer

    found: dict[str, str] = {}
    for block in report_answer(analysis):
        if isinstance(block, Headline):
            found["the answer on the first page"] = plain_text(block.answer)
        elif isinstance(block, FindingRows):
            for row in block.rows:
                words = f"{row.statement} {row.estimate_text} {row.interval_text}"
                found[f"first page: {row.statement}"] = words
    for name in analysis.models:
        own = [finding for finding in analysis.findings if finding.response == name]
        blocks = [block for block in sentence_blocks(analysis, own) if isinstance(block, Paragraph)]
        for finding, block in zip(own, blocks, strict=False):  # notes of several stand last
            found[finding.key] = plain_text(block.runs)
    return found


def page_text(page: str) -> str:
    """Words of an HTML page without blanks, pictures, styles and note marks.

    Without blanks, because it depends on the style sheet which elements stand apart.
    """
    reader = _Words()
    reader.feed(page)
    reader.close()
    return _unspaced("".join(reader.words))


class _Words(HTMLParser):
    """Gathers text; elements in `_SKIPPED` and what is in them are passed over."""

    _SKIPPED: Final = frozenset({"script", "style", "svg", "sup", "head"})

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.words: list[str] = []
        self.skipped: list[str] = []

    def handle_starttag(self, tag: str, _attrs: object) -> None:
        if tag in self._SKIPPED:
            self.skipped.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if tag in self.skipped:
            while self.skipped.pop() != tag:
                pass

    def handle_data(self, data: str) -> None:
        if not self.skipped:
            self.words.append(data)


def _unspaced(text: str) -> str:
    return "".join(shown(text).split())


def _compared(path: Path, name: str, table: DataTable) -> Compared:
    """One file of a table against the recomputed table."""
    if not path.is_file():
        return Compared(differences=(Difference(name, "", "", "no such file", table.title),))
    read = rows_of_csv if path.suffix == ".csv" else rows_of_json_lines
    try:
        head, rows = read(path.read_text(encoding="utf-8"))
    except (ValueError, ArithmeticError, RecursionError) as error:
        return Compared(differences=(Difference(name, "", "", str(error), "a table"),))
    differences: list[Difference] = []
    if head != table.columns:
        own = (", ".join(head), ", ".join(table.columns))
        differences.append(Difference(name, "", "columns", *own))
    expected = [list(row) for row in zip(*table.cells, strict=True)]
    if len(rows) != len(expected):
        own = (str(len(rows)), str(len(expected)))
        differences.append(Difference(name, "", "number of rows", *own))
    places = [(column, kind) for column, kind in zip(table.columns, table.kinds, strict=True)]
    shared = [(head.index(c), n, c, k) for n, (c, k) in enumerate(places) if c in head]
    numbers = texts = sentences = same = 0
    for label, theirs, ours in _pairs(head, rows, expected, table, differences, name):
        for there, here, column, kind in shared:
            is_number = kind in (NUMBER, INTEGER)
            numbers += is_number and bool(ours[here])
            is_sentence = table.name == "findings" and column == "sentence"
            sentences += is_sentence and bool(ours[here])
            texts += not is_number and not is_sentence and bool(ours[here])
            agrees = _same_number if is_number else str.__eq__
            if agrees(theirs[there], ours[here]):
                same += is_number and bool(ours[here])
            else:
                differences.append(Difference(name, label, column, theirs[there], ours[here]))
    return Compared(numbers, same, texts, sentences, differences=tuple(differences))


def _pairs(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    expected: Sequence[Sequence[str]],
    table: DataTable,
    differences: list[Difference],
    name: str,
) -> list[tuple[str, Sequence[str], Sequence[str]]]:
    """Rows that belong together, by their keys where there are any, else by their places."""
    key = table.key
    if not key or any(column not in head for column in key):
        pairs_in_order = enumerate(zip(rows, expected, strict=False), start=2)  # the head is row 1
        return [(str(n), theirs, ours) for n, (theirs, ours) in pairs_in_order]
    there = {tuple(row[head.index(column)] for column in key): row for row in rows}
    pairs = []
    for row in expected:
        own = tuple(row[table.columns.index(column)] for column in key)
        label = " ".join(own)
        if own in there:
            pairs.append((label, there.pop(own), row))
        else:
            differences.append(Difference(name, label, "", "no such row", "a row"))
    differences += [Difference(name, " ".join(own), "", "a row", "no such row") for own in there]
    return pairs


def _same_number(archived: str, recomputed: str) -> bool:
    if archived == recomputed:
        return True
    try:
        first, second = float(archived), float(recomputed)
    except ValueError:
        return False
    return math.isclose(first, second, rel_tol=RELATIVE_TOLERANCE, abs_tol=ABSOLUTE_TOLERANCE)


def _quoted(text: str) -> str:
    """Text of a difference on one line, without what a terminal would act on."""
    line = " ".join(shown(text).split())
    return f"'{line if len(line) <= 240 else line[:239] + '…'}'"
