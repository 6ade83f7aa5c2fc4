"""Files of a timetable: table, calendar, and a PDF with picture and list of each day."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Final

from quenchbook.bench.calendar import write_calendar
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.timetable_list import ListDay, timetable_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plots.timetable import figure_timetable
from quenchbook.report.exporters import write_whole
from quenchbook.report.pdf import compile_typst
from quenchbook.report.typst_source import literal
from quenchbook.study.reading_hours import hours_of
from quenchbook.writing import write_text

TIMETABLE_FILE: Final = "timetable"
_TIP: Final = "The times are a plan: write down on the load sheets what really happened."


def write_timetable_documents(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write the timetable of a plan: ``timetable.csv``, ``.pdf`` and, with a first day, ``.ics``.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Made if needed. Its timetable is written anew: it follows from plan and study file.

    Returns
    -------
    list of Path
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    hours = hours_of(matrix.study)
    if matrix.part_number:  # the first day of the study file is that of the first plan
        hours = replace(hours, first_day=None)
    own = bench_timetable(matrix, hours=hours)
    place = folder / TIMETABLE_FILE
    title = f"Timetable, plan {own.plan}"
    pdf = compile_typst(timetable_source(own), pictures(own), title=title)
    paths = [
        write_text(
            place.with_suffix(".csv"), own.to_frame().to_csv(index=False, lineterminator="\n")
        ),
        write_whole(place.with_suffix(".pdf"), pdf, overwrite=True),
    ]
    if own.hours.first_day is not None:
        paths.append(write_calendar(own, place.with_suffix(".ics")))
    return paths


def pictures(timetable: Timetable) -> dict[str, bytes]:
    """SVG of each day by its file name."""
    return {
        _picture(day): figure_timetable(timetable, day=day).svg(white=True).encode("utf-8")
        for day in timetable.days
    }


def timetable_source(timetable: Timetable) -> str:
    """Typst source: what is not met and what was assumed, then picture and list of each day."""
    rules = resources.files("quenchbook.report").joinpath("bench_sheet.typ")
    pages = [_first_page(timetable)]
    for day in timetable_list(timetable):
        drawing = figure_timetable(timetable, day=day.day)
        pages.append(
            f"{_heading(day.title)}\n#v(4mm)\n#figure(alt: {literal(drawing.alt)}, "
            f"image({literal(_picture(day.day))}, width: 117mm, height: 215mm, "
            f'fit: "contain", alt: {literal(drawing.alt)}))\n'
            f"#v(2mm)\n#hint({literal(drawing.reading)})"
        )
        pages.append(_list_page(day))
    body = "\n#pagebreak(weak: true)\n".join(pages)
    return f"{rules.read_text(encoding='utf-8')}\n#show: bench-rules\n{body}\n"


def _first_page(timetable: Timetable) -> str:
    words = timetable.summary().split("\n")
    lines = [_heading("Timetable"), "#v(4mm)"]
    lines += [f"#par({literal(line)})" for line in (timetable.title, *words, _TIP)]
    if timetable.hours.assumed:
        lines.append('#v(3mm)\n#bold("Assumed, because the study file does not tell it")')
        lines += [f"#par(hint({literal(line)}))" for line in timetable.hours.assumed]
    return "\n".join(lines)


def _list_page(day: ListDay) -> str:
    rows = "".join(
        f"  [#bold({literal(own.start)})], {literal(own.words)}, "
        f"text(font: mono, size: 9pt, {literal(own.coupons)}), tick-box,\n"
        for own in day.lines
    )
    return (
        f"{_heading(f'{day.title}: what to do')}\n#v(3mm)\n"
        f"#hint({literal(f'{day.minutes} minutes with your hands')})\n#v(2mm)\n"
        "#table(columns: (auto, 1fr, 1fr, auto), stroke: (x: none, y: thin), inset: 1.6mm, "
        "align: horizon,\n"
        "  table.header([*from*], [*do*], [*coupons*], [*done*]),\n"
        f"{rows})"
    )


def _heading(words: str) -> str:
    return f"#[#show heading: set text(size: 20pt)\n#heading(level: 1, {literal(words)})]"


def _picture(day: int) -> str:
    return f"timetable_day_{day}.svg"
