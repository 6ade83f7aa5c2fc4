"""Names and terms from A to Z: one page in place of a search, which would need a script."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Final

from quenchbook.handbook.own_blocks import Definitions, IndexEntries, IndexEntry, NamedEntry
from quenchbook.handbook.site_page import SitePage
from quenchbook.report.blocks import Block, Paragraph, Run, Section

NAMES: Final = "names"
TITLE: Final = "From A to Z"


def index_page(pages: Sequence[SitePage]) -> SitePage:
    """Page with every public name, term, column and page title, by first letter."""
    entries = sorted(
        set(_entries(pages)), key=lambda own: (own.words.lower(), own.words, own.aside)
    )
    words = "Public names, terms of the glossary, columns of tables, questions and pages."
    blocks: list[Block] = []
    letters: list[str | Run] = []
    for letter, own in groupby(entries, key=lambda entry: _letter(entry.words)):
        blocks += [Section(letter, level=2), IndexEntries(tuple(own))]
        letters += [Run(letter, link=f"#{letter}"), "\u2003"]
    blocks = [Section(TITLE, level=1), Paragraph((words,)), Paragraph(tuple(letters)), *blocks]
    return SitePage(NAMES, TITLE, tuple(blocks), "reference", menu="A to Z")


def _entries(pages: Sequence[SitePage]) -> Iterator[IndexEntry]:
    for page in pages:
        kind = "question" if page.part == "questions" else "page"
        yield IndexEntry(page.title, page.file, kind)
        for block in page.blocks:
            if isinstance(block, NamedEntry):
                yield IndexEntry(block.title, f"{page.file}#{block.anchor}", "", is_code=True)
            elif isinstance(block, Definitions):
                for own in block.entries:
                    if own.anchor:
                        target = f"{page.file}#{own.anchor}"
                        words = own.listed or own.term
                        yield IndexEntry(words, target, own.sort, is_code=own.is_code)


def _letter(words: str) -> str:
    first = words[:1].upper()
    return first if first.isalpha() else "0-9"
