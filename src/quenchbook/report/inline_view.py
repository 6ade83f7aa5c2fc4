"""How a block looks in the notebook, under the cell that made it."""

from __future__ import annotations

import html

from quenchbook.report.blocks import (
    Block,
    Bullets,
    Cautions,
    FigureBlock,
    FindingRows,
    Headline,
    PageBreak,
    Paragraph,
    Preformatted,
    Quote,
    Run,
    Runs,
    Section,
    Summary,
    TableBlock,
    plain_text,
)
from quenchbook.report.characters import shown

_RULE = "border-bottom:1px solid #8888"
_NARROW = "max-width:46em"


def inline_html(block: Block) -> str:
    """HTML of one block for JupyterLab; styles stand in the elements, as Lab filters the rest."""
    match block:
        case Headline():
            invented = "<p><em>Invented data.</em></p>" if block.invented else ""
            return (
                f"<h1>{_escape(block.question)}</h1><p>{_escape(block.byline)}</p>{invented}"
                f'<p style="font-size:1.22em;{_NARROW}">{_runs(block.answer)}</p>'
            )
        case FindingRows():  # no gauges here, so nothing on how to read them
            return _table(
                ("verdict", "finding", "estimate", "interval"),
                [(r.verdict, r.statement, r.estimate_text, r.interval_text) for r in block.rows],
            )
        case Section():
            level = min(max(block.level, 1), 6)
            return f"<h{level}>{_escape(block.title)}</h{level}>"
        case Paragraph():
            return f'<p style="{_NARROW}">{_runs(block.runs)}</p>'
        case Bullets():
            return _bullets(block)
        case Quote():
            words = "".join(f"<p>{_runs(paragraph)}</p>" for paragraph in block.paragraphs)
            return f"<blockquote>{words}</blockquote>"
        case Preformatted():
            return f'<pre style="white-space:pre-wrap">{_escape(block.text)}</pre>'
        case FigureBlock():
            notes = "".join(f"<br><small>{_escape(note)}</small>" for note in block.notes)
            return (
                f'<figure style="max-width:460px;margin:0 0 1em"><img alt="{_escape(block.alt)}" '
                f'style="max-width:100%" src="data:image/{block.bitmap};base64,'
                f'{_escape(block.png_base64)}">'
                f"<figcaption><strong>{_escape(block.finding)}</strong> {_escape(block.reading)}"
                f"{notes}</figcaption></figure>"
            )
        case TableBlock():
            heads = [f"{c.title}, {c.unit}" if c.unit else c.title for c in block.columns]
            rights = [column.align == "right" for column in block.columns]
            notes = "".join(f"<p><small>{_escape(note)}</small></p>" for note in block.notes)
            return _table(heads, block.rows, rights=rights, caption=block.caption) + notes
        case Cautions():
            items = "".join(f"<li>{_escape(item)}</li>" for item in block.items)
            return f"<p><strong>{_escape(block.title)}</strong></p><ul>{items}</ul>"
        case PageBreak():
            return "<hr>"
        case Summary():
            lines = (block.words.headline, block.words.interval, block.holds_for, block.not_told)
            return (
                "<p>For the one-page summary and the share pictures; the report itself leaves it "
                "out.</p><ul>" + "".join(f"<li>{_escape(line)}</li>" for line in lines) + "</ul>"
            )
    raise AssertionError(f"no view of {block.kind}")


def inline_text(block: Block) -> str:
    """Plain text of one block, for a terminal and for a screen reader."""
    match block:
        case Headline():
            return f"{block.question}\n{plain_text(block.answer)}"
        case FindingRows():
            return "\n".join(
                f"{r.verdict}: {r.statement}, {r.estimate_text} ({r.interval_text})"
                for r in block.rows
            )
        case Paragraph():
            return plain_text(block.runs)
        case FigureBlock():
            return block.alt
        case Section() | Cautions():
            return block.title
        case Bullets():
            return "\n".join(f"- {plain_text(item)}" for item in block.items)
        case Preformatted():
            return block.text
        case TableBlock():
            return f"{block.caption} ({len(block.rows)} rows)"
        case Summary():
            return f"{block.words.headline} {block.words.interval}".rstrip()
    return block.kind.replace("_", " ")


def _bullets(block: Bullets) -> str:
    tag = "ol" if block.ordered else "ul"
    below = (*block.below, *(None,) * (len(block.items) - len(block.below)))
    lines = (
        f"<li>{_runs(item)}{_bullets(under) if under else ''}</li>"
        for item, under in zip(block.items, below, strict=False)
    )
    return f"<{tag}>{''.join(lines)}</{tag}>"


def _table(
    heads: tuple[str, ...] | list[str],
    rows: tuple[tuple[str, ...], ...] | list[tuple[str, ...]],
    *,
    rights: list[bool] | None = None,
    caption: str = "",
) -> str:
    sides = [
        f"text-align:{'right' if right else 'left'}" for right in rights or [False] * len(heads)
    ]
    head = "".join(
        f'<th scope="col" style="{side}">{_escape(words)}</th>'
        for words, side in zip(heads, sides, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td style="{side};{_RULE}">{_escape(cell)}</td>'
            for cell, side in zip(row, sides, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    title = f'<caption style="text-align:left">{_escape(caption)}</caption>' if caption else ""
    return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _runs(parts: Runs) -> str:
    return "".join(_escape(p) if isinstance(p, str) else _run(p) for p in parts).replace(
        "\n", "<br>"
    )


def _run(run: Run) -> str:
    words = _escape(run.written)
    words = f"<code>{words}</code>" if run.code else words
    words = f"<em>{words}</em>" if run.emphasis else words
    words = f"<strong>{words}</strong>" if run.strong else words
    return words if run.note is None else f"{words} <small>[{_escape(run.note)}]</small>"


def _escape(text: object) -> str:
    return html.escape(shown(text), quote=True)
