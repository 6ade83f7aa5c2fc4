"""One page that sums up a study, as a tagged PDF on A4."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import ReportError
from quenchbook.report.blocks import FindingRow, FindingRows, Headline, Summary
from quenchbook.report.characters import breakable, shortened
from quenchbook.report.document import Document
from quenchbook.report.pdf import compile_typst
from quenchbook.report.svg import svg_file
from quenchbook.report.typst_source import literal
from quenchbook.report.wording import INVENTED, signature
from quenchbook.units import NO_BREAK, listed
from quenchbook.writing import write_bytes

if TYPE_CHECKING:
    from quenchbook.report.edition import Edition

_WIDTH: Final = 482.0  # of the text on A4 with 20 mm at each side [pt]
_LONGEST: Final = 400  # characters of a text of one line or a few
_LONGEST_FACT: Final = 800  # of what was counted, where it holds, what cannot be told
_TRIES: Final = ((150.0, 26), (120.0, 20), (120.0, 14), (105.0, 9), (0.0, 5))
"""Height of the figure [pt] and most rows, tried until all stands on one page."""
_IN_BRACKETS: Final = re.compile(r"(?<=\d) (?:°[CF]|J|ft lbf)(?=\))")
"""Unit of a number in the other unit: a line never starts with it."""
_TALLEST: Final = 300.0  # of the figure [pt]
_ROW: Final = 16.0  # usual height of a row [pt]
_ROOM: Final = 520.0  # what figure and rows have together where the other texts are short [pt]


def write_summary_edition(edition: Edition) -> list[Path]:
    """Write the one-page summary, the share pictures, and the text that describes them."""
    from quenchbook.plots.share_card import SIZES, share_alt, share_png

    summary = summary_of(edition.document)
    made = {"_summary.pdf": summary_pdf(edition.document)}
    for size in SIZES:
        made[f"_share_{size[0]}x{size[1]}.png"] = share_png(summary.words, size)
    paths = [_written_once(edition, end, data) for end, data in made.items()]
    names = "\n".join(path.name for path in paths[1:])
    text = f"Alternative text to paste where one of these pictures is shown:\n{names}\n\n"
    text += f"{share_alt(summary.words)}\n"
    return [*paths, _written_once(edition, "_share.txt", text.encode())]


def _written_once(edition: Edition, end: str, data: bytes) -> Path:
    """Write a file of an edition, or find the public one that holds the same bytes."""
    public = replace(edition, name="public").path(end)
    if public.is_file() and public.read_bytes() == data:
        return public
    return write_bytes(edition.path(end), data)


def summary_of(document: Document) -> Summary:
    """Find the words of the summary in a report; ReportError if its notebook does not make them."""
    for block in document.blocks:
        if isinstance(block, Summary):
            return block
    raise ReportError(
        "The report has no words for a summary. Add a cell to notebooks/05_report.ipynb: "
        "qb.show(qb.report_summary(analysis))"
    )


def summary_pdf(document: Document) -> bytes:
    """One page A4: question, answer, what was shown, one figure, where it holds, what is open.

    Figure and rows give way until all stands on one page; rows that are left out are counted.
    """
    rows = sum(len(b.rows) for b in document.blocks if isinstance(b, FindingRows))
    first = (min(_TALLEST, max(120.0, _ROOM - _ROW * rows)), 30)
    for height, most in (first, *_TRIES):
        source, files = summary_source(document, height=height, most=most)
        try:
            return compile_typst(source, files, title=document.title, date=document.date,
                                 language=document.language)  # fmt: skip
        except ReportError as error:
            if "more than one page" not in str(error):
                raise
    raise ReportError(
        f"The summary of '{shortened(document.title, 60)}' does not fit on one page: question, "
        "answer or what cannot be told are too long. Shorten the question in study.toml."
    )


def summary_source(document: Document, *, height: float, most: int) -> tuple[str, dict[str, bytes]]:
    """Typst source of the page, and the pictures it names.

    Parameters
    ----------
    document : Document
    height : float
        Of the figure [pt]; 0 for none.
    most : int
        Rows of findings.
    """
    summary, files = summary_of(document), {}
    words = summary.words
    rules = resources.files("quenchbook.report").joinpath("summary.typ").read_text(encoding="utf-8")
    byline = next((b.byline for b in document.blocks if isinstance(b, Headline) and b.byline), "")
    author = f"author: {literal(document.author)}" if document.author else ""
    lines = [
        rules,
        f"#set document({author})",
        f"#show: page-rules.with(head: {literal(document.running_head)}, "
        f"foot: {literal(summary.plan)})",
        f"#heading(level: 1, {_text(words.question)})",
        f"#byline({_text(byline or signature(document))})",
        f"#invented({_text(INVENTED)})" if document.invented else "",
        f"#answer({_text(words.headline)}, {_text(words.interval)})",
    ]
    rows = [row for b in document.blocks if isinstance(b, FindingRows) for row in b.rows]
    entries = []
    for number, row in enumerate(rows[:most], start=1):
        name = f"glyph-{number}.svg"
        if row.glyph_svg:
            files[name] = svg_file(row.glyph_svg, where=f"row {number}")
        entries.append(_row(row, literal(name) if row.glyph_svg else "none"))
    if entries:
        size = "8pt" if len(entries) > 12 else "9pt"
        lines.append(f"#rows(({''.join(f'{own}, ' for own in entries)}), size: {size})")
    if rows[most:]:
        lines.append(f"#left-out({_text(_left_out(rows[most:]))})")
    if height and words.picture:
        files["figure.svg"] = _figure(summary, height)
        alt, reading = f"{words.picture.alt}.", words.picture.reading
        lines.append(f'#picture("figure.svg", {literal(alt)}, {_text(f"{alt} {reading}")})')
    facts = (
        ("Counted", summary.counts),
        ("Holds for", summary.holds_for),
        ("Cannot be told", summary.not_told),
    )
    told = "".join(f"({_text(a)}, {_text(b, most=_LONGEST_FACT)}), " for a, b in facts)
    lines.append(f"#facts(({told}))")
    return "\n".join(filter(None, lines)) + "\n", files


def _row(row: FindingRow, glyph: str) -> str:
    statement = " ".join(row.statement.split())
    return (
        f"(glyph: {glyph}, verdict: {_text(row.verdict, 14)}, statement: {_text(statement)}, "
        f"estimate: {_text(row.estimate_text, 18)}, "
        f"interval: text({literal(breakable(row.interval_text, 22))}))"
    )


def _left_out(rows: Iterable[FindingRow]) -> str:
    """Which verdicts the rows have that found no place."""
    counted = Counter(row.verdict for row in rows)
    words = listed([f"{count} {verdict}" for verdict, count in counted.items()])
    return f"In the report only: {words}."


def _figure(summary: Summary, height: float) -> bytes:
    import pandas as pd

    from quenchbook.plots.drawing import Drawing
    from quenchbook.plots.sheet import Sheet
    from quenchbook.plots.small_picture import draw_small_picture
    from quenchbook.plots.style import drawing_rules

    assert summary.words.picture is not None  # asked for by the caller
    with drawing_rules():
        sheet = Sheet(height, _WIDTH)
        place = (1.0, 1.0, _WIDTH - 2.0, height - 2.0)
        draw_small_picture(sheet, summary.words.picture, place, size=8.5)
    drawing = Drawing("summary", sheet.figure, "", "", (), "", pd.DataFrame())
    return svg_file(drawing.svg(), where="the summary")


def _text(text: str, longest: int = 24, *, most: int = _LONGEST) -> str:
    text = _IN_BRACKETS.sub(lambda unit: unit[0].replace(" ", NO_BREAK), shortened(text, most))
    return f"text({literal(breakable(text, longest))})"
