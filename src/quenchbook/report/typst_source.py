"""Document to Typst source; every text goes out as a string literal, never as markup."""

from __future__ import annotations

import base64
import io
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
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
from quenchbook.report.document import Document, Placed, heading_of
from quenchbook.report.formulas import Formula, Key, formula_key, formula_views, formulas_in
from quenchbook.report.number_columns import fraction_gaps
from quenchbook.report.svg import svg_file, svg_ratio
from quenchbook.report.wording import (
    INVENTED,
    caption_parts,
    safe_link,
    signature,
    table_caption,
)

_WIDE_MM: Final = 117.0  # a figure with its caption beside it
_TALLEST: Final = 205.0  # height of a figure that still fits the page [mm]
_TALLEST_PHOTO: Final = 110.0  # a photograph has no words that must stay readable [mm]
_PAGE_MM: Final = 235.0  # height of the text on a page that a figure may take with its caption
_LINE_MM: Final = 4.6  # of a caption
_LINE_SIGNS: Final = 100  # characters on a line of a caption below a figure

_WHOLE_ROWS: Final = 6  # rows of a table that stays on one page; a longer one would leave a gap
_SECTION_LEVEL: Final = 2  # no figure leaves a section of this level, see ``head`` in page.typ
_LONGEST_ROW: Final = 400  # characters of a finding that stays on one page
_LONGEST_WHOLE: Final = 1500  # characters of cautions or of a table that stay on one page
_MEASURED_ROWS: Final = 200  # rows from which the widths of a table are told to Typst
_MEASURED_CELLS: Final = 20  # longest cells of a column that are measured
_PADDING_PT: Final = 10.0  # right of each cell, with a little to spare
_PAGE_PT: Final = 170 / 25.4 * 72  # width of the text on A4
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


def typst_page(
    document: Document, formulas: Mapping[Key, Formula] | None = None
) -> tuple[str, dict[str, bytes]]:
    """Typst source of a document, and the pictures it names.

    The rules of the page are in ``page.typ``; what follows them are calls of its functions with
    string literals for every text. Only `formulas` (all that pandoc could read, if left out) go out
    as formulas.
    """
    writer = _Source(document, formulas)
    rules = resources.files("quenchbook.report").joinpath("page.typ").read_text(encoding="utf-8")
    author = f"author: {literal(document.author)}" if document.author else ""
    head = (
        f"#set document({author})\n"
        f"#show: page-rules.with(head: {literal(document.running_head)}, "
        f"foot: {literal(shortened(document.foot, 100))})\n"
    )
    body = "\n".join(filter(None, map(writer.block, _floats_after_words(document.placed))))
    return f"{rules}\n{head}\n{body}\n", writer.files


def _floats_after_words(placed: Iterable[Placed]) -> Iterator[Placed]:
    """Blocks with each figure behind the first words under its heading.

    A heading goes with its words to the next page, and a figure between the two would be left
    behind, before its heading.
    """
    waiting: list[Placed] = []
    bare = False  # whether the last heading has no words yet
    for own in placed:
        heading = heading_of(own.block)
        if bare and isinstance(own.block, FigureBlock):
            waiting.append(own)
            continue
        if heading is not None:
            if heading[0] <= _SECTION_LEVEL:
                yield from waiting
                waiting = []
            bare = True
            yield own
            continue
        yield own
        yield from waiting
        waiting, bare = [], False
    yield from waiting


class _Source:
    """Writes the blocks; gathers pictures on the way."""

    def __init__(self, document: Document, formulas: Mapping[Key, Formula] | None) -> None:
        self.document = document
        self.formulas = formula_views(document.blocks) if formulas is None else formulas
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
                reading = f"#para({_text(block.reading)})\n" if block.reading else ""
                return f"{reading}#findings({_sequence(rows)})"
            case Paragraph():
                loose = any(mode == "display" for _, mode in formulas_in(block))
                return f"#{'loose-para' if loose else 'para'}({self._runs(block.runs)})"
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
        tallest = _TALLEST if block.svg else _TALLEST_PHOTO
        width = min(_WIDE_MM, tallest / ratio)
        parts = caption_parts(block, placed.label)
        kind = _kind(parts, width * ratio)
        finding, reading, notes = (_text(part, 18) for part in parts)
        return (
            f"#plate({name}, width: {width:.2f}mm, alt: {literal(block.alt)}, finding: {finding}, "
            f"reading: {reading}, notes: {notes}, kind: {kind}, "
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
        formula = self.formulas.get(formula_key(run)) if run.math else None
        if formula is not None:
            words = formula_call(formula, run.math)
        elif run.code or run.math:
            words = f"code-run({literal(breakable(run.written))})"
        else:
            words = _text(run.text)
        words = f"emph({words})" if run.emphasis else words
        words = f"strong({words})" if run.strong else words
        target = safe_link(run.link, self.document)
        if target.startswith("#"):
            words = f"link(label({literal(target[1:])}), {words})"
        elif target:
            words = f"link({literal(target)}, {words})"
        return f"{words} + footnote({_text(run.note)})" if run.note is not None else words


def _kind(caption: Sequence[str], height: float) -> str:
    """Typst kind of a figure `height` mm tall: caption beside it, below it, or below over pages."""
    signs = sum(map(len, caption))
    if signs <= _LONGEST_BESIDE:
        return "image"
    whole = height + _LINE_MM * (signs / _LINE_SIGNS + len(caption))
    return '"caption below"' if whole <= _PAGE_MM else '"long caption"'


def _bitmap_ratio(data: bytes, where: str) -> float:
    """Height over width of a PNG or JPEG."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(data), formats=["PNG", "JPEG"]) as picture:
            return picture.height / picture.width
    except (OSError, ValueError):
        raise ReportError(f"The bitmap of {where} cannot be read.") from None


def formula_call(formula: Formula, mode: str) -> str:
    """Typst code of a formula; its inside comes from pandoc and was looked through there."""
    block = "true" if mode == "display" else "false"
    return f"formula(${formula.typst}$, {literal(formula.words)}, block: {block})"


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
    columns = list(zip(*block.rows, strict=True)) or [() for _ in block.columns]
    cells = [
        _column(texts, right=column.align == "right")
        for texts, column in zip(columns, block.columns, strict=True)
    ]
    rows = "".join(f"\n  {', '.join(row)}," for row in zip(*cells, strict=True))
    caption = table_caption(block, placed.label)
    words = [*(column.title for column in block.columns), *itertools.chain(*block.rows), caption]
    long = "true" if len(block.rows) > _WHOLE_ROWS else _is_long(words, _LONGEST_WHOLE)
    size = 6.5 if len(columns) > 11 else 7.5 if len(columns) > 7 else 8.5
    return (
        f"#sheet({heads}, ({rows}), size: {size}pt, widths: {_widths(block, columns, size)}, "
        f"caption: {_text(caption) if caption else 'none'}, "
        f"notes: {_sequence(map(_text, block.notes))}, "
        f"long: {long}, "
        f"anchor: {literal(placed.anchor)})"
    )


def _column(texts: Sequence[str], *, right: bool) -> list[str]:
    """Typst code of the cells of a column, numbers on one decimal point."""
    cells = [literal(breakable(text, 14)) for text in texts]
    if not right:
        return cells
    return [
        f"{cell} + gap({gap.count('0')}, {'true' if '.' in gap else 'false'})" if gap else cell
        for cell, gap in zip(cells, fraction_gaps(texts), strict=True)
    ]


def _widths(block: TableBlock, columns: Sequence[Sequence[str]], size: float) -> str:
    """Widths of the columns of a long table or of one that is wider than the page.

    With them Typst need not look at each cell of a long table, and a column of sentences gets the
    room that columns of short numbers do not need.
    """
    from quenchbook.plots.sheet import text_width

    wanted, whole = [], 0.0
    for column, texts in zip(block.columns, columns, strict=True):
        gaps = fraction_gaps(texts) if column.align == "right" else [""] * len(texts)
        full = {text + gap for text, gap in zip(texts, gaps, strict=True)}
        longest = sorted(full, key=lambda text: (len(text), text))[-_MEASURED_CELLS:]
        cells = max((text_width(text, size) for text in longest), default=0.0)
        head = f"{column.title}, {column.unit}" if column.unit else column.title
        words = max((text_width(word, size, bold=True) for word in head.split(" ")), default=0.0)
        wanted.append(max(words, cells) + _PADDING_PT)
        whole += max(text_width(head, size, bold=True), cells) + _PADDING_PT
    if whole <= _PAGE_PT and len(block.rows) <= _MEASURED_ROWS:
        return "none"
    fair = _PAGE_PT / len(wanted)
    spare = _PAGE_PT - sum(min(width, fair) for width in wanted)
    over = sum(max(0.0, width - fair) for width in wanted)
    share = min(1.0, spare / over) if over else 0.0
    kept = [min(width, fair) + share * max(0.0, width - fair) for width in wanted]
    return _sequence(f"{width:.1f}pt" for width in kept)
