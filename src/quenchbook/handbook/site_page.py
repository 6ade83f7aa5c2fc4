"""A page of the handbook before it is HTML, and what is known of all of them together."""

from __future__ import annotations

import posixpath
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from quenchbook.handbook.own_blocks import Definitions, PythonCode
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Headline,
    Paragraph,
    Preformatted,
    Quote,
    Run,
    Runs,
)
from quenchbook.report.document import Document

_SOURCE_LINK: Final = re.compile(r"(?P<path>[\w./-]+)\.(?:md|ipynb)(?P<mark>#.*)?")
_NAME: Final = re.compile(r"(?:qb\.|quenchbook\.(?:[a-z_]+\.)*)?(?P<name>\w+(?:\.\w+)?)(?:\(\))?")


@dataclass(frozen=True)
class SitePage:
    """A page of the handbook.

    Attributes
    ----------
    name : str
        The page becomes ``name.html``.
    menu : str
        Its words in the way to it.
    blocks : tuple of Block
        The first is the title.
    part : {"words", "questions", "reference"}
    title : str
    """

    name: str
    title: str
    blocks: tuple[Block, ...]
    part: str
    menu: str = ""

    @property
    def file(self) -> str:
        """File of the page."""
        return f"{self.name}.html"

    def document(self) -> Document:
        """The page as a document of the report."""
        return Document(title=self.title, blocks=self.blocks)


@dataclass(frozen=True)
class KnownNames:
    """Public names and where the reference explains them."""

    targets: Mapping[str, str] = field(default_factory=dict)

    def target(self, words: str) -> str | None:
        """Place in the reference of a word of code, such as ``qb.finding`` or ``finding()``."""
        match = _NAME.fullmatch(words)
        return self.targets.get(match["name"]) if match else None


def with_links(page: SitePage, names: KnownNames) -> SitePage:
    """Page in which links lead to pages of the site, and names of code to the reference."""

    def changed(parts: Runs) -> Runs:
        return tuple(_linked(own, names) if isinstance(own, Run) else own for own in parts)

    def block(own: Block) -> Block:
        if isinstance(own, Preformatted) and own.is_code and not isinstance(own, PythonCode):
            return PythonCode(own.text, is_code=True, targets=_used(own.text, names))
        return with_runs(own, changed)

    return replace(page, blocks=tuple(map(block, page.blocks)))


def with_runs(block: Block, change: Callable[[Runs], Runs]) -> Block:
    """Block with its runs changed."""
    match block:
        case Paragraph():
            return replace(block, runs=change(block.runs))
        case Headline():
            return replace(block, answer=change(block.answer))
        case Quote():
            return replace(block, paragraphs=tuple(map(change, block.paragraphs)))
        case Bullets():
            below: tuple[Any, ...] = tuple(own and with_runs(own, change) for own in block.below)
            return replace(block, items=tuple(map(change, block.items)), below=below)
        case Definitions():
            entries = tuple(
                replace(own, meaning=tuple(map(change, own.meaning))) for own in block.entries
            )
            return replace(block, entries=entries)
    return block


def site_link(link: str) -> str:
    """Link to a Markdown page or a notebook as a link to its page; others as they are.

    >>> site_link("glossary.md#coupon"), site_link("../notebooks/questions/which_temper.ipynb")
    ('glossary.html#coupon', 'which_temper.html')
    """
    match = _SOURCE_LINK.fullmatch(link)
    if not match or link.lower().startswith(("http:", "https:", "mailto:")):
        return link
    return f"{posixpath.basename(match['path'])}.html{match['mark'] or ''}"


def _linked(run: Run, names: KnownNames) -> Run:
    if run.link:
        return replace(run, link=site_link(run.link))
    target = names.target(run.text) if run.code else None
    return replace(run, link=target) if target else run


def _used(code: str, names: KnownNames) -> tuple[tuple[str, str], ...]:
    words = dict.fromkeys(re.findall(r"\bqb\.(\w+)", code))
    return tuple((word, names.targets[word]) for word in words if word in names.targets)
