"""Document to Typst source; every text goes out as a string literal, never as markup."""

from __future__ import annotations

import base64
import io
import itertools
from collections.abc import Iterable, Sequence
from importlib import resources
from typing import Final

from quenchbook.errors import ReportError
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Cautions,
    FigureBlock,
    FindingRow,
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
from quenchbook.report.characters import breakable, shortened, shown
from quenchbook.report.document import Document, Placed
from quenchbook.report.svg import svg_file, svg_ratio
from quenchbook.report.wording import (
    INVENTED,
    SHORT_TABLE,
    caption_parts,
    safe_link,
    signature,
    table_caption,
)

_TALLEST: Final = 1.75  # height over width of a figure that still fits the page with 117 mm

_LONGEST_ROW: Final = 400  # characters of a finding that stays on one page
_LONGEST_WHOLE: Final = 1500  # characters of cautions or of a table that stay on one page
_LONGEST_BESIDE: Final = 1300  # characters of a caption that fit the 48 mm beside a figure


def literal(text: object) -> str:
    r"""Write any text as a Typst string literal.

    Parameters
    ----------
    text : object
        Anything; its ``str`` is used, without the characters that `shown` takes out.

    Returns
    -------
    str
        The text in double quotes, safe in Typst code (``#text(..)``) for any input.

    >>> literal('a "b" \\ #panic("x")')
    '"a \\"b\\" \\\\ #panic(\\"x\\")"'
    """
    escaped = shown(text).replace("\\", "\\\\").replace('"', '\\"')
    return '"' + escaped.replace("\n", "\\n").replace("\t", "\\t") + '"'


def typst_page(document: Document) -> tuple[str, dict[str, bytes]]:
    """Typst source of a document, and the pictures it names.

    The rules of the page are in ``page.typ``; what follows them are calls of its functions with
    string literals for every text.
    """
    writer = _Source(document)
    rules = resources.files("quenchbook.report").joinpath("page.typ").read_text(encoding="utf-8")
    author = f"author: {literal(document.author)}" if document.author else ""
    head = (
        f"#set document({author})\n"
        f"#show: page-rules.with(head: {literal(document.running_head)}, "
        f"foot: {literal(shortened(document.foot, 100))})\n"
    )
    body = "\n".join(filter(None, map(writer.block, document.placed)))
    return f"{rules}\n{head}\n{body}\n", writer.files


class _Source:
    """Writes the blocks; gathers pictures on the way."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.files: dict[str, bytes] = {}

    def block(self, placed: Placed) -> str:
        block: Block = placed.block
        match block:
            case Headline():
                return self._headline(block, placed.anchor)
            case Section():
                heading = _heading(block.level, block.title, placed.anchor)
                signed = signature(self.document) if block.level == 1 else ""
                return heading + (f"\n#byline({_text(signed)})" if signed else "")
            case FindingRows():
                rows = (self._finding(row, n) for n, row in enumerate(block.rows, start=1))
                return f"#findings({_sequence(rows)})"
            case Paragraph():
                return f"#para({self._runs(block.runs)})"
            case Bullets():
                return f"#{self._bullets(block)}"
            case Quote():
                return f"#quotation({_sequence(self._runs(runs) for runs in block.paragraphs)})"
            case Preformatted():
                code = "true" if block.is_code else "false"
                return f"#preformatted({literal(breakable(block.text, 80))}, code: {code})"
            case FigureBlock():
                return self._figure(block, placed)
            case TableBlock():
                return _table(block, placed)
            case Cautions():
                items = _sequence(map(_text, block.items))
                long = _is_long(block.items, _LONGEST_WHOLE)
                return f"#cautions({_text(block.title)}, {items}, long: {long})"
            case PageBreak():
                return "#pagebreak(weak: true)"
            case Summary():
                return ""  # for the outputs beside the report
        raise AssertionError(f"no Typst source for {block.kind}")

    def _headline(self, block: Headline, anchor: str) -> str:
        byline = block.byline or signature(self.document)
        return "\n".join(
            filter(
                None,
                (
                    _heading(1, block.question, anchor),
                    f"#byline({_text(byline)})" if byline else "",
                    f"#invented({_text(INVENTED)})" if block.invented else "",
                    f"#answer({self._runs(block.answer)})" if block.answer else "",
                ),
            )
        )

    def _finding(self, row: FindingRow, number: int) -> str:
        target = safe_link(row.link, self.document)
        statement = _text(row.statement)
        if target.startswith("#"):
            statement = f"link(label({literal(target[1:])}), {statement})"
        parts = [
            f"verdict: {_text(row.verdict, 12)}",
            f"statement: {statement}",
            f"estimate: {_text(row.estimate_text, 14)}",
            f"interval: {_text(row.interval_text, 14)}",
            f"long: {_is_long((row.verdict, row.statement, row.estimate_text), _LONGEST_ROW)}",
        ]
        for name, svg in (("glyph", row.glyph_svg), ("gauge", row.gauge_svg)):
            file = self._picture(svg, f"finding-{number}-{name}.svg", f"the {name} of a finding")
            parts.append(f"{name}: {file}")
        return f"({', '.join(parts)})"

    def _picture(self, svg: str, name: str, where: str) -> str:
        if not svg:
            return "none"
        self.files[name] = svg_file(svg, where=where)
        return literal(name)

    def _figure(self, block: FigureBlock, placed: Placed) -> str:
        where, number = f"figure '{block.key}'", placed.label.split()[-1]
        if block.svg:
            name = self._picture(block.svg, f"figure-{number}.svg", where)
            ratio = svg_ratio(block.svg, where=where)
        else:
            file = f"figure-{number}.{block.bitmap}"
            self.files[file] = base64.b64decode(block.png_base64)
            name = literal(file)
            ratio = _bitmap_ratio(self.files[file], where)
        width = f"{117 * min(1.0, _TALLEST / ratio):.2f}mm"
        parts = caption_parts(block, placed.label)
        below = _is_long(parts, _LONGEST_BESIDE)
        finding, reading, notes = (_text(part, 18) for part in parts)
        return (
            f"#plate({name}, width: {width}, alt: {literal(block.alt)}, finding: {finding}, "
            f"reading: {reading}, notes: {notes}, below: {below}, "
            f"anchor: {literal(placed.anchor)})"
        )

    def _bullets(self, block: Bullets) -> str:
        items = []
        for place, item in enumerate(block.items):
            below = block.below[place] if place < len(block.below) else None
            words = self._runs(item)
            items.append(f"{{ {words}; {self._bullets(below)} }}" if below else words)
        return f"bullets({_sequence(items)}, ordered: {'true' if block.ordered else 'false'})"

    def _runs(self, runs: Runs) -> str:
        """Typst code whose value is the content of runs."""
        parts = [_text(part) if isinstance(part, str) else self._run(part) for part in runs]
        return f"({' + '.join(parts)})" if parts else '""'

    def _run(self, run: Run) -> str:
        words = f"code-run({literal(breakable(run.text))})" if run.code else _text(run.text)
        words = f"emph({words})" if run.emphasis else words
        words = f"strong({words})" if run.strong else words
        target = safe_link(run.link, self.document)
        if target.startswith("#"):
            words = f"link(label({literal(target[1:])}), {words})"
        elif target:
            words = f"link({literal(target)}, {words})"
        return f"{words} + footnote({_text(run.note)})" if run.note is not None else words


def _bitmap_ratio(data: bytes, where: str) -> float:
    """Height over width of a PNG or JPEG."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=["PNG", "JPEG"]) as picture:
            return picture.height / picture.width
    except (OSError, ValueError):
        raise ReportError(f"The bitmap of {where} cannot be read.") from None


def _text(text: str, longest: int = 24) -> str:
    """Typst code for a text as content; a very long word may be broken."""
    return f"text({literal(breakable(text, longest))})"


def _heading(level: int, words: str, anchor: str) -> str:
    return f"#head({level}, {_text(words)}, {literal(anchor)})"


def _is_long(texts: Iterable[str], longest: int) -> str:
    """Typst boolean: whether texts may need more than the page they begin on."""
    return "true" if sum(map(len, texts)) > longest else "false"


def _sequence(items: Iterable[str]) -> str:
    """Typst array; the comma at its end keeps an array of one an array."""
    return "(" + "".join(f"{item}, " for item in items) + ")"


def _table(block: TableBlock, placed: Placed) -> str:
    heads = _sequence(
        f"(title: {_text(column.title, 14)}, "
        f"unit: {_text(column.unit, 14) if column.unit else 'none'}, "
        f"right: {'true' if column.align == 'right' else 'false'})"
        for column in block.columns
    )
    rows = _sequence(f"\n  {_row(row)}" for row in block.rows)
    caption = table_caption(block, placed.label)
    words = [*(column.title for column in block.columns), *itertools.chain(*block.rows), caption]
    long = "true" if len(block.rows) > SHORT_TABLE else _is_long(words, _LONGEST_WHOLE)
    return (
        f"#sheet({heads}, {rows}, caption: {_text(caption) if caption else 'none'}, "
        f"notes: {_sequence(map(_text, block.notes))}, "
        f"long: {long}, "
        f"anchor: {literal(placed.anchor)})"
    )


def _row(row: Sequence[str]) -> str:
    return _sequence(f"text({literal(breakable(cell, 14))})" for cell in row)
