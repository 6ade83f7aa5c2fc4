"""A report to paste into a web editor: plain HTML, and the images as files beside it."""

from __future__ import annotations

import base64
import html
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

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
)
from quenchbook.report.characters import shown
from quenchbook.report.document import Document, Placed
from quenchbook.report.figure_files import bitmap_end, figure_stem
from quenchbook.report.own_folder import write_own_folder
from quenchbook.report.wording import (
    INVENTED,
    caption_parts,
    safe_link,
    signature,
    table_caption,
)

if TYPE_CHECKING:
    from quenchbook.report.edition import Edition

PAGE: Final = "fragment.html"
_DEEPEST: Final = 6
_WIDEST: Final = 920  # px of a photograph on the page


def write_fragment_edition(edition: Edition) -> list[Path]:
    """Write an edition as ``KEY_fragment/fragment.html`` with its images; returns the page.

    Its appendix is left out: a web editor does badly with tables of hundreds of cells.
    """
    document = edition.body or edition.document
    paths = write_own_folder(edition.path("_fragment"), fragment_files(document))
    return [path for path in paths if path.name == PAGE]


def fragment_files(document: Document) -> dict[str, bytes]:
    """Page and images by name.

    The page holds no style sheet, class, id or script. Its headings begin at h2, because the
    title of a web page is its h1. Links to places of the same page are left out: an editor keeps
    no anchors.

    Parameters
    ----------
    document : Document
    """
    writer = _Fragment(document)
    page = "\n".join(filter(None, [*map(writer.block, document.placed), writer.endnotes()]))
    return {**writer.images, PAGE: f"{page}\n".encode()}


class _Fragment:
    """Writes the blocks; gathers images and footnotes on the way."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.images: dict[str, bytes] = {}
        self.notes: list[str] = []

    def block(self, placed: Placed) -> str:
        block: Block = placed.block
        match block:
            case Headline():
                return self._headline(block)
            case Section():
                level = min(block.level + 1, _DEEPEST)
                signed = signature(self.document) if block.level == 1 else ""
                return f"<h{level}>{_escape(block.title)}</h{level}>" + _paragraph(signed)
            case FindingRows():  # a table without gauges, so nothing on how to read them
                heads: tuple[str, ...] = ("Question", "What was shown", "Estimate", "Interval")
                rows = [
                    (row.statement, row.verdict, row.estimate_text, row.interval_text)
                    for row in block.rows
                ]
                return _table(heads, rows, "")
            case Paragraph():
                return f"<p>{self._runs(block.runs)}</p>"
            case Bullets():
                return self._bullets(block)
            case Quote():
                words = "".join(f"<p>{self._runs(runs)}</p>" for runs in block.paragraphs)
                return f"<blockquote>{words}</blockquote>"
            case Preformatted():
                return f"<pre>{_escape(block.text)}</pre>"
            case FigureBlock():
                return self._figure(block, placed)
            case TableBlock():
                heads = tuple(f"{c.title}, {c.unit}" if c.unit else c.title for c in block.columns)
                notes = "".join(map(_paragraph, block.notes))
                return _table(heads, block.rows, table_caption(block, placed.label)) + notes
            case Cautions():
                items = "".join(f"<li>{_lines(item)}</li>" for item in block.items)
                return f"<p><strong>{_escape(block.title)}</strong></p><ul>{items}</ul>"
            case PageBreak() | Summary():
                return ""
        raise AssertionError(f"no fragment for {block.kind}")

    def endnotes(self) -> str:
        if not self.notes:
            return ""
        lines = "".join(f"<li>{_lines(note)}</li>" for note in self.notes)
        return f"<h3>Notes</h3><ol>{lines}</ol>"

    def _headline(self, block: Headline) -> str:
        return "\n".join(
            filter(
                None,
                (
                    f"<h2>{_escape(block.question)}</h2>",
                    _paragraph(block.byline or signature(self.document)),
                    f"<p><em>{_escape(INVENTED)}</em></p>" if block.invented else "",
                    f"<p>{self._runs(block.answer)}</p>" if block.answer else "",
                ),
            )
        )

    def _figure(self, block: FigureBlock, placed: Placed) -> str:
        number = int(placed.label.split()[-1])
        name = f"{figure_stem(number, block.key)}.{bitmap_end(block)}"
        finding, reading, notes = caption_parts(block, placed.label)
        caption = f"<strong>{_escape(finding)}</strong>"
        caption += "".join(f" {_escape(part)}" for part in (reading, notes) if part)
        if not block.png_base64:  # an editor takes no SVG: words stand for the picture
            return f"<p>{caption}</p><p>{_escape(block.alt)}</p>"
        self.images[name] = base64.b64decode(block.png_base64)
        return (
            f'<figure><img src="{_escape(name)}" alt="{_escape(block.alt)}" '
            f'width="{_width(self.images[name], drawn=bool(block.svg))}">'
            f"<figcaption>{caption}</figcaption></figure>"
        )

    def _bullets(self, block: Bullets) -> str:
        tag = "ol" if block.ordered else "ul"
        lines = []
        for place, item in enumerate(block.items):
            below = block.below[place] if place < len(block.below) else None
            lines.append(f"<li>{self._runs(item)}{self._bullets(below) if below else ''}</li>")
        return f"<{tag}>{''.join(lines)}</{tag}>"

    def _runs(self, runs: Runs) -> str:
        return "".join(_lines(part) if isinstance(part, str) else self._run(part) for part in runs)

    def _run(self, run: Run) -> str:
        words = _lines(run.text)
        words = f"<code>{words}</code>" if run.code else words
        words = f"<em>{words}</em>" if run.emphasis else words
        words = f"<strong>{words}</strong>" if run.strong else words
        target = safe_link(run.link, self.document)
        if target and not target.startswith("#"):
            words = f'<a href="{_escape(target)}">{words}</a>'
        if run.note is None:
            return words
        self.notes.append(run.note)
        return f"{words}<sup>{len(self.notes)}</sup>"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], caption: str) -> str:
    title = f"<caption>{_escape(caption)}</caption>" if caption else ""
    head = "".join(f'<th scope="col">{_escape(words)}</th>' for words in heads)
    body = "\n".join(f"<tr>{_cells(row)}</tr>" for row in rows)
    return f"<table>{title}<thead><tr>{head}</tr></thead><tbody>\n{body}\n</tbody></table>"


def _cells(row: Sequence[str]) -> str:
    # no th at the head of a row: without a style sheet it would stand bold and centred
    return "".join(f"<td>{_lines(cell)}</td>" for cell in row)


def _width(data: bytes, *, drawn: bool) -> int:
    """Width of an image on the page [px]: a figure has two dots a pixel, for sharp screens."""
    from PIL import Image

    with Image.open(io.BytesIO(data), formats=["PNG", "JPEG"]) as picture:
        return picture.width // 2 if drawn else min(picture.width, _WIDEST)


def _paragraph(text: str) -> str:
    return f"<p>{_lines(text)}</p>" if text else ""


def _lines(text: str) -> str:
    return _escape(text).replace("\n", "<br>")


def _escape(text: object) -> str:
    return html.escape(shown(text), quote=True)
