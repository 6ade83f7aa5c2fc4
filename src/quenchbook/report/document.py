"""The one form between a notebook and its two outputs: ordered blocks, numbered once."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from quenchbook.errors import Problem, ReportError
from quenchbook.report.blocks import Block, FigureBlock, Headline, Section, TableBlock
from quenchbook.report.characters import shortened, shown

_LONGEST_HEAD: Final = 65  # characters of the study's name that leave room on the line


@dataclass(frozen=True)
class Placed:
    """A block in its place: its anchor, and its number if it is a figure or a captioned table."""

    block: Block
    anchor: str = ""
    label: str = ""


@dataclass(frozen=True)
class Document:
    """A report before it is HTML or PDF.

    Parameters
    ----------
    title : str
        Title of the file; the question.
    blocks : tuple of Block
        What the reader sees, in order. The first heading is of level 1.
    author, study, foot : str
        Who wrote it, the running head, the line at the foot of each page.
    date : datetime.date, optional
        Date of the report; never the clock's.
    language : str
        As in ``en``.
    """

    title: str
    blocks: tuple[Block, ...]
    author: str = ""
    date: datetime.date | None = None
    study: str = ""
    foot: str = ""
    language: str = "en"

    def __post_init__(self) -> None:
        problems = [*_heading_problems(self.blocks), *_picture_problems(self.blocks)]
        if not _has_words(self.title):
            problems.append(Problem("report", "it has no title", "Begin with a headline."))
        if not re.fullmatch(r"[a-z]{2,3}", self.language):
            problems.append(
                Problem("report", f"'{self.language}' is no language", "Write one such as en.")
            )
        if problems:
            raise ReportError(problems)

    @cached_property
    def placed(self) -> tuple[Placed, ...]:
        """Blocks with their anchors and numbers, the same for both outputs."""
        return tuple(_placed(self.blocks))

    @property
    def anchors(self) -> frozenset[str]:
        """Where a ``#link`` can lead to."""
        return frozenset(placed.anchor for placed in self.placed if placed.anchor)

    @property
    def invented(self) -> bool:
        """Whether the data are invented, which every page says."""
        return any(isinstance(block, Headline) and block.invented for block in self.blocks)

    @property
    def running_head(self) -> str:
        """Study, and a word on invented data."""
        study = shortened(self.study, _LONGEST_HEAD)
        return ", ".join(filter(None, (study, "invented data" if self.invented else "")))


def heading_of(block: Block) -> tuple[int, str] | None:
    """Level and words of a heading; None for any other block."""
    if isinstance(block, Headline):
        return 1, block.question
    if isinstance(block, Section):
        return block.level, block.title
    return None


def _placed(blocks: Sequence[Block]) -> Iterator[Placed]:
    figures = tables = 0
    taken: dict[str, int] = {}
    for block in blocks:
        heading = heading_of(block)
        if heading is not None:
            own = getattr(block, "anchor", "")
            yield Placed(block, _free(_slug(own or heading[1]), taken))
        elif isinstance(block, FigureBlock):
            figures += 1
            yield Placed(block, _free(_slug(f"figure-{block.key}"), taken), f"Figure {figures}")
        elif isinstance(block, TableBlock):
            tables += bool(block.caption)
            label = f"Table {tables}" if block.caption else ""
            yield Placed(block, _free(_slug(f"table-{block.key}"), taken), label)
        else:
            yield Placed(block)


def _slug(words: str) -> str:
    """Anchor as Jupyter makes it, so one link works in the notebook and on the page."""
    return re.sub(r"[^\w.()-]+", "-", words.strip())[:80].strip("-") or "section"


def _free(anchor: str, taken: dict[str, int]) -> str:
    while anchor in taken:
        taken[anchor] += 1
        anchor = f"{anchor}-{taken[anchor]}"
    taken[anchor] = 1
    return anchor


def _heading_problems(blocks: Sequence[Block]) -> Iterator[Problem]:
    above = 0
    for block in blocks:
        heading = heading_of(block)
        if heading is None:
            continue
        level, words = heading
        where = f"heading '{words:.60}'"
        if not _has_words(words):
            yield Problem(where, "it has no words")
        elif level == 1 and above:
            yield Problem(where, "a second heading of level 1", "A report asks one question.")
        elif level > above + 1:
            yield Problem(
                where,
                f"level {level} follows level {above}" if above else f"the first is level {level}",
                f"Make it level {above + 1}.",
            )
        above = max(level, 1)


def _has_words(text: str) -> bool:
    """Whether anything of a text is seen on a page."""
    return any(c.isprintable() and not c.isspace() for c in shown(text))


def _picture_problems(blocks: Sequence[Block]) -> Iterator[Problem]:
    for block in blocks:
        if not isinstance(block, FigureBlock):
            continue
        what = f"figure '{block.key}'"
        if not _has_words(block.alt):
            yield Problem(what, "it has no alternative text", "Say in words what the figure shows.")
        if not (block.svg or block.png_base64):
            yield Problem(what, "it has no picture")
