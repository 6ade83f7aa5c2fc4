"""Blocks that only the handbook has, and their HTML."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar, Final

from quenchbook.report.blocks import Block, Preformatted, Runs, Section
from quenchbook.report.html import escape
from quenchbook.report.page_frame import Writer

WriteRuns = Callable[[Runs], str]


@dataclass(frozen=True)
class Definition:
    """A word with what it means; `aside` is its unit or type.

    With an `anchor` links lead to it, and the page from A to Z lists it as `listed` (else as its
    term), of this `sort`; with a `target` it is a link itself.
    """

    term: str
    meaning: tuple[Runs, ...]
    aside: str = ""
    anchor: str = ""
    target: str = ""
    is_code: bool = False
    listed: str = ""
    sort: str = "term"


@dataclass(frozen=True)
class Definitions(Block):
    """Words and their meanings, one below the other; `name` says what kind of words they are."""

    kind: ClassVar[str] = "definitions"
    entries: tuple[Definition, ...]
    name: str = ""


@dataclass(frozen=True)
class Card:
    """A question of the gallery.

    `picture` is a small PNG in base64, or nothing.
    """

    question: str
    target: str
    sentence: str
    picture: str = ""
    alt: str = ""


@dataclass(frozen=True)
class Cards(Block):
    """Questions of the gallery side by side."""

    kind: ClassVar[str] = "cards"
    cards: tuple[Card, ...]


@dataclass(frozen=True)
class IndexEntry:
    """A word of the page from A to Z; `aside` says of what kind it is."""

    words: str
    target: str
    aside: str = ""
    is_code: bool = False


@dataclass(frozen=True)
class IndexEntries(Block):
    """Words that lead to their places, in columns."""

    kind: ClassVar[str] = "index_entries"
    entries: tuple[IndexEntry, ...]


@dataclass(frozen=True)
class NamedEntry(Section):
    """A heading for a public name, with how it is called and where it lives."""

    kind: ClassVar[str] = "named_entry"
    signature: str = ""
    home: str = ""


@dataclass(frozen=True)
class PythonCode(Preformatted):
    """Code in which public names lead to the reference."""

    kind: ClassVar[str] = "python_code"
    targets: tuple[tuple[str, str], ...] = ()


def _definitions(block: Definitions, _anchor: str, runs: WriteRuns) -> str:
    rows = []
    for own in block.entries:
        mark = f' id="{escape(own.anchor)}"' if own.anchor else ""
        term = f"<code>{escape(own.term)}</code>" if own.is_code else escape(own.term)
        term = f'<a href="{escape(own.target)}">{term}</a>' if own.target else term
        aside = f" <span>{escape(own.aside)}</span>" if own.aside else ""
        words = "".join(f"<p>{runs(part)}</p>" for part in own.meaning)
        rows.append(f"<div{mark}><dt>{term}{aside}</dt><dd>{words}</dd></div>")
    return f'<dl class="meanings">{"".join(rows)}</dl>' if rows else ""


def _cards(block: Cards, _anchor: str, _runs: WriteRuns) -> str:
    items = []
    for card in block.cards:
        picture = (
            f'<div class="picture"><img src="data:image/png;base64,{escape(card.picture)}" '
            f'alt="{escape(card.alt)}"></div>'
            if card.picture
            else ""
        )
        words = f"<p>{escape(card.sentence)}</p>" if card.sentence else ""
        items.append(
            f'<li><p class="question"><a href="{escape(card.target)}">{escape(card.question)}</a>'
            f"</p>{words}{picture}</li>"
        )
    return f'<ul class="cards" role="list">{"".join(items)}</ul>'


def _index_entries(block: IndexEntries, _anchor: str, _runs: WriteRuns) -> str:
    lines = []
    for own in block.entries:
        words = f"<code>{escape(own.words)}</code>" if own.is_code else escape(own.words)
        aside = f" <span>{escape(own.aside)}</span>" if own.aside else ""
        lines.append(f'<li><a href="{escape(own.target)}">{words}</a>{aside}</li>')
    return f'<ul class="entries" role="list">{"".join(lines)}</ul>'


def _named_entry(block: NamedEntry, anchor: str, _runs: WriteRuns) -> str:
    level = min(block.level, 6)
    home = f'<p class="home">{escape(block.home)}</p>' if block.home else ""
    call = f'<pre class="signature">{escape(block.signature)}</pre>' if block.signature else ""
    return (
        f'<h{level} class="name" id="{escape(anchor)}">{escape(block.title)}</h{level}>{call}{home}'
    )


def _python_code(block: PythonCode, _anchor: str, _runs: WriteRuns) -> str:
    """Code; the name after ``qb.`` is a link."""
    known = dict(block.targets)

    def linked(match: re.Match[str]) -> str:
        target = known.get(match[2])
        return f'{match[1]}<a href="{escape(target)}">{match[2]}</a>' if target else match[0]

    # what `escape` writes holds no "qb.", so the names are the same after it
    words = re.sub(r"\b(qb\.)(\w+)", linked, escape(block.text))
    return f'<pre class="code">{words}</pre>'


WRITERS: Final[Mapping[type[Block], Writer]] = {
    Definitions: _definitions,
    Cards: _cards,
    IndexEntries: _index_entries,
    NamedEntry: _named_entry,
    PythonCode: _python_code,
}
