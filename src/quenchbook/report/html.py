"""Document to one HTML page: no script, nothing fetched, light and dark, phone and paper."""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Sequence
from importlib import resources
from typing import Final

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
from quenchbook.report.characters import shortened, shown
from quenchbook.report.document import Document, Placed
from quenchbook.report.formulas import formula_key, formula_views
from quenchbook.report.number_columns import fraction_gaps
from quenchbook.report.page_fonts import font_faces, math_face, serif_faces
from quenchbook.report.page_frame import BESIDE, PageFrame
from quenchbook.report.svg import inline_svg
from quenchbook.report.wording import (
    INVENTED,
    SHORT_TABLE,
    caption_parts,
    safe_link,
    signature,
    table_caption,
)

POLICY: Final = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "base-uri 'none'; form-action 'none'"
)
_FEWEST_CONTENTS: Final = 3
_MOST_IN_A_COLUMN: Final = 5
_LONGEST_NAME: Final = 80  # characters of the name of a table without a caption
_LONG_CELL: Final = 60  # characters from which a cell is a sentence that needs some room


def html_page(document: Document, frame: PageFrame | None = None) -> str:
    """HTML of a document, as one file with everything in it.

    Parameters
    ----------
    document : Document
    frame : PageFrame, optional
        For a page among others: what stands around it. Without one it is a report.
    """
    writer = _Page(document, frame)
    body = writer.body()
    if frame is not None and frame.faces:
        faces = [frame.faces]
    else:
        text = html.unescape(body)
        faces = [font_faces(text), serif_faces(text)]
    if writer.formulas:
        faces.append(math_face(html.unescape("".join(f.mathml for f in writer.formulas.values()))))
    style = resources.files("quenchbook.report").joinpath("page.css").read_text(encoding="utf-8")
    return "\n".join(
        (
            "<!DOCTYPE html>",
            f'<html lang="{escape(document.language)}">',
            "<head>",
            '<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            '<meta name="referrer" content="no-referrer">',
            f"<title>{escape(document.title)}</title>",
            f'<meta name="author" content="{escape(document.author)}">' if document.author else "",
            "<style>",
            *faces,
            f"{style}{frame.style if frame else ''}</style>",
            "</head>",
            "<body>",
            f'<a class="skip" href="#main">{frame.skip if frame else "Skip to the question"}</a>',
            '<div class="page">',
            body,
            "</div>",
            "</body>",
            "</html>",
            "",
        )
    )


def escape(text: object) -> str:
    """Text for HTML, in an element or in a quoted attribute."""
    return html.escape(shown(text), quote=True)


class _Page:
    """Writes the body; gathers footnotes on the way."""

    def __init__(self, document: Document, frame: PageFrame | None) -> None:
        self.document = document
        self.frame = frame
        self.formulas = formula_views(document.blocks)
        self.notes: list[str] = []
        self.untitled: Counter[str] = Counter()

    def body(self) -> str:
        document = self.document
        parts = [self._block(placed) for placed in document.placed]
        parts.insert(self._contents_place(), self._contents())
        around = self.frame or _report_frame(document)
        return "\n".join(
            (
                f'<header class="head">{around.head}</header>',
                *filter(None, (around.navigation,)),
                '<main id="main">',
                *filter(None, parts),
                self._endnotes(),
                "</main>",
                *filter(None, (around.after,)),
                f'<footer class="foot">{around.foot}</footer>' if around.foot else "",
            )
        )

    def _contents_place(self) -> int:
        """After the findings if there are any, else after the question and its first words."""
        kinds = [type(block) for block in self.document.blocks]
        if self.frame is not None:
            return next(
                (n for n, own in enumerate(kinds) if n and own is not Paragraph), len(kinds)
            )
        for kind in (FindingRows, Headline):
            if kind in kinds:
                return kinds.index(kind) + 1
        return 1

    def _contents(self) -> str:
        lines = [
            f'<li><a href="#{escape(placed.anchor)}">{escape(placed.block.title)}</a></li>'
            for placed in self.document.placed
            if isinstance(placed.block, Section) and placed.block.level == 2
        ]
        wanted = self.frame is None or self.frame.has_contents
        if len(lines) < _FEWEST_CONTENTS or not wanted:
            return ""
        many = " many" if len(lines) > _MOST_IN_A_COLUMN else ""
        return f'<nav class="contents{many}" aria-label="Contents"><ul>{"".join(lines)}</ul></nav>'

    def _endnotes(self) -> str:
        if not self.notes:
            return ""
        lines = "".join(
            f'<li id="note-{n}">{_lines(note)} <a role="doc-backlink" href="#noteref-{n}" '
            f'aria-label="Back to note {n}">back</a></li>'
            for n, note in enumerate(self.notes, start=1)
        )
        return (
            f'<section class="endnotes" role="doc-endnotes" aria-label="Notes"><ol>{lines}</ol>'
            "</section>"
        )

    def _block(self, placed: Placed) -> str:
        block: Block = placed.block
        own = self.frame.writers.get(type(block)) if self.frame else None
        if own is not None:
            return own(block, placed.anchor, self._runs)
        match block:
            case Headline():
                return self._headline(block, placed.anchor)
            case Section():
                level = min(block.level, 6)
                heading = f'<h{level} id="{escape(placed.anchor)}">{escape(block.title)}</h{level}>'
                signed = signature(self.document) if level == 1 else ""
                return heading + (f'\n<p class="byline">{escape(signed)}</p>' if signed else "")
            case FindingRows():
                rows = (
                    _finding(row, f"finding-{n}", safe_link(row.link, self.document))
                    for n, row in enumerate(block.rows, start=1)
                )
                reading = f"<p>{_lines(block.reading)}</p>" if block.reading else ""
                return f'{reading}<ul class="findings" role="list">{"".join(rows)}</ul>'
            case Paragraph():
                return f"<p>{self._runs(block.runs)}</p>"
            case Bullets():
                return self._bullets(block)
            case Quote():
                words = "".join(f"<p>{self._runs(runs)}</p>" for runs in block.paragraphs)
                return f"<blockquote>{words}</blockquote>"
            case Preformatted():
                kind = ' class="code"' if block.is_code else ""
                return f"<pre{kind}>{escape(block.text)}</pre>"
            case FigureBlock():
                return _figure(block, placed)
            case TableBlock():
                return _table(block, placed, self._name_of(block))
            case Cautions():
                items = "".join(f"<li>{_lines(item)}</li>" for item in block.items)
                title = escape(block.title)
                return (
                    f'<section class="cautions" aria-label="{title}"><p>{title}</p>'
                    f"<ul>{items}</ul></section>"
                )
            case PageBreak():
                return '<div class="turn"></div>'
            case Summary():
                return ""  # for the outputs beside the report
        raise AssertionError(f"no HTML for {block.kind}")

    def _name_of(self, block: TableBlock) -> str:
        """Name of a table without a caption, for those who do not see it; no two are alike."""
        heads = ", ".join(column.title for column in block.columns if column.title)
        name = shortened(f"Table of {heads}" if heads else "Table", _LONGEST_NAME)
        self.untitled[name] += 1
        count = self.untitled[name]
        return name if count == 1 else f"{name} ({count})"

    def _headline(self, block: Headline, anchor: str) -> str:
        byline = block.byline or signature(self.document)
        return "\n".join(
            filter(
                None,
                (
                    f'<h1 id="{escape(anchor)}">{escape(block.question)}</h1>',
                    f'<p class="byline">{escape(byline)}</p>' if byline else "",
                    f'<p class="invented">{INVENTED}</p>' if block.invented else "",
                    f'<p class="answer">{self._runs(block.answer)}</p>' if block.answer else "",
                ),
            )
        )

    def _bullets(self, block: Bullets) -> str:
        tag = "ol" if block.ordered else "ul"
        lines = []
        for place, item in enumerate(block.items):
            below = block.below[place] if place < len(block.below) else None
            lines.append(f"<li>{self._runs(item)}{self._bullets(below) if below else ''}</li>")
        return f'<{tag} class="plain">{"".join(lines)}</{tag}>'

    def _runs(self, runs: Runs) -> str:
        return "".join(_lines(part) if isinstance(part, str) else self._run(part) for part in runs)

    def _run(self, run: Run) -> str:
        words = self._formula(run) if run.math else _lines(run.text)
        words = f"<code>{words}</code>" if run.code else words
        words = f"<em>{words}</em>" if run.emphasis else words
        words = f"<strong>{words}</strong>" if run.strong else words
        target = self._target(run.link)
        words = f'<a href="{escape(target)}">{words}</a>' if target else words
        if run.note is None:
            return words
        self.notes.append(run.note)
        n = len(self.notes)
        return (
            f'{words}<sup><a role="doc-noteref" id="noteref-{n}" href="#note-{n}" '
            f'aria-label="Note {n}">{n}</a></sup>'
        )

    def _target(self, link: str | None) -> str:
        """Where a link leads; one page among others may lead to those, its links are checked."""
        if self.frame is not None and link and BESIDE.fullmatch(link):
            return link
        return safe_link(link, self.document)

    def _formula(self, run: Run) -> str:
        """MathML; a formula on a line of its own can be scrolled where the page is narrow."""
        formula = self.formulas.get(formula_key(run))
        if formula is None:
            return f"<code>{_lines(run.written)}</code>"
        if run.math == "inline":
            return formula.mathml
        return (
            '<span class="formula" role="group" tabindex="0" aria-label="Formula">'
            f"{formula.mathml}</span>"
        )


def _report_frame(document: Document) -> PageFrame:
    foot = ". ".join(part.rstrip(".") for part in (document.foot, signature(document)) if part)
    head = f"<span>quenchbook report</span><span>{escape(document.running_head)}</span>"
    return PageFrame(head, foot=escape(foot))


def _lines(text: str) -> str:
    return escape(text).replace("\n", "<br>")


def _finding(row: FindingRow, prefix: str, target: str) -> str:
    glyph = _mark(row.glyph_svg, f"{prefix}-glyph")
    statement = _lines(row.statement)
    if target:
        words, line_end, mark = row.statement.partition("\n")
        statement = f'<a href="{escape(target)}">{_lines(words)}</a>{_lines(line_end + mark)}'
    return (
        f'<li><span class="verdict">{glyph}{escape(row.verdict)}</span>'
        f'<span class="statement">{statement}</span>'
        f'<span class="gauge">{_mark(row.gauge_svg, f"{prefix}-gauge")}</span>'
        f'<span class="numbers">{escape(row.estimate_text)}'
        f"<span>{_lines(row.interval_text)}</span></span></li>"
    )


def _mark(svg: str, prefix: str) -> str:
    """Glyph or gauge: decoration beside the words and numbers that say the same."""
    return inline_svg(svg, prefix=prefix, title="", where=prefix) if svg else ""


def _figure(block: FigureBlock, placed: Placed) -> str:
    where = f"figure '{block.key}'"
    if block.svg:
        picture = inline_svg(block.svg, prefix=placed.anchor, title=block.alt, where=where)
    else:
        source = escape(f"data:image/{block.bitmap};base64,{block.png_base64}")
        picture = f'<img src="{source}" alt="{escape(block.alt)}">'
    finding, reading, notes = (escape(part) for part in caption_parts(block, placed.label))
    return (
        f'<figure class="plate" id="{escape(placed.anchor)}"><div class="picture">{picture}</div>'
        f'<figcaption><p class="finding">{finding}</p>'
        + (f"<p>{reading}</p>" if reading else "")
        + (f'<p class="notes">{notes}</p>' if notes else "")
        + "</figcaption></figure>"
    )


def _table(block: TableBlock, placed: Placed, name: str) -> str:
    anchor = escape(placed.anchor)
    caption = escape(table_caption(block, placed.label))
    kinds = [' class="right"' if column.align == "right" else "" for column in block.columns]
    heads = "".join(
        f'<th scope="col"{kind}>{escape(column.title)}'
        + (f'<span class="unit">, {escape(column.unit)}</span>' if column.unit else "")
        + "</th>"
        if column.title or column.unit
        else "<td></td>"
        for column, kind in zip(block.columns, kinds, strict=True)
    )
    short = " short" if len(block.rows) <= SHORT_TABLE else ""
    named = f'aria-labelledby="{anchor}-caption"' if caption else f'aria-label="{escape(name)}"'
    columns = [
        _column(texts, right=column.align == "right", first=number == 0)
        for number, (texts, column) in enumerate(
            zip(zip(*block.rows, strict=True), block.columns, strict=False)
        )
    ]
    rows = "".join(f"<tr>{''.join(cells)}</tr>" for cells in zip(*columns, strict=True))
    return (
        f'<div class="sheet{short}" id="{anchor}" role="region" tabindex="0" {named}><table>'
        + (f'<caption id="{anchor}-caption">{caption}</caption>' if caption else "")
        + f"<thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        + "".join(f'<p class="notes">{escape(note)}</p>' for note in block.notes)
    )


def _column(texts: Sequence[str], *, right: bool, first: bool) -> list[str]:
    """Cells of a column; numbers get their decimal points under one another."""
    name, scope = ("th", ' scope="row"') if first else ("td", "")
    if not right:
        kinds = [' class="long"' if len(text) > _LONG_CELL else "" for text in texts]
        return [
            f"<{name}{scope}{kind}>{_lines(text)}</{name}>" if text.strip() else "<td></td>"
            for text, kind in zip(texts, kinds, strict=True)
        ]
    gaps = [f' data-gap="{gap}"' if gap else "" for gap in fraction_gaps(texts)]
    return [
        f'<{name}{scope} class="right"{gap}>{_lines(text)}</{name}>'
        for text, gap in zip(texts, gaps, strict=True)
    ]
