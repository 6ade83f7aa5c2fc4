"""Typst source of bench sheets: cautions, consumables, bars, labels, loads, tempers, testers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from importlib import resources
from math import ceil
from typing import Final

from quenchbook.bench.at_hand import NOT_A_RISK_ASSESSMENT, Consumables
from quenchbook.bench.bar_sheets import BarPicture, BarSheet, PieceRow
from quenchbook.bench.load_sheets import CouponRow, Entry, LoadSheet
from quenchbook.bench.safety import COMMON, Caution
from quenchbook.bench.sheets import BenchSheets
from quenchbook.bench.temper_sheets import TemperRow, TemperSheet
from quenchbook.bench.tester_sheets import TesterCheck, TestSheet
from quenchbook.bench.travellers import LABEL_COLUMNS, LabelSheet, Traveller, square_svg
from quenchbook.report.characters import breakable, shortened
from quenchbook.report.typst_source import literal
from quenchbook.units import capital

_SIZES: Final = (
    (2200, "12pt"), (3100, "10.5pt"), (4000, "9pt"), (4850, "8.3pt"), (5900, "7pt"),
    (100_000, "6.7pt"),
)  # fmt: skip
_HAZARD_LETTERS: Final = 110  # that a hazard's heading and the space around it stand for
UNSOURCED: Final = "Where no source is named: common practice, no source."
_MANY_ROWS: Final = 14  # of consumables and air; so many stand closer together
_HELD_LETTERS: Final = 280  # of what is held constant, three lines
_LETTERS: Final = 86  # of a line of 11 pt
_USUAL_LINES: Final = 3  # around the table of a load with rows of 16.6 mm
ANYTHING: Final = (
    "Anything different?",
    "Late, dropped, scale, wrong bath: write it, do not repair it.",
)


def bench_source(sheets: BenchSheets) -> str:
    """Typst source of bench sheets alone; every text goes out as a string literal."""
    return typst_source(part_pages(sheets.part_titles(), sheet_pages(sheets)))


def part_pages(titles: Mapping[str, str], pages: Mapping[str, Sequence[str]]) -> list[str]:
    """Pages of all parts in the order of the titles, the first of each with its title."""
    found = []
    for key, title in titles.items():
        for number, page in enumerate(pages.get(key, ())):
            name = "" if number else f"#part({literal(key)}, {_words(shortened(title, 40), 18)})\n"
            found.append(name + page)
    return found


def typst_source(pages: Sequence[str]) -> str:
    """Typst source of pages, with the rules of their look before them."""
    rules = resources.files("quenchbook.report").joinpath("bench_sheet.typ")
    body = "\n#pagebreak(weak: true)\n".join(pages)
    return f"{rules.read_text(encoding='utf-8')}\n#show: bench-rules\n{body}\n"


def sheet_pages(sheets: BenchSheets) -> Mapping[str, Sequence[str]]:
    """Typst source of each page, by the part of the booklet it belongs to."""
    needs = [] if sheets.needs is None else [_needs_page(sheets.needs, sheets.foot)]
    return {
        "cautions": [_cautions_page(sheets)],
        "needs": needs,
        "bars": [_bar_page(own) for own in sheets.bars],
        "labels": [_label_page(own) for own in sheets.labels],
        "loads": [_load_page(own) for own in sheets.loads],
        "tempers": [_temper_page(own) for own in sheets.tempers],
        "tests": [_test_page(own) for own in sheets.tests],
    }


def _cautions_page(sheets: BenchSheets) -> str:
    lines = [
        "#[",
        "#show heading: set text(size: 24pt)",
        _heading("Before you begin"),
        "]",
        f"#v(2.5mm)\n#text(size: 11pt, {literal(breakable(shortened(sheets.study_title, 120)))})",
        "#v(2.5mm)\n#rule(2pt)",
        *(_caution(caution, _cautions_size(sheets.cautions)) for caution in sheets.cautions[:-1]),
        f"#v(3mm)\n#hint({literal(UNSOURCED)})",
        "#v(3mm)",
        f"#block(stroke: 1.4pt, inset: 3mm, bold({literal(_sentences(sheets.cautions[-1]))}))",
        foot_line(sheets.foot, "cautions"),
    ]
    return "\n".join(lines)


def _needs_page(needs: Consumables, foot: str) -> str:
    lines = sequence(
        f"\n  ({literal(capital(own.item))}, {literal(own.amount_words())}, "
        f"{literal(breakable(own.note))})"
        for own in needs.lines
    )
    air = sequence(
        f"\n  ({literal(breakable(capital(own.what)))}, {literal(own.value_words())}, "
        f"{literal(breakable(own.note))})"
        for own in needs.air
    )
    asked = sequence(literal(line) for line in needs.asked)
    few = len(needs.lines) + len(needs.air) < _MANY_ROWS
    look = "gap: 1.5mm" if few else "gap: 0.8mm, note: 8pt"
    return "\n".join(
        (
            "#[",
            "#show heading: set text(size: 24pt)",
            _heading("Have at hand"),
            "]",
            "#v(3mm)\n#rule(2pt)",
            f"#needs-table({lines}, {look})",
            f"#air-table({air}, {literal(NOT_A_RISK_ASSESSMENT)}, {asked}, {look})",
            foot_line(foot, "have at hand"),
        )
    )


def _caution(caution: Caution, size: str) -> str:
    sentences = sequence(literal(sentence) for sentence in caution.sentences)
    source = "" if caution.source == COMMON else caution.source
    return f"#caution({literal(caution.hazard)}, {sentences}, {literal(source)}, size: {size})"


def _cautions_size(cautions: Sequence[Caution]) -> str:
    """Largest size of type that keeps all cautions on one page."""
    letters = sum(
        len(" ".join((own.hazard, *own.sentences, own.source.replace(COMMON, ""))))
        + _HAZARD_LETTERS
        for own in cautions
    )
    return next(size for most, size in _SIZES if letters <= most)


def _sentences(caution: Caution) -> str:
    return " ".join(caution.sentences)


def _load_page(sheet: LoadSheet) -> str:
    settings = sequence(literal(setting) for setting in sheet.settings)
    times = sequence(f"({literal(label)}, {literal(unit)})" for label, unit in sheet.times)
    heads = sequence(_words(head, 12) for head in sheet.heads)
    rows = sequence(f"\n  {_coupon_row(row)}" for row in sheet.rows)
    cold = "true" if sheet.has_cold else "false"
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, {settings}, "
            f"size: {_setting_size(sheet.settings)})",
            f"#load-times({times}, held: {_held(sheet.held)})",
            f"#load-table({_words(shortened(sheet.coupon_word, 12), 12)}, {heads}, {cold}, "
            f"{_words(shortened(sheet.cold_out, 34), 12)}, {rows}, {_row_height(sheet)})",
            f"#anything({literal(ANYTHING[0])}, {literal(ANYTHING[1])})",
            f"#safety-line({literal(sheet.hint)}, {literal(sheet.reminder)})",
            foot_line(sheet.foot_left, sheet.foot_right),
        )
    )


def _row_height(sheet: LoadSheet) -> str:
    """Height of a coupon's row: 16.6 mm, less where more words stand around the table."""
    around = len(sheet.hint) / _LETTERS + len(sheet.reminder) / (0.87 * _LETTERS)
    lines = ceil(around) + ceil(min(len(sheet.held), _HELD_LETTERS) / (1.1 * _LETTERS))
    return f"{16.6 - 0.75 * max(0, lines - _USUAL_LINES):.2f}mm"


def _coupon_row(row: CouponRow) -> str:
    entries = sequence(
        f"(words: {_words(entry.text, 16)}, emphasis: {literal(entry.emphasis)}, "
        f"shape: {literal(entry.shape)}, under: {literal(shortened(entry.under, 24))}, "
        f"size: {_entry_size(entry, len(row.entries))})"
        for entry in row.entries
    )
    return (
        f"(place: {literal(row.place)}, coupon: {_words(row.coupon, 12)}, "
        f"size: {_code_size(row.coupon)}, entries: {entries}, "
        f"cold: {'true' if row.is_cold else 'false'})"
    )


def _entry_size(entry: Entry, entries: int) -> str:
    """Size of an entry: smaller for long words between many columns, so that they fit the row."""
    return "9.5pt" if entries > 3 and len(entry.text) > 12 and not entry.shape else "12.5pt"


def _temper_page(sheet: TemperSheet) -> str:
    settings = sequence(literal(setting) for setting in sheet.settings)
    times = sequence(f"({literal(label)}, {literal(unit)})" for label, unit in sheet.times)
    cycles = sequence(literal(cycle) for cycle in sheet.cycles)
    rows = sequence(f"\n  {_temper_row(row)}" for row in sheet.rows)
    height = "12mm" if len(sheet.cycles) < 3 else "10.4mm"
    coupon, load = (_words(shortened(w, 12), 12) for w in (sheet.coupon_word, sheet.load_word))
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, {settings}, "
            f"size: {_setting_size(sheet.settings)})",
            f"#load-times({times}, cycles: {cycles}, held: {_held(sheet.held)})",
            f"#temper-table({coupon}, {load}, {rows}, {height}, "
            f"order-head: {literal(shortened(sheet.order_head, 24))})",
            f"#anything({literal(ANYTHING[0])}, {literal(ANYTHING[1])})",
            f"#safety-line({literal('')}, {literal(sheet.reminder)})",
            foot_line(sheet.foot_left, sheet.foot_right),
        )
    )


def _temper_row(row: TemperRow) -> str:
    return (
        f"(coupon: {_words(row.coupon, 12)}, size: {_code_size(row.coupon)}, "
        f"load: {literal(row.furnace_load)}, place: {literal(row.load_place)}, "
        f"order: {_words(shortened(row.step_order, 32), 16)})"
    )


def _bar_page(sheet: BarSheet) -> str:
    rows = sequence(f"\n  {_piece_row(row)}" for row in sheet.rows)
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, ())",
            *(() if sheet.picture is None else (_bar_picture(sheet.picture),)),
            f"#piece-table({_words(shortened(sheet.coupon_word, 12), 12)}, {rows})",
            f"#safety-line({literal(sheet.hint)}, {literal(sheet.reminder)})",
            foot_line(sheet.foot_left, sheet.foot_right),
        )
    )


def _bar_picture(picture: BarPicture) -> str:
    pieces = sequence(
        f"({literal(number)}, {low:g}, {high:g}, {'true' if coupon else 'false'})"
        for number, low, high, coupon in picture.pieces
    )
    return (
        f"#bar-picture({picture.bar_mm:g}, {picture.end_discard_mm:g}, {picture.kerf_mm:g}, "
        f"{pieces})"
    )


def _piece_row(row: PieceRow) -> str:
    return (
        f"(position: {literal(row.position)}, coupon: {_words(row.coupon, 12)}, "
        f"size: {_code_size(row.coupon)}, what: {_words(shortened(row.what, 40), 16)}, "
        f"ends: {literal(row.ends)}, spare: {'false' if row.coupon else 'true'})"
    )


def _label_page(sheet: LabelSheet) -> str:
    labels = sequence(f"\n  {_label(label)}" for label in sheet.labels)
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, (), dated: false)",
            f"#label-grid({LABEL_COLUMNS}, {labels})",
            f"#safety-line({literal(sheet.hint)}, {literal('')})",
            foot_line(sheet.foot_left, sheet.foot_right),
        )
    )


def _label(label: Traveller) -> str:
    return (
        f"(coupon: {literal(label.coupon)}, square: {literal(square_svg(label.text))}, "
        f"text: {literal(label.text)}, place: {_words(shortened(label.place, 40), 16)})"
    )


def _test_page(sheet: TestSheet) -> str:
    lines = sequence(literal(line) for line in sheet.lines)
    check = () if sheet.check is None else (_check(sheet.check),)
    rows = sequence(
        f"({literal(order)}, {_words(code, 12)}, {_code_size(code)})" for order, code in sheet.rows
    )
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, (), dated: false)",
            f"#v(3.5mm)\n#named-lines({lines})",
            *check,
            f"#test-table({_words(shortened(sheet.coupon_word, 12), 12)}, {sheet.fields}, {rows})",
            f"#v(2mm)\n#safety-line({literal('')}, {literal(sheet.reminder)})",
            foot_line(sheet.foot_left, sheet.foot_right),
        )
    )


def _check(check: TesterCheck) -> str:
    heads, rows = (sequence(map(literal, own)) for own in (check.heads, check.rows))
    return f"#check-table({literal(check.title)}, {literal(check.hint)}, {heads}, {rows})"


def _held(line: str) -> str:
    """What is held constant, on at most two lines."""
    return literal(breakable(shortened(line, _HELD_LETTERS)))


def _setting_size(settings: Sequence[str]) -> str:
    """Size of the framed setting: 38 pt for a temperature, smaller for words."""
    return "38pt" if sum(map(len, settings)) <= 9 else "20pt"


def _code_size(code: str) -> str:
    """Size of a code: 18 pt for those of a plan, smaller for long ones of a publication."""
    return "18pt" if len(code) <= 6 else "11pt"


def _heading(words: str) -> str:
    return f"#{_heading_value(words)}"


def _heading_value(words: str) -> str:
    return f"heading(level: 2, {_words(shortened(words, 60), 18)})"


def foot_line(left: str, right: str) -> str:
    """Words at the foot of the pages from here on."""
    return f"#foot({literal(shortened(left, 70))}, {literal(shortened(right, 50))})"


def _words(text: str, longest: int) -> str:
    return f"text({literal(breakable(text, longest))})"


def sequence(items: Iterable[str]) -> str:
    """Typst array; the comma at its end keeps an array of one an array."""
    return "(" + "".join(f"{item}, " for item in items) + ")"
