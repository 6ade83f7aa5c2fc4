"""The bench booklet of a plan: everything that its pages show, for the PDF and for the HTML."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from math import ceil
from typing import Final

from quenchbook.bench.cover import Cover, booklet_cover
from quenchbook.bench.cutting import CutList, cut_list
from quenchbook.bench.making_timetable import bench_timetable
from quenchbook.bench.sheets import BenchSheets, bench_sheets
from quenchbook.bench.timetable import Timetable
from quenchbook.bench.timetable_list import ListDay, timetable_list
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plots.bar_drawing import figure_bars
from quenchbook.plots.style import PENCIL
from quenchbook.plots.timetable import figure_timetable
from quenchbook.report.svg import svg_ratio
from quenchbook.study.reading_hours import hours_of

PRINT_GREY: Final = "#464646"  # lightest grey of a text on paper
KIND: Final = "Bench booklet"
TIMES_TIP: Final = "The times are a plan: write down on the load sheets what really happened."
ASSUMED: Final = "Assumed, because the study file does not tell it (common practice, no source)"
NOT_MET: Final = "What cannot be met"
_ASSUMED_END: Final = " (assumed, common practice, no source)"  # of each line; told once above them
_TALLEST: Final = 1.0  # height over width of a drawing that fills a page below a summary

_OWN_WIDTH: Final = 117.0  # width of a drawing at its own size [mm]
_SHORT_PICTURE, _SHORT_LIST = 150.0, 70.0  # heights that share a page [mm]
_ROW, _LINE, _CODES_IN_LINE = 4.0, 5.0, 4  # a row of the list and a line of codes in it [mm]


@dataclass(frozen=True)
class Picture:
    """A drawing for the booklet: SVG on white, with its words.

    Attributes
    ----------
    key : str
        Name of its file in the PDF and of its ids in the HTML.
    svg, alt, reading : str
    """

    key: str
    svg: str
    alt: str
    reading: str


@dataclass(frozen=True)
class Part:
    """A part of the booklet: its key, its title, a line for the contents."""

    key: str
    title: str
    note: str


@dataclass(frozen=True, eq=False)
class Booklet:
    """All that a bench booklet shows.

    Attributes
    ----------
    cover : Cover
    sheets : BenchSheets
    timetable : Timetable
    days : tuple of (ListDay, Picture)
        List and picture of each day of work.
    cuts : CutList or None
        None where the study tells of no stock.
    bars : tuple of Picture
        Its bars to scale.
    """

    cover: Cover
    sheets: BenchSheets
    timetable: Timetable
    days: tuple[tuple[ListDay, Picture], ...]
    cuts: CutList | None
    bars: tuple[Picture, ...]

    @property
    def title(self) -> str:
        """Title of the document; it names the plan."""
        return self.sheets.title

    @property
    def parts(self) -> tuple[Part, ...]:
        """Parts that have pages, in the order of the work."""
        sheets = self.sheets
        notes = {
            "cautions": "read before anything is switched on",
            "needs": "" if sheets.needs is None else _needs_words(bool(sheets.needs.air)),
            "timetable": _days_words(len(self.days)),
            "bars": "cut and mark" if sheets.bars else "",
            "labels": "one for each packet or tray" if sheets.labels else "",
            "loads": "a sheet each, in furnace order" if sheets.loads else "",
            "tempers": "coupons by the load they come from" if sheets.tempers else "",
            "tests": "codes in test order; a tester gets these pages only" if sheets.tests else "",
        }
        titles = sheets.part_titles()
        return tuple(Part(key, titles[key], note) for key, note in notes.items() if note)


def bench_booklet(matrix: CouponMatrix) -> Booklet:
    """Booklet of a plan, or of one part of it.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    Booklet
    """
    hours = hours_of(matrix.study)
    if matrix.part_number:  # the first day of the study file is that of the first plan
        hours = replace(hours, first_day=None)
    timetable = bench_timetable(matrix, hours=hours)
    cuts = cut_list(matrix) if matrix.study.stock is not None else None
    return Booklet(
        cover=booklet_cover(matrix, days=len(timetable.days)),
        sheets=bench_sheets(matrix),
        timetable=timetable,
        days=tuple((day, _day_picture(timetable, day.day)) for day in timetable_list(timetable)),
        cuts=cuts,
        bars=() if cuts is None else _bar_pictures(cuts),
    )


def day_minutes(day: ListDay) -> str:
    """Time at work of a day, in words."""
    return f"{day.minutes} minutes with your hands"


def fits_one_page(day: ListDay, picture: Picture) -> bool:
    """Whether picture and list of a day stand on one page, the picture at least at its own size."""
    tall = svg_ratio(picture.svg, where=picture.key) * _OWN_WIDTH
    lines = sum(ceil(len(own.coupons.split()) / _CODES_IN_LINE) or 1 for own in day.lines)
    return tall <= _SHORT_PICTURE and _ROW * len(day.lines) + _LINE * lines <= _SHORT_LIST


def timetable_words(timetable: Timetable) -> tuple[str, ...]:
    """What the first page of the timetable says, without what cannot be met."""
    lines = [line for line in timetable.summary().split("\n") if not line.startswith("Not met: ")]
    return (*lines, TIMES_TIP)


def assumed_lines(timetable: Timetable) -> tuple[str, ...]:
    """What was assumed, without what the title above these lines says of all of them."""
    return tuple(line.removesuffix(_ASSUMED_END) for line in timetable.hours.assumed)


def _needs_words(air: bool) -> str:
    return "what is used up, and the air of the room" if air else "what is used up"


def _days_words(days: int) -> str:
    if not days:
        return "nothing to do at the furnace"
    return f"{days} day{'s' if days > 1 else ''}: picture and list; what was assumed"


def _day_picture(timetable: Timetable, day: int) -> Picture:
    drawing = figure_timetable(timetable, day=day)
    svg = _printed(drawing.svg(white=True))
    return Picture(f"timetable-day-{day}", svg, drawing.alt, drawing.reading)


def _bar_pictures(cuts: CutList) -> tuple[Picture, ...]:
    """Bars to scale, as many in a picture as fill a page."""
    numbers = sorted(cuts.bars)
    width, height = figure_bars(cuts).figure.get_size_inches()
    pages = max(1, ceil(height / width / _TALLEST))
    each = ceil(len(numbers) / pages)
    found = []
    for at in range(0, len(numbers), each):
        own = cuts.frame[cuts.frame["bar"].isin(numbers[at : at + each])]
        drawing = figure_bars(replace(cuts, frame=own))
        svg = _printed(drawing.svg(white=True))
        found.append(Picture(f"bars-{at // each + 1}", svg, drawing.alt, drawing.reading))
    return tuple(found)


def _printed(svg: str) -> str:
    """Picture whose second texts are dark enough for a print read at arm's length."""
    return re.sub(PENCIL, PRINT_GREY, svg, flags=re.IGNORECASE)
