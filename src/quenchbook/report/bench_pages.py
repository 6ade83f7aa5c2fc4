"""Bench sheets as one PDF: cautions, consumables, bars, furnace loads, temper batches, testers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from importlib import resources
from math import ceil
from pathlib import Path
from typing import Final

from quenchbook.bench.at_hand import NOT_A_RISK_ASSESSMENT, Consumables
from quenchbook.bench.bar_sheets import BarPicture, BarSheet, PieceRow
from quenchbook.bench.load_sheets import CouponRow, Entry, LoadSheet
from quenchbook.bench.safety import COMMON, Caution
from quenchbook.bench.sheets import BenchSheets, bench_sheets
from quenchbook.bench.temper_sheets import TemperRow, TemperSheet
from quenchbook.bench.tester_sheets import TestSheet
from quenchbook.bench.travellers import LABEL_COLUMNS, LabelSheet, Traveller, square_svg
from quenchbook.errors import ReportError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.characters import breakable, shortened
from quenchbook.report.exporters import write_whole
from quenchbook.report.pdf import compile_typst
from quenchbook.report.typst_source import literal
from quenchbook.units import capital

BENCH_FILE: Final = "bench_sheets.pdf"
_SIZES: Final = (
    (2200, "12pt"), (3100, "10.5pt"), (4000, "9pt"), (4850, "8.3pt"), (5900, "7pt"),
    (100_000, "6.7pt"),
)  # fmt: skip
_HAZARD_LETTERS: Final = 110  # that a hazard's heading and the space around it stand for
_UNSOURCED: Final = "Where no source is named: common practice, no source."
_MANY_ROWS: Final = 14  # of consumables and air; so many stand closer together
_NOTE_LETTERS: Final = 360  # of what an amount was counted with, eight lines
_HELD_LETTERS: Final = 280  # of what is held constant, three lines
_LETTERS: Final = 86  # of a line of 11 pt
_USUAL_LINES: Final = 3  # around the table of a load with rows of 16.6 mm
_ANYTHING: Final = (
    "Anything different?",
    "Late, dropped, scale, wrong bath: write it, do not repair it.",
)


def write_bench_documents(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write the bench sheets of a plan as a PDF.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Made if needed.

    Returns
    -------
    list of Path

    Raises
    ------
    ReportError
        If the folder holds the sheets of another plan: they are not overwritten.
    """
    path = Path(folder) / BENCH_FILE
    sheets = bench_sheets(matrix)
    same_plan = path.exists() and sheets.title.encode("utf-8") in path.read_bytes()
    if path.exists() and not same_plan:
        raise ReportError(
            f"{path} holds the sheets of another plan, this one is {matrix.short_hash}. "
            "Move it away; it is not overwritten."
        )
    done = compile_typst(bench_source(sheets), {}, title=sheets.title)
    return [write_whole(path, done, overwrite=same_plan)]


def bench_source(sheets: BenchSheets) -> str:
    """Typst source of bench sheets; every text goes out as a string literal."""
    rules = resources.files("quenchbook.report").joinpath("bench_sheet.typ")
    pages = [
        _cautions_page(sheets),
        *([] if sheets.needs is None else [_needs_page(sheets.needs, sheets.needs_foot)]),
        *map(_bar_page, sheets.bars),
        *map(_label_page, sheets.labels),
        *map(_load_page, sheets.loads),
        *map(_temper_page, sheets.tempers),
        *map(_test_page, sheets.tests),
    ]
    body = "\n#pagebreak()\n".join(pages)
    return f"{rules.read_text(encoding='utf-8')}\n#show: bench-rules\n{body}\n"


def _cautions_page(sheets: BenchSheets) -> str:
    lines = [
        "#[",
        "#show heading: set text(size: 24pt)",
        _heading("Before you begin"),
        "]",
        f"#v(2.5mm)\n#text(size: 11pt, {literal(breakable(shortened(sheets.study_title, 120)))})",
        "#v(2.5mm)\n#rule(2pt)",
        *(_caution(caution, _cautions_size(sheets.cautions)) for caution in sheets.cautions[:-1]),
        f"#v(3mm)\n#hint({literal(_UNSOURCED)})",
        "#v(3mm)",
        f"#block(stroke: 1.4pt, inset: 3mm, bold({literal(_sentences(sheets.cautions[-1]))}))",
        _foot(*sheets.cautions_foot),
    ]
    return "\n".join(lines)


def _needs_page(needs: Consumables, foot: tuple[str, str]) -> str:
    lines = _sequence(
        f"\n  ({literal(capital(own.item))}, {literal(own.amount_words())}, "
        f"{literal(breakable(shortened(own.note, _NOTE_LETTERS)))})"
        for own in needs.lines
    )
    air = _sequence(
        f"\n  ({literal(breakable(capital(own.what)))}, {literal(own.value_words())}, "
        f"{literal(own.note)})"
        for own in needs.air
    )
    asked = _sequence(literal(line) for line in needs.asked)
    gap = "1.5mm" if len(needs.lines) + len(needs.air) < _MANY_ROWS else "1.1mm"
    return "\n".join(
        (
            "#[",
            "#show heading: set text(size: 24pt)",
            _heading("Have at hand"),
            "]",
            "#v(3mm)\n#rule(2pt)",
            f"#needs-table({lines}, gap: {gap})",
            f"#air-table({air}, {literal(NOT_A_RISK_ASSESSMENT)}, {asked}, gap: {gap})",
            _foot(*foot),
        )
    )


def _caution(caution: Caution, size: str) -> str:
    sentences = _sequence(literal(sentence) for sentence in caution.sentences)
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
    settings = _sequence(literal(setting) for setting in sheet.settings)
    times = _sequence(f"({literal(label)}, {literal(unit)})" for label, unit in sheet.times)
    heads = _sequence(_words(head, 12) for head in sheet.heads)
    rows = _sequence(f"\n  {_coupon_row(row)}" for row in sheet.rows)
    cold = "true" if sheet.has_cold else "false"
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, {settings}, "
            f"size: {_setting_size(sheet.settings)})",
            f"#load-times({times}, held: {_held(sheet.held)})",
            f"#load-table({_words(shortened(sheet.coupon_word, 12), 12)}, {heads}, {cold}, "
            f"{_words(shortened(sheet.cold_out, 34), 12)}, {rows}, {_row_height(sheet)})",
            f"#anything({literal(_ANYTHING[0])}, {literal(_ANYTHING[1])})",
            f"#safety-line({literal(sheet.hint)}, {literal(sheet.reminder)})",
            _foot(sheet.foot_left, sheet.foot_right),
        )
    )


def _row_height(sheet: LoadSheet) -> str:
    """Height of a coupon's row: 16.6 mm, less where more words stand around the table."""
    around = len(sheet.hint) / _LETTERS + len(sheet.reminder) / (0.87 * _LETTERS)
    lines = ceil(around) + ceil(min(len(sheet.held), _HELD_LETTERS) / (1.1 * _LETTERS))
    return f"{16.6 - 0.75 * max(0, lines - _USUAL_LINES):.2f}mm"


def _coupon_row(row: CouponRow) -> str:
    entries = _sequence(
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
    settings = _sequence(literal(setting) for setting in sheet.settings)
    times = _sequence(f"({literal(label)}, {literal(unit)})" for label, unit in sheet.times)
    cycles = _sequence(literal(cycle) for cycle in sheet.cycles)
    rows = _sequence(f"\n  {_temper_row(row)}" for row in sheet.rows)
    height = "12mm" if len(sheet.cycles) < 3 else "10.4mm"
    coupon, load = (_words(shortened(w, 12), 12) for w in (sheet.coupon_word, sheet.load_word))
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, {settings}, "
            f"size: {_setting_size(sheet.settings)})",
            f"#load-times({times}, cycles: {cycles}, held: {_held(sheet.held)})",
            f"#temper-table({coupon}, {load}, {rows}, {height}, "
            f"order-head: {literal(shortened(sheet.order_head, 24))})",
            f"#anything({literal(_ANYTHING[0])}, {literal(_ANYTHING[1])})",
            f"#safety-line({literal('')}, {literal(sheet.reminder)})",
            _foot(sheet.foot_left, sheet.foot_right),
        )
    )


def _temper_row(row: TemperRow) -> str:
    return (
        f"(coupon: {_words(row.coupon, 12)}, size: {_code_size(row.coupon)}, "
        f"load: {literal(row.furnace_load)}, place: {literal(row.load_place)}, "
        f"order: {_words(shortened(row.step_order, 32), 16)})"
    )


def _bar_page(sheet: BarSheet) -> str:
    rows = _sequence(f"\n  {_piece_row(row)}" for row in sheet.rows)
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, ())",
            *(() if sheet.picture is None else (_bar_picture(sheet.picture),)),
            f"#piece-table({_words(shortened(sheet.coupon_word, 12), 12)}, {rows})",
            f"#safety-line({literal(sheet.hint)}, {literal(sheet.reminder)})",
            _foot(sheet.foot_left, sheet.foot_right),
        )
    )


def _bar_picture(picture: BarPicture) -> str:
    pieces = _sequence(
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
    labels = _sequence(f"\n  {_label(label)}" for label in sheet.labels)
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, (), dated: false)",
            f"#label-grid({LABEL_COLUMNS}, {labels})",
            f"#safety-line({literal(sheet.hint)}, {literal('')})",
            _foot(sheet.foot_left, sheet.foot_right),
        )
    )


def _label(label: Traveller) -> str:
    return (
        f"(coupon: {literal(label.coupon)}, square: {literal(square_svg(label.text))}, "
        f"text: {literal(label.text)}, place: {_words(shortened(label.place, 40), 16)})"
    )


def _test_page(sheet: TestSheet) -> str:
    checks = _sequence(literal(check) for check in sheet.checks)
    rows = _sequence(
        f"({literal(order)}, {_words(code, 12)}, {_code_size(code)})" for order, code in sheet.rows
    )
    return "\n".join(
        (
            f"#load-head({_heading_value(sheet.title)}, {literal(sheet.line)}, (), dated: false)",
            f"#test-checks({checks})",
            f"#test-table({_words(shortened(sheet.coupon_word, 12), 12)}, {sheet.fields}, {rows})",
            f"#v(2mm)\n#safety-line({literal('')}, {literal(sheet.reminder)})",
            _foot(sheet.foot_left, sheet.foot_right),
        )
    )


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
    return f"heading(level: 1, {_words(shortened(words, 60), 18)})"


def _foot(left: str, right: str) -> str:
    return f"#foot({literal(shortened(left, 70))}, {literal(shortened(right, 50))})"


def _words(text: str, longest: int) -> str:
    return f"text({literal(breakable(text, longest))})"


def _sequence(items: Iterable[str]) -> str:
    """Typst array; the comma at its end keeps an array of one an array."""
    return "(" + "".join(f"{item}, " for item in items) + ")"
