"""Terms of the glossary: bold words at the start of an item, each a place that links lead to."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from quenchbook.handbook.own_blocks import Definition, Definitions
from quenchbook.report.blocks import Block, Bullets, Paragraph, Run, Runs

GLOSSARY_PAGE: Final = "glossary"


def terms_as_definitions(page: str, blocks: Sequence[Block]) -> Iterator[Block]:
    """Blocks of a page; on the glossary each term with its meaning becomes a definition.

    A term is what stands in bold at the start of an item of a list or of a paragraph. Its place is
    its words in lower case, joined by ``-``: ``glossary.md#furnace-load``.
    """
    if page != GLOSSARY_PAGE:
        yield from blocks
        return
    gathered: list[Definition] = []
    for block in blocks:
        entries = _entries(block)
        if entries:
            gathered += entries
            continue
        if gathered:
            yield Definitions(tuple(gathered), name="Terms")
            gathered = []
        yield block
    if gathered:
        yield Definitions(tuple(gathered), name="Terms")


def term_anchor(term: str) -> str:
    """Place of a term on its page.

    >>> term_anchor("Furnace load")
    'furnace-load'
    """
    return re.sub(r"[^a-z0-9]+", "-", term.lower()).strip("-")


def _entries(block: Block) -> list[Definition]:
    items: tuple[Runs, ...] = ()
    if isinstance(block, Bullets) and not block.ordered and not any(block.below):
        items = block.items
    elif isinstance(block, Paragraph):
        items = (block.runs,)
    entries = [_definition(item) for item in items]
    return [own for own in entries if own] if entries and all(entries) else []


def _definition(runs: Runs) -> Definition | None:
    first = runs[0] if runs else None
    if not isinstance(first, Run) or not first.strong or len(runs) < 2:
        return None
    term = first.text.strip(" .:,")
    rest = list(runs[1:])
    if isinstance(rest[0], str):
        rest[0] = re.sub(r"^\s*[:.,–—-]\s*|^\s+", "", rest[0])
    elif isinstance(rest[0], Run):
        rest[0] = replace(rest[0], text=rest[0].text.lstrip(" :"))
    meaning = tuple(own for own in rest if own != "")
    return Definition(term, (meaning,), anchor=term_anchor(term)) if meaning and term else None
