"""A timetable as a day book: time runs down; furnace, bench, bath, oven and you side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.bench.timetable import DAY, HANDS, LANES, Breach, Step, clock
from quenchbook.bench.timetable_list import day_title
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key, mark_entry
from quenchbook.plots.sheet import MARGIN, WIDTH, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    LOAD,
    NEUTRAL,
    PAPER,
    PENCIL,
    ROUTE_STYLES,
    SMALL_PT,
    STRAW,
    TICK_PT,
    TITLE_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
)
from quenchbook.plots.wording import alt_text, counted
from quenchbook.study.factors import ROUTE_WORDS, route_key
from quenchbook.units import NO_BREAK

if TYPE_CHECKING:
    from quenchbook.bench.timetable import Timetable

_LEFT: Final = 42.0  # room of the clock times
_SHARES: Final = {"furnace": 0.21, "bench": 0.16, "bath": 0.3, "oven": 0.18, "you": 0.15}
_MINUTE: Final = 0.86  # height of a minute where steps are short [pt]
_ROOM: Final = 40  # minutes of a bath or temper that are shown at least, for its number
_LINE: Final = 10.5  # pitch of small lines [pt]
_SOAK_EDGE: Final = 0.6


@dataclass(frozen=True)
class _Page:
    """Where lanes and minutes stand on the sheet."""

    sheet: Sheet
    top: float
    first: int
    pitch: float

    def y(self, minute: float) -> float:
        """Height of a minute [pt]."""
        return self.top + (minute - self.first) * self.pitch


def figure_timetable(timetable: Timetable, *, day: int | None = None) -> Drawing:
    """Draw one day of a timetable.

    Parameters
    ----------
    timetable : Timetable
    day : int, optional
        Day of work; the first one with something to do when left out.

    Returns
    -------
    Drawing
        Its data are the steps of the day.
    """
    chosen = (timetable.days or (1,))[0] if day is None else day
    with drawing_rules():
        return _draw(timetable, chosen)


def _draw(timetable: Timetable, day: int) -> Drawing:
    night, next_night = (day - 1) * DAY, day * DAY
    steps = [s for s in timetable.steps if s.start < next_night and s.end > night]
    hands = [s for s in steps if s.what in HANDS and s.start >= night]
    marks = [s for s in steps if s.start >= night and s.what not in ("wait", "cold", "temper")]
    first = 60 * math.floor(min((s.start for s in marks), default=night + 480) / 60)
    ends = [min(s.end, next_night) for s in marks]
    # a bath or temper that begins on this day is shown so far that it can carry its number
    long = [s for s in steps if s.start >= night and s.what in ("cold", "temper")]
    ends += [min(s.end, s.start + _ROOM, next_night) for s in long]
    last = 60 * math.ceil(max(ends, default=night + 1080) / 60)
    later = wrapped(_later_words(timetable, steps, last), WIDTH - 2 * MARGIN, SMALL_PT)
    key = Key(_key(steps))
    pitch = _MINUTE
    head = 40.0
    height = (last - first) * pitch
    under = head + height + (14.0 + _LINE * len(later) if any(later) else 4.0)
    sheet = Sheet(under + 10.0 + key.height + 8.0)
    page = _Page(sheet, head, first, pitch)
    sheet.text(MARGIN, 16.0, day_title(timetable, day), size=TITLE_PT, bold=True)
    lanes = _lanes()
    _draw_ground(page, lanes, first, last)
    shown = [_clipped(step, first, last) for step in steps]
    shown = [step for step in shown if step.end > step.start or step.what in ("wait",)]
    hottest = _hottest(timetable)
    _draw_furnace(page, lanes["furnace"], shown, hottest)
    groups = _draw_baths(page, lanes["bath"], shown, first)
    _draw_bench(page, lanes, shown, groups)
    _draw_oven(page, lanes["oven"], shown, hottest)
    _draw_hands(page, lanes["you"], hands)
    if any(later):
        for number, line in enumerate(later):
            base = head + height + 12.0 + number * _LINE
            sheet.text(MARGIN, base, line, size=SMALL_PT)
    key.draw(sheet, under + 10.0)
    finding = _finding(timetable, day, hands)
    own = timetable.to_frame()
    return Drawing(
        key=f"timetable_day_{day}",
        figure=sheet.figure,
        finding=finding,
        reading="Time runs down. Straw is the soak, the thick stroke the quench; a dotted line is "
        "the delay of a group until it goes into the cold; solid blocks are your hands at work.",
        notes=tuple(str(own) for own in _breaches_of(timetable, day)),
        alt=_alt(timetable, steps, finding, day),
        data=own[own["work_day"] == day].reset_index(drop=True),
    )


def _later_words(timetable: Timetable, steps: list[Step], last: int) -> str:
    """What goes on below the picture, and until when; empty if nothing does."""
    names = {"cold": "cold batch", "temper": "temper batch"}
    going: dict[tuple[int, str], list[str]] = {}
    for step in sorted(steps, key=lambda step: (step.end, step.which)):
        if step.what in names and step.end > last:
            until = f"{step.which} until{NO_BREAK}{clock(step.end)}"
            going.setdefault((step.end // DAY + 1, names[step.what]), []).append(until)
    own = [
        f"{name} {', '.join(ends)} on {day_title(timetable, day)}"
        for (day, name), ends in going.items()
    ]
    return f"Continues: {'; '.join(own)}." if own else ""


def _hottest(timetable: Timetable) -> str:
    """Word of the hotter temper; empty where all are alike."""
    words = {step.level for step in timetable.steps if step.what == "temper"}
    return max(words, key=lambda w: float(w.split(NO_BREAK)[0])) if len(words) > 1 else ""


def _clipped(step: Step, first: int, last: int) -> Step:
    from dataclasses import replace

    return replace(step, start=max(step.start, first), end=min(step.end, last))


def _lanes() -> dict[str, tuple[float, float]]:
    """Left and right edge of each lane [pt]."""
    room, left, lanes = WIDTH - MARGIN - _LEFT, _LEFT, {}
    for name, share in _SHARES.items():
        lanes[name] = (left, left + share * room)
        left += share * room
    return lanes


def _draw_ground(page: _Page, lanes: dict[str, tuple[float, float]], first: int, last: int) -> None:
    sheet, bottom = page.sheet, page.y(last)
    for name, (left, right) in lanes.items():
        middle = (left + right) / 2
        sheet.text(middle, page.top - 8.0, name, size=TICK_PT, bold=True, align="center")
        if name != "furnace":
            sheet.line((left, left), (page.top, bottom), HAIRLINE, HAIRLINE_PT)
    for minute in range(first, last + 1, 60):
        y = page.y(minute)
        sheet.line((_LEFT, WIDTH - MARGIN), (y, y), HAIRLINE, HAIRLINE_PT, zorder=0.5)
        sheet.text(_LEFT - 5.0, y + 0.36 * TICK_PT, clock(minute), size=TICK_PT, align="right")


def _draw_furnace(page: _Page, lane: tuple[float, float], steps: list[Step], hottest: str) -> None:
    sheet = page.sheet
    left, right = lane[0] + 4.0, lane[1] - 4.0
    for step in (s for s in steps if s.lane == "furnace"):
        top, height = page.y(step.start), step.minutes * page.pitch
        if step.what in ("heat", "load", "come to heat"):
            sheet.box(left, top, right - left, height, face=LOAD)
        elif step.what == "soak":
            sheet.box(left, top, right - left, height, face=STRAW)
            sheet.line((left, right), (top, top), PENCIL, _SOAK_EDGE)
            _words(sheet, (left + right) / 2, top + height / 2, [step.level])
        elif step.what == "quench":
            middle = top + height / 2
            sheet.line((left, right), (middle, middle), INK, max(2.6, height), zorder=4)
        elif step.what == "temper":
            _draw_temper(sheet, left, right, top, height, step, step.level == hottest)


def _draw_temper(
    sheet: Sheet, left: float, right: float, top: float, height: float, step: Step, hot: bool
) -> None:
    face, edge = (STRAW, INK) if hot else (PAPER, PENCIL)
    sheet.box(left, top, right - left, height, face=face, edge=edge, edge_width=1.1 if hot else 0.9)
    cycle = f" ({step.cycle})" if step.cycle > 1 else ""
    words = [f"temper {step.which}{cycle}", step.level]
    _words(sheet, (left + right) / 2, top + height / 2, words if height > 26 else words[:1])


def _draw_oven(page: _Page, lane: tuple[float, float], steps: list[Step], hottest: str) -> None:
    for step in (s for s in steps if s.lane == "oven" and s.what == "temper"):
        top, height = page.y(step.start), step.minutes * page.pitch
        _draw_temper(
            page.sheet, lane[0] + 4.0, lane[1] - 4.0, top, height, step, step.level == hottest
        )


def _draw_baths(
    page: _Page, lane: tuple[float, float], steps: list[Step], first: int
) -> dict[str, float]:
    """Stays in the cold side by side; left edge of each group that went in on this page."""
    stays = sorted((s for s in steps if s.what == "cold"), key=lambda s: (s.start, s.which))
    columns: list[int] = []
    places: list[tuple[Step, int]] = []
    for step in stays:
        free = next((i for i, end in enumerate(columns) if end <= step.start), len(columns))
        columns[free : free + 1] = [step.end]
        places.append((step, free))
    width = (lane[1] - lane[0] - 8.0) / max(3, len(columns))
    edges: dict[str, float] = {}
    for step, column in places:
        style = ROUTE_STYLES.get(route_key(step.level), NEUTRAL)
        left, top = lane[0] + 4.0 + column * width, page.y(step.start)
        height = max(3.0, step.minutes * page.pitch)
        page.sheet.box(
            left + 0.8, top, width - 1.6, height, face=PAPER, edge=style.colour, edge_width=0.9,
            zorder=2,
        )  # fmt: skip
        middle = left + width / 2
        draw_marks(page.sheet.ground, [middle], [top + min(8.0, height / 2)], style)
        words = text_width(step.which, SMALL_PT)
        if height > 24.0 and words < width - 3:
            page.sheet.text(middle, top + 21.5, step.which, size=SMALL_PT, align="center")
        elif words < width / 2 - 5:  # a short stay: beside its mark
            base = top + height / 2 + 0.36 * SMALL_PT
            page.sheet.text(left + width - 2.0, base, step.which, size=SMALL_PT, align="right")
        elif height > 18.0 + words:  # many baths side by side: upright
            own = page.sheet.text(middle, top + 16.0, step.which, size=SMALL_PT, align="center")
            own.set(rotation=90, verticalalignment="top")
        if step.start > first:
            edges[step.which] = left
    return edges


def _draw_bench(
    page: _Page,
    lanes: dict[str, tuple[float, float]],
    steps: list[Step],
    groups: dict[str, float],
) -> None:
    """Loads as they leave the furnace, and the wait of their groups as dotted lines."""
    sheet, (left, right) = page.sheet, lanes["bench"]
    waits = sorted(
        (s for s in steps if s.what == "wait" and s.end > s.start), key=lambda s: s.start
    )
    columns: list[int] = []
    for step in waits:
        free = next((i for i, end in enumerate(columns) if end <= step.start), len(columns))
        columns[free : free + 1] = [step.end]
        x = left + 6.0 + free * 5.0
        if x > right - 4.0:
            x = right - 4.0
        style = ROUTE_STYLES.get(route_key(step.level), NEUTRAL)
        dotted = {"linestyle": (0, (1.2, 1.6)), "zorder": 2.5}
        top, bottom = page.y(step.start), page.y(step.end)
        sheet.line((x, x), (top, bottom), style.colour, 1.1, **dotted)
        if step.which in groups:
            sheet.line((x, groups[step.which]), (bottom, bottom), style.colour, 1.1, **dotted)
    for step in (s for s in steps if s.what == "quench"):
        y = page.y(step.end)
        words = f"load {step.which}"
        width = text_width(words, SMALL_PT)
        middle = (left + right) / 2
        sheet.box(
            middle - width / 2 - 2, y - 5.5, width + 4, 11.0, face=PAPER, edge=HAIRLINE,
            edge_width=0.7, zorder=4,
        )  # fmt: skip
        sheet.text(middle, y + 0.36 * SMALL_PT, words, size=SMALL_PT, align="center")


def _draw_hands(page: _Page, lane: tuple[float, float], hands: list[Step]) -> None:
    left, right = lane[0] + 10.0, lane[1] - 10.0
    for step in hands:
        top, height = page.y(step.start), max(1.2, step.minutes * page.pitch)
        page.sheet.box(left, top, right - left, height, face=INK, zorder=3)
    minutes = sum(step.minutes for step in hands)
    total = f"{minutes / 60:.1f}{NO_BREAK}h" if minutes >= 60 else f"{minutes}{NO_BREAK}min"
    middle = (lane[0] + lane[1]) / 2
    page.sheet.text(middle, 16.0, total, size=VALUE_PT, align="center", colour=PENCIL)


def _words(sheet: Sheet, x: float, y: float, lines: list[str]) -> None:
    pitch = 10.5
    for number, line in enumerate(lines):
        base = y + (number - (len(lines) - 1) / 2) * pitch + 0.36 * SMALL_PT
        sheet.text(x, base, line, size=SMALL_PT, align="center")


# --- words -------------------------------------------------------------------------------------


def _key(steps: list[Step]) -> list[list[Entry]]:
    def soak(sheet: Sheet, left: float, middle: float) -> None:
        sheet.box(left, middle - 5, 16, 10, face=STRAW)
        sheet.line((left, left + 16), (middle - 5, middle - 5), PENCIL, _SOAK_EDGE)

    def heat(sheet: Sheet, left: float, middle: float) -> None:
        sheet.box(left, middle - 5, 16, 10, face=LOAD)

    def quench(sheet: Sheet, left: float, middle: float) -> None:
        sheet.line((left, left + 16), (middle, middle), INK, 2.6)

    def delay(sheet: Sheet, left: float, middle: float) -> None:
        sheet.line((left, left + 16), (middle, middle), INK, 1.1, linestyle=(0, (1.2, 1.6)))

    entries = [
        Entry("heat or cool", 16, heat),
        Entry("soak", 16, soak),
        Entry("quench", 16, quench),
    ]
    if any(step.what == "wait" for step in steps):
        entries.append(Entry("delay", 16, delay))
    routes: dict[str, MarkStyle] = {
        step.level: ROUTE_STYLES.get(route_key(step.level), NEUTRAL)
        for step in steps
        if step.what == "cold"
    }
    order = [
        *(r for r in ROUTE_STYLES if r in routes),
        *(r for r in routes if r not in ROUTE_STYLES),
    ]
    marks = [mark_entry(ROUTE_WORDS.get(r, r.replace("_", " ")), routes[r]) for r in order]
    return [entries, marks] if marks else [entries]


def _finding(timetable: Timetable, day: int, hands: list[Step]) -> str:
    loads = len({s.which for s in hands if s.what == "load"})
    minutes = sum(step.minutes for step in hands)
    missed = len(_breaches_of(timetable, day))
    ends = f"{missed} not met, each named below" if missed else "everything is kept"
    return (
        f"{day_title(timetable, day)}: {counted(loads, 'furnace load')}, {minutes / 60:.1f}"
        f"{NO_BREAK}h with your hands; {ends}."
    )


def _breaches_of(timetable: Timetable, day: int) -> list[Breach]:
    """What is not met by steps that begin on a day."""
    begun = {
        (step.unit, step.which, step.what)
        for step in timetable.steps
        if step.start // DAY + 1 == day
    }
    return [own for own in timetable.breaches if (own.unit, own.which, own.what) in begun]


def _alt(timetable: Timetable, steps: list[Step], finding: str, day: int) -> str:
    cold = len({step.which for step in steps if step.what == "cold"})
    tempers = len({step.which for step in steps if step.what == "temper"})
    lanes = ", ".join(LANES)
    subject = (
        f"Hours of day {day} downward for {lanes} and hands; {counted(cold, 'cold batch')} and "
        f"{counted(tempers, 'temper batch')}"
    )
    missed = _breaches_of(timetable, day)
    unusual = missed[0].words if missed else ""
    return alt_text(subject, finding, unusual)
