"""Markdown cells to blocks: headings, paragraphs, lists, quotes, tables, code. No HTML passes."""

from __future__ import annotations

import html
import re
import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from quenchbook.errors import QuenchbookWarning
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Column,
    Paragraph,
    Preformatted,
    Quote,
    Run,
    Runs,
    Section,
    TableBlock,
    plain_text,
)
from quenchbook.report.formula_syntax import DISPLAY, INLINE, formulas

ALLOWED_LINK = re.compile(
    r"(?:https?://|mailto:|#)[^\s<>\"]*|[\w./-]+\.(?:md|ipynb)(?:#[^\s<>\"]*)?", re.IGNORECASE
)  # the last: a page beside this one, which only the handbook has
_DEEPEST = 60  # nested quotes or lists beyond this are somebody's joke

Token = dict[str, Any]


def markdown_blocks(source: str, *, where: str) -> list[Block]:
    r"""Blocks of one markdown cell.

    Parameters
    ----------
    source : str
        Markdown with formulas (``$x$``, ``$$x$$``, ``\begin{equation}``). HTML in it is shown as it
        is written; links other than http, https, mailto and ``#`` lose their target and keep their
        words.
    where : str
        Name of the cell, for the keys of its tables and for warnings.
    """
    import mistune

    tokens = mistune.create_markdown(renderer="ast", plugins=["table", formulas])(source)
    assert isinstance(tokens, list)  # the "ast" renderer returns tokens, never a text
    blocks: list[Block] = []
    for token in tokens:
        _add(blocks, token, where)
    return blocks


def _add(blocks: list[Block], token: Token, where: str) -> None:
    kind = token["type"]
    if kind == "heading":
        title = _as_text(token["children"], where, "a heading").strip()
        if title:
            blocks.append(Section(title, level=int(token["attrs"]["level"])))
    elif kind in ("paragraph", "block_text"):
        found = _runs(token["children"], where)
        if plain_text(found).strip():
            blocks.append(Paragraph(found))
    elif kind == DISPLAY:
        blocks.append(Paragraph((_formula(token),)))
    elif kind == "block_html":
        blocks.append(Paragraph((str(token["raw"]).strip(),)))
    elif kind == "block_code":
        printed = token.get("attrs", {}).get("info", "").split()[:1] == ["text"]
        blocks.append(Preformatted(str(token["raw"]).rstrip("\n"), is_code=not printed))
    elif kind == "list":
        blocks.append(_bullets(token, where, 0))
    elif kind == "block_quote":
        blocks.append(Quote(tuple(_paragraphs(token["children"], where, 0))))
    elif kind == "table":
        blocks.append(_table(token, where, sum(isinstance(b, TableBlock) for b in blocks) + 1))


def _bullets(token: Token, where: str, depth: int) -> Bullets:
    items: list[Runs] = []
    below: list[Bullets | None] = []
    for item in token["children"]:
        lists = [child for child in item["children"] if child["type"] == "list"]
        rest = [child for child in item["children"] if child["type"] != "list"]
        items.append(_joined(_paragraphs(rest, where, depth)))
        if not lists or depth > _DEEPEST:
            below.append(None)
        else:
            merged = {**lists[0], "children": [c for found in lists for c in found["children"]]}
            below.append(_bullets(merged, where, depth + 1))
    ordered = bool(token["attrs"].get("ordered"))
    return Bullets(tuple(items), ordered=ordered, below=tuple(below))


def _paragraphs(tokens: Sequence[Token], where: str, depth: int) -> list[Runs]:
    """Words of any tokens as paragraphs: what a list item or a quote may hold."""
    found: list[Runs] = []
    for token in tokens:
        if token["type"] == DISPLAY:
            found.append((_formula(token),))
        elif "raw" in token:
            found.append((str(token["raw"]).rstrip("\n"),))
        elif token["type"] in ("paragraph", "block_text", "heading"):
            found.append(_runs(token["children"], where))
        elif token.get("children") and depth <= _DEEPEST:
            found.extend(_paragraphs(token["children"], where, depth + 1))
    return found


def _joined(paragraphs: Sequence[Runs]) -> Runs:
    parts: list[str | Run] = []
    for paragraph in paragraphs:
        parts += (["\n"] if parts else []) + list(paragraph)
    return tuple(parts)


def _table(token: Token, where: str, number: int) -> TableBlock:
    head: list[Token] = []
    body: list[list[Token]] = []
    for part in token["children"]:
        if part["type"] == "table_head":
            head = part["children"]
        else:
            body = [row["children"] for row in part["children"]]
    columns = tuple(
        Column(
            _as_text(cell["children"], where, "a table"),
            align="right" if cell["attrs"].get("align") == "right" else "left",
        )
        for cell in head
    )
    rows = tuple(
        tuple(_as_text(cell["children"], where, "a table") for cell in row) for row in body
    )
    key = re.sub(r"[^a-z0-9]+", "-", f"{where} {number}".lower()).strip("-")
    return TableBlock(key=key, caption="", columns=columns, rows=rows)


def _as_text(tokens: Sequence[Token], where: str, place: str) -> str:
    """Words without style, for a place that holds nothing else."""
    found = _runs(tokens, where)
    formula = next((run for run in found if isinstance(run, Run) and run.math), None)
    if formula is not None:
        warnings.warn(
            f"{where}: the formula {formula.written:.60} in {place} is shown as its text. "
            "Write it in a paragraph.",
            QuenchbookWarning,
            stacklevel=2,
        )
    return plain_text(found)


def _runs(tokens: Sequence[Token], where: str) -> Runs:
    parts: list[str | Run] = []
    _gather(parts, tokens, Run(""), where)
    return tuple(parts)


def _gather(parts: list[str | Run], tokens: Sequence[Token], style: Run, where: str) -> None:
    for token in tokens:
        kind = token["type"]
        children = token.get("children", [])
        if kind == "strong":
            _gather(parts, children, replace(style, strong=True), where)
        elif kind == "emphasis":
            _gather(parts, children, replace(style, emphasis=True), where)
        elif kind == "link":
            link = html.unescape(str(token["attrs"]["url"])).strip()
            allowed = ALLOWED_LINK.fullmatch(link) is not None
            _gather(parts, children, replace(style, link=link) if allowed else style, where)
        elif kind == "image":
            words = "".join(str(child.get("raw", "")) for child in children)
            warnings.warn(
                f"{where}: a picture in markdown is not shown, only its words '{words}'. "
                "Show it as a figure with alternative text.",
                QuenchbookWarning,
                stacklevel=2,
            )
            _append(parts, replace(style, text=words))
        elif kind == "linebreak":
            _append(parts, replace(style, text="\n"))
        elif kind == "softbreak":
            _append(parts, replace(style, text=" "))
        elif kind in (INLINE, DISPLAY):
            formula = _formula(token)
            _append(parts, replace(style, text=formula.text, math=formula.math))
        elif kind == "codespan":
            _append(parts, replace(style, text=html.unescape(str(token["raw"])), code=True))
        elif kind == "inline_html":
            _append(parts, replace(style, text=str(token["raw"])))
        elif "raw" in token:
            _append(parts, replace(style, text=html.unescape(str(token["raw"]))))
        else:
            _gather(parts, children, style, where)


def _formula(token: Token) -> Run:
    return Run(str(token["raw"]), math="inline" if token["type"] == INLINE else "display")


def _append(parts: list[str | Run], run: Run) -> None:
    """Add a run; plain words join the plain words before them."""
    if run != Run(run.text):
        parts.append(run)
    elif parts and isinstance(parts[-1], str):
        parts[-1] += run.text
    else:
        parts.append(run.text)
