"""A Markdown page: its title, its links, the places that the code fills, its runnable code."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.report.markdown import ALLOWED_LINK

FILLED: Final = re.compile(r"\{\{\s*(?P<name>\w+)(?P<words>[^{}\n]*)\}\}")
"""A line of a page that is filled from the code's own data."""

_FENCE: Final = re.compile(r"(?P<fence>`{3,}|~{3,})\s*(?P<info>[^`\n]*)")


@dataclass(frozen=True)
class FencedCode:
    """A fenced block of a page.

    Attributes
    ----------
    line : int
        Line of its fence in the file, the first is 1.
    language : str
        First word behind the fence.
    marks : tuple of str
        Further words, such as ``no-run``.
    text : str
    output : str, optional
        What stands below it as its output.
    """

    line: int
    language: str
    marks: tuple[str, ...]
    text: str
    output: str | None = None


@dataclass(frozen=True)
class PageSource:
    """A page as its author wrote it.

    Parameters
    ----------
    name : str
        Stem of the file: the page becomes ``name.html``.
    text : str
    """

    name: str
    text: str

    def __post_init__(self) -> None:
        if not re.fullmatch(r"[a-z0-9_]+", self.name):
            raise ReportError(
                Problem(self.where, "has a name that is no address", "Write a-z, 0-9 and _.")
            )
        if not self.title:
            raise ReportError(
                Problem(self.where, "has no title", "Write '# Title' in the first line.")
            )

    @property
    def where(self) -> str:
        """Name of the file in messages."""
        return f"{self.name}.md"

    @property
    def title(self) -> str:
        """First line."""
        first = self.text.split("\n", 1)[0]
        return first.removeprefix("# ").strip() if first.startswith("# ") else ""

    def segments(self) -> Iterator[tuple[str, str]]:
        """Pieces in their order: ``("", markdown)`` or the name and words of a filled line."""
        gathered: list[str] = []
        fence = ""
        for line in self.text.splitlines():
            match = _FENCE.match(line.strip())
            if match and (not fence or line.strip() == fence):
                fence = "" if fence else match["fence"]
            filled = None if fence else FILLED.fullmatch(line.strip())
            if filled is None:
                gathered.append(line)
                continue
            yield "", "\n".join(gathered)
            gathered = []
            yield filled["name"], filled["words"].strip()
        yield "", "\n".join(gathered)

    def code(self) -> list[FencedCode]:
        """Fenced blocks; a block of text right below one of Python is its output."""
        found: list[FencedCode] = []
        for own in self._fenced():
            before = found[-1] if found else None
            if own.language == "text" and before is not None and self._follows(before, own):
                found[-1] = FencedCode(
                    before.line, before.language, before.marks, before.text, own.text
                )
            else:
                found.append(own)
        return found

    def _follows(self, before: FencedCode, own: FencedCode) -> bool:
        """Whether nothing but blank lines stands between two blocks."""
        lines = self.text.splitlines()
        end = before.line + 1 + before.text.count("\n")
        return (
            before.language == "python"
            and before.output is None
            and not "".join(lines[end : own.line - 1]).strip()
        )

    def _fenced(self) -> Iterator[FencedCode]:
        start, fence, info = 0, "", ""
        gathered: list[str] = []
        for number, line in enumerate(self.text.splitlines(), start=1):
            match = _FENCE.fullmatch(line.strip())
            if not fence and match:
                start, fence, info = number, match["fence"], match["info"].strip()
                gathered = []
            elif fence and line.strip() == fence:
                words = info.split()
                text = "".join(f"{own}\n" for own in gathered)
                yield FencedCode(start, words[0] if words else "", tuple(words[1:]), text)
                fence = ""
            elif fence:
                gathered.append(line)
        if fence:
            raise ReportError(Problem(f"{self.where} line {start}", "a block of code has no end"))


def check_links(source: str, where: str) -> None:
    """Raise for links in Markdown that a page cannot carry; where the others lead is seen later.

    Parameters
    ----------
    source : str
    where : str
        Name of the page or cell, for messages.
    """
    problems = []
    for target, in_table in _link_targets(source):
        if in_table:
            problems.append(
                Problem(where, f"the link to {target} stands in a table, where it is lost")
            )
        elif not ALLOWED_LINK.fullmatch(target):
            problems.append(
                Problem(
                    where,
                    f"the link to {target} leads to no page",
                    "Name a page as page.md, a notebook as name.ipynb, or a place as #place.",
                )
            )
    if problems:
        raise ReportError(problems)


def _link_targets(source: str) -> list[tuple[str, bool]]:
    """Targets of the links in Markdown, and whether each stands in a table."""
    import mistune

    tokens = mistune.create_markdown(renderer="ast", plugins=["table"])(source)
    assert isinstance(tokens, list)  # the "ast" renderer returns tokens, never a text
    return list(_links(tokens, False))


def _links(tokens: list[dict[str, Any]], in_table: bool) -> Iterator[tuple[str, bool]]:
    for token in tokens:
        if token["type"] == "link":
            yield str(token["attrs"]["url"]), in_table
        yield from _links(token.get("children") or [], in_table or token["type"] == "table")
