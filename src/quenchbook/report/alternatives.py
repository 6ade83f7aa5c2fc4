"""Alternative texts that an author wrote in place of the composed ones."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Final

from quenchbook.errors import Problem, ReportError
from quenchbook.report.blocks import Block, FigureBlock

ALT_LEAST: Final = 40
ALT_MOST: Final = 400


def with_alt(blocks: Iterable[Block], alt: Mapping[str, str]) -> list[Block]:
    """Blocks whose figures carry the author's words where there are some.

    Parameters
    ----------
    blocks : iterable of Block
    alt : mapping of str to str
        Words by the key of a figure; ``key-2`` is the second figure of that key.

    Raises
    ------
    ReportError
        If a key fits no figure, or words are shorter than 40 or longer than 400 characters.
    """
    seen: dict[str, int] = {}
    changed: list[Block] = []
    names: list[str] = []
    for block in blocks:
        if isinstance(block, FigureBlock):
            seen[block.key] = seen.get(block.key, 0) + 1
            names.append(block.key if seen[block.key] == 1 else f"{block.key}-{seen[block.key]}")
            if names[-1] in alt:
                block = replace(block, alt=" ".join(alt[names[-1]].split()))
        changed.append(block)
    if problems := [
        problem for key, words in alt.items() if (problem := _problem(key, words, names))
    ]:
        raise ReportError(problems)
    return changed


def _problem(key: str, words: str, names: list[str]) -> Problem | None:
    where = f"alternative text of '{key}'"
    if key not in names:
        found = f"here are {', '.join(names)}" if names else "no figure is shown here"
        return Problem(where, f"no figure has this key; {found}", "Give it where the figure is.")
    count = len(" ".join(words.split()))
    if not ALT_LEAST <= count <= ALT_MOST:
        return Problem(
            where, f"it has {count} characters, expected {ALT_LEAST} to {ALT_MOST}",
            "Say what is drawn, what it shows with numbers, and what is unusual.",
        )  # fmt: skip
    return None
