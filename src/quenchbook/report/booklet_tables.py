"""HTML of one bench sheet: head with its setting, lines to write on, rows to tick."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.bench.bar_sheets import BarPicture, BarSheet
from quenchbook.bench.load_sheets import Entry, LoadSheet
from quenchbook.bench.temper_sheets import TemperSheet
from quenchbook.bench.tester_sheets import TesterCheck, TestSheet
from quenchbook.bench.travellers import LabelSheet, square_svg
from quenchbook.report.bench_pages import ANYTHING
from quenchbook.report.html import escape
from quenchbook.report.svg import inline_svg

TICK: Final = '<span class="tick" aria-hidden="true"></span>'
_SHAPES: Final = {
    "circle": '<circle cx="10" cy="10" r="8.4"/>',
    "square": '<rect class="grey" x="1.6" y="1.6" width="16.8" height="16.8"/>',
    "triangle": '<path class="full" d="M10 1 L19.5 19 H0.5 Z"/>',
    "diamond": '<path class="full" d="M10 0 L20 10 L10 20 L0 10 Z"/>',
}


@dataclass(frozen=True)
class Cell:
    """One cell of a table: its HTML, how it is set, words before it where columns are stacked."""

    html: str
    kind: str = ""
    label: str = ""


def line(unit: str = "", label: str = "") -> str:
    """Line to write on, with its unit and the words above it."""
    head = f"<b>{escape(label)}</b>" if label else ""
    return f'<span class="line">{head}<span class="rule">{escape(unit)}</span></span>'


def table(name: str, heads: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Table that becomes a list of cards on a narrow screen.

    A browser still tells it as a table there, so HTML wants no roles beside its elements.
    """
    head = "".join(f'<th scope="col">{escape(own)}</th>' if own else "<td></td>" for own in heads)
    body = "".join(f"<tr>{''.join(map(_cell, row))}</tr>" for row in rows)
    return f'<table class="rows {name}"><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>'


def code_cell(code: str) -> Cell:
    """Cell with the code of a coupon; it names its row."""
    return Cell(escape(code), "code")


def load_html(sheet: LoadSheet) -> str:
    """Furnace load."""
    cold = ("cold, in", sheet.cold_out) if sheet.has_cold else ()
    heads = ("", sheet.coupon_word, *sheet.heads, *cold, "done")
    rows = []
    for row in sheet.rows:
        cells = [Cell(escape(row.place), "place"), code_cell(row.coupon)]
        cells += [
            Cell(_entry(own), "entry", head if own.text else "")
            for own, head in zip(row.entries, sheet.heads, strict=False)
        ]
        if cold:
            cells += [Cell(line("h:min") if row.is_cold else "", "write", own) for own in cold]
        rows.append([*cells, Cell(TICK, "ticks", "done")])
    return "".join(
        (
            head_html(sheet.title, sheet.line, sheet.settings, dated=True),
            _times((("", sheet.times),), sheet.held),
            table("load", heads, rows),
            _anything(),
            _safety(sheet.hint, sheet.reminder),
        )
    )


def temper_html(sheet: TemperSheet) -> str:
    """Temper batch."""
    order = (sheet.order_head,) if sheet.order_head else ()
    place = f"place in the {sheet.load_word}"
    heads = (sheet.coupon_word, sheet.load_word, place, *order, "in", "out")
    rows = [
        [
            code_cell(row.coupon),
            Cell(escape(row.furnace_load), "entry", sheet.load_word),
            Cell(escape(row.load_place), "entry", place),
            *(Cell(escape(row.step_order), "entry", head) for head in order),
            Cell(TICK, "ticks", "in"),
            Cell(TICK, "ticks", "out"),
        ]
        for row in sheet.rows
    ]
    return "".join(
        (
            head_html(sheet.title, sheet.line, sheet.settings, dated=True),
            _times(tuple((cycle, sheet.times) for cycle in sheet.cycles), sheet.held),
            table("temper", heads, rows),
            _anything(),
            _safety("", sheet.reminder),
        )
    )


def test_html(sheet: TestSheet) -> str:
    """Tester sheet."""
    numbers = [str(number) for number in range(1, sheet.fields + 1)]
    numbers = numbers if len(numbers) > 1 else ["reading"]
    rows = [
        [
            Cell(escape(order), "place"),
            code_cell(code),
            *(Cell("", "field", number) for number in numbers),
            Cell("", "note", "note"),
        ]
        for order, code in sheet.rows
    ]
    return "".join(
        (
            head_html(sheet.title, sheet.line, (), dated=False),
            f'<div class="lines">{"".join(line("", own) for own in sheet.lines)}</div>',
            "" if sheet.check is None else _check(sheet.check),
            table("test", ("order", sheet.coupon_word, *numbers, "note"), rows),
            _safety("", sheet.reminder),
        )
    )


def bar_html(sheet: BarSheet) -> str:
    """Bar with its pieces."""
    ends = ("from, to, mm",) if any(row.ends for row in sheet.rows) else ()
    heads = ("piece", f"{sheet.coupon_word}, to mark", *ends, "cut", "marked")
    rows = [
        [
            Cell(escape(row.position), "place"),
            code_cell(row.coupon) if row.coupon else Cell(escape(row.what), "code words"),
            *(Cell(escape(row.ends), "entry", head) for head in ends),
            Cell(TICK, "ticks", "cut"),
            Cell(TICK, "ticks", "marked") if row.coupon else Cell("", "ticks"),
        ]
        for row in sheet.rows
    ]
    return "".join(
        (
            head_html(sheet.title, sheet.line, (), dated=True),
            "" if sheet.picture is None else _bar(sheet.picture),
            table("bar", heads, rows),
            _safety(sheet.hint, sheet.reminder),
        )
    )


def label_html(sheet: LabelSheet) -> str:
    """Labels to cut out."""
    labels = "".join(
        f'<li><span class="square">{_square(own.text, own.coupon)}</span>'
        f'<span class="code">{escape(own.coupon)}</span>'
        f'<span class="strip">{escape(own.place)}<span class="tray">tray {line()}</span></span>'
        "</li>"
        for own in sheet.labels
    )
    return (
        head_html(sheet.title, sheet.line, (), dated=False)
        + f'<ul class="labels">{labels}</ul>'
        + _safety(sheet.hint, "")
    )


def head_html(title: str, under: str, settings: Sequence[str], *, dated: bool) -> str:
    """Head of a sheet: title, line, framed setting."""
    small = " small" if sum(map(len, settings)) > 9 else ""
    framed = "".join(f'<span class="setting{small}">{escape(own)}</span>' for own in settings)
    date = line("", "date") if dated else ""
    return (
        f'<div class="sheet-head"><div><h3>{escape(title)}</h3><p>{escape(under)} {date}</p></div>'
        f"<div>{framed}</div></div>"
    )


# --- pieces of a sheet ----------------------------------------------------------------------------


def _cell(cell: Cell) -> str:
    label = f' data-label="{escape(cell.label)}"' if cell.label else ""
    kind = f' class="{cell.kind}{" blank" if not (cell.html or cell.label) else ""}"'
    if "code" in cell.kind.split():
        return f'<th scope="row"{kind}>{cell.html}</th>'
    return f"<td{kind}{label}>{cell.html}</td>"


def _entry(entry: Entry) -> str:
    shape = _SHAPES.get(entry.shape, "")
    mark = (
        f'<svg class="mark" viewBox="0 0 20 20" aria-hidden="true">{shape}</svg>' if shape else ""
    )
    under = f"<small>{escape(entry.under)}</small>" if entry.under else ""
    return f'{mark}<span class="{entry.emphasis}">{escape(entry.text)}</span>{under}'


def _times(cycles: Sequence[tuple[str, Sequence[tuple[str, str]]]], held: str) -> str:
    rows = "".join(
        f'<div class="lines">{f"<p>{escape(name)}</p>" if name else ""}'
        f"{''.join(line(unit, label) for label, unit in times)}</div>"
        for name, times in cycles
    )
    return rows + (f'<p class="held">{escape(held)}</p>' if held else "")


def _anything() -> str:
    title, words = map(escape, ANYTHING)
    rule = '<span class="rule"></span>'
    return f'<div class="anything"><p><b>{title}</b> {words}</p>{rule}{rule}</div>'


def _safety(words: str, reminder: str) -> str:
    return f'<p class="safety">{escape(words)} <b>{escape(reminder)}</b></p>'


def _check(check: TesterCheck) -> str:
    rows = [
        [
            Cell(escape(row), "code words"),
            *(Cell("", "field" if own.isdecimal() else "field wide", own) for own in check.heads),
        ]
        for row in check.rows
    ]
    return (
        f'<div class="check"><p><b>{escape(check.title)}</b> {escape(check.hint)}</p>'
        f"{table('checks', ('', *check.heads), rows)}</div>"
    )


def _bar(picture: BarPicture) -> str:
    """Bar to scale; the table below says the same, so it is hidden from a screen reader."""
    scale, height = 1000 / picture.bar_mm, 70
    parts = []
    for left in (0.0, picture.bar_mm - picture.end_discard_mm):
        x, right = left * scale, (left + picture.end_discard_mm) * scale
        parts.append(
            f'<rect class="grey" x="{x:.2f}" y="0" width="{right - x:.2f}" height="{height}"/>'
            f'<path d="M{x:.2f} 0 L{right:.2f} {height} M{x:.2f} {height} L{right:.2f} 0"/>'
        )
    kerf = max(picture.kerf_mm * scale, 1.4)
    for number, low, high, is_coupon in picture.pieces:
        if not is_coupon:
            parts.append(
                f'<rect class="grey" x="{low * scale:.2f}" y="0" '
                f'width="{(high - low) * scale:.2f}" height="{height}"/>'
            )
        for cut in (low - picture.kerf_mm, high):
            parts.append(
                f'<rect class="full" x="{cut * scale:.2f}" y="0" width="{kerf:.2f}" '
                f'height="{height}"/>'
            )
        if (high - low) * scale > 30:
            parts.append(f'<text x="{(low + high) / 2 * scale:.2f}" y="44">{number}</text>')
    return (
        f'<svg class="bar-drawn" viewBox="-1 -1 1002 {height + 2}" aria-hidden="true">'
        f'{"".join(parts)}<rect x="0" y="0" width="1000" height="{height}"/></svg>'
    )


def _square(text: str, coupon: str) -> str:
    return inline_svg(
        square_svg(text), prefix=f"square-{coupon}", title=f"QR code: {text}", where="a label"
    )
