r"""Docstrings in the numpy convention to blocks: a small parser for what our own docstrings use."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.handbook.own_blocks import Definition, Definitions
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Paragraph,
    Preformatted,
    Run,
    Runs,
    plain_text,
)

LISTS: Final = (
    "Parameters",
    "Other Parameters",
    "Attributes",
    "Returns",
    "Yields",
    "Raises",
    "Warns",
)
"""Sections whose entries are a name or type, with its meaning indented below."""

_TYPES_ONLY: Final = ("Returns", "Yields", "Raises", "Warns")
_HEAD: Final = re.compile(r"[A-Z][A-Za-z ]+")
_MARK: Final = re.compile(
    r"``(?P<code>.+?)``|`(?P<name>[^`\n]+)`|\*\*(?P<strong>[^*]+)\*\*"
    r"|(?<![\w*])\*(?P<emphasis>[^*\s][^*]*?)\*(?![\w*])",
    re.DOTALL,
)
_ITEM: Final = re.compile(r"(?:[-*]|\d+\.)\s+")


@dataclass(frozen=True)
class DocSection:
    """One section of a docstring; the first has no title."""

    title: str
    lines: tuple[str, ...]


def doc_sections(text: str) -> list[DocSection]:
    r"""Sections of a docstring.

    Parameters
    ----------
    text : str
        As in the source; the indent is taken off.

    >>> [s.title for s in doc_sections("It.\n\nReturns\n-------\nint\n    Count.\n")]
    ['', 'Returns']
    """
    lines = inspect.cleandoc(text).splitlines()
    starts = [
        number
        for number in range(len(lines) - 1)
        if _HEAD.fullmatch(lines[number])
        and re.fullmatch(r"-{3,}", lines[number + 1])
        and abs(len(lines[number]) - len(lines[number + 1])) <= 1
    ]
    ends = [*starts, len(lines)]
    found = [DocSection("", tuple(lines[: ends[0]]))]
    found += [
        DocSection(lines[start], tuple(lines[start + 2 : end]))
        for start, end in zip(starts, ends[1:], strict=True)
    ]
    return found


def doc_blocks(text: str) -> list[tuple[str, list[Block]]]:
    """Title and blocks of each section; lists of names become definitions."""
    return [
        (
            own.title,
            [_entries(own)] if own.title in LISTS else list(text_blocks(own.lines)),
        )
        for own in doc_sections(text)
    ]


def first_sentence(text: str) -> str:
    r"""First sentence of a docstring, its marks taken off.

    >>> first_sentence("Martensite start [degC].\n\nMore.")
    'Martensite start [degC].'
    """
    paragraph = inspect.cleandoc(text).split("\n\n")[0].replace("\n", " ")
    return first_sentence_of(doc_runs(paragraph))


def first_sentence_of(runs: Runs) -> str:
    """First sentence of a paragraph, its marks taken off.

    >>> first_sentence_of(("Is it ", Run("so", strong=True), "? It is."))
    'Is it so?'
    """
    words = plain_text(runs).replace("\n", " ")
    return re.split(r"(?<=[.!?]) (?=[A-Z])", words)[0]


def inner_function(member: object) -> Any:
    """Function behind a property, a class method or the like; any other object as it is."""
    for name in ("func", "fget", "__func__"):
        member = getattr(member, name, member)
    return member


def doc_runs(text: str) -> Runs:
    """Words with their marks: code in one or two backticks, emphasis, strong.

    >>> [part if isinstance(part, str) else part.text for part in doc_runs("See `finding`.")]
    ['See ', 'finding', '.']
    """
    parts: list[str | Run] = []
    end = 0
    for match in _MARK.finditer(text):
        parts += [text[end : match.start()]] if match.start() > end else []
        kind = str(match.lastgroup)
        words = match[kind]
        if kind in ("code", "name"):
            parts.append(Run(words, code=True))
        else:
            parts.append(Run(words, strong=kind == "strong", emphasis=kind == "emphasis"))
        end = match.end()
    return (*parts, text[end:]) if text[end:] else tuple(parts)


def text_blocks(lines: Sequence[str]) -> Iterator[Block]:
    """Paragraphs, lists, examples and indented text."""
    for chunk in _chunks(lines):
        first = chunk[0]
        if first.startswith(">>>"):
            yield Preformatted("\n".join(chunk))
        elif first.startswith(("  ", "\t")):
            yield Preformatted(inspect.cleandoc("\n" + "\n".join(chunk)))
        elif _ITEM.match(first):
            items = _items(chunk)
            yield Bullets(tuple(map(doc_runs, items)), ordered=first[0].isdigit())
        else:
            words = " ".join(chunk)
            yield Paragraph(doc_runs(re.sub(r"::$", ":", words)))


def _chunks(lines: Sequence[str]) -> Iterator[list[str]]:
    """Lines between blank ones; an example keeps its output, an indented text its blank lines."""
    chunk: list[str] = []
    for line in [*lines, ""]:
        if line.strip():
            if chunk and line.startswith(">>>") and not chunk[0].startswith(">>>"):
                yield chunk
                chunk = []
            chunk.append(line.rstrip())
        elif chunk:
            yield chunk
            chunk = []


def _items(chunk: Sequence[str]) -> list[str]:
    items: list[str] = []
    for line in chunk:
        match = _ITEM.match(line)
        if match:
            items.append(line[match.end() :])
        else:
            items[-1] += f" {line.strip()}"
    return items


def _entries(section: DocSection) -> Definitions:
    """Entries of a list: a line at the margin, its meaning indented below it."""
    found: list[tuple[str, list[str]]] = []
    for line in section.lines:
        if line.strip() and not line.startswith((" ", "\t")):
            found.append((line.strip(), []))
        elif found:
            found[-1][1].append(line)
    return Definitions(
        tuple(_entry(head, below, section.title) for head, below in found), name=section.title
    )


def _entry(head: str, below: list[str], title: str) -> Definition:
    name, colon, kind = head.partition(" : ")
    if title in _TYPES_ONLY and not colon:
        name, kind = head, ""
    blocks = list(text_blocks(inspect.cleandoc("\n" + "\n".join(below)).splitlines()))
    meaning = [_words(block) for block in blocks]
    is_code = title not in ("Returns", "Yields") or bool(colon)
    return Definition(name, tuple(meaning), aside=kind.replace("`", ""), is_code=is_code)


def _words(block: Block) -> Runs:
    """Words of any block inside a definition."""
    if isinstance(block, Paragraph):
        return block.runs
    if isinstance(block, Bullets):
        parts: list[str | Run] = []
        for item in block.items:
            parts += [*(["\n"] if parts else []), "– ", *item]
        return tuple(parts)
    return (Run(block.text, code=True),) if isinstance(block, Preformatted) else ()
