"""What is expected of the steel, drawn against austenitize temperature under the planned levels."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.hardness_peak import PeakRegion
from quenchbook.outlook.level_checks import route_phrase
from quenchbook.outlook.steel_ranges import RETAINED, START
from quenchbook.plots import scales, wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Key, mark_entry
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CURVE_BAND,
    CURVE_PT,
    END_PT,
    ESTIMATE_BAND,
    ESTIMATE_PT,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    NEUTRAL,
    PENCIL,
    TICK_PT,
    TIE_PT,
    TITLE_PT,
    VALUE_PT,
    MarkStyle,
    draw_marks,
    drawing_rules,
    mark_styles,
)
from quenchbook.units import capital, interval_text, listed, number_text, with_unit

if TYPE_CHECKING:
    from quenchbook.outlook.steel import SteelPrior

_LEFT: Final = MARGIN + 28.0  # words of the y ticks
_RIGHT: Final = WIDTH - MARGIN
_STRIP: Final = 9.0
_START_HEIGHT: Final = 92.0
_RETAINED_HEIGHT: Final = 118.0
_BAR_PT: Final = 5.0  # widest band of retained austenite
_LINE: Final = 12.0
_HEADS: Final = (
    "Hardness peak expected at, °C",
    "Martensite start, °C",
    "Retained austenite, % of the steel",
)
_PLANNED: Final = "Planned levels, °C"
_OUTSIDE: Final = ("not", "computed")


def figure_steel_prior(prior: SteelPrior) -> Drawing:
    """Draw peak regions, martensite start and retained austenite as ranges, with planned levels.

    Parameters
    ----------
    prior : SteelPrior

    Returns
    -------
    Drawing
        Its data are those of ``prior.to_frame()``.

    Raises
    ------
    EstimabilityError
        If nothing is known of the steel.
    """
    if not prior.known:
        raise EstimabilityError(
            f"There is no picture of {prior.steel}: {prior.reason}. Tell grade and composition in "
            "[steel] of study.toml, or choose the levels from the data sheet of the steel."
        )
    with drawing_rules():
        return _draw(prior)


def _draw(prior: SteelPrior) -> Drawing:
    styles = _styles(prior)
    limits = _x_limits(prior)
    rows = {route: region for route, region in prior.peaks.items() if region.known}
    absent = [] if rows else wrapped(_no_region(prior), INNER, VALUE_PT)
    words = {route: _row_words(prior, route, region) for route, region in rows.items()}
    level_lines = sum(bool(row) for row in _level_rows(prior, limits))
    top = 16.0 + (21.0 + 11.0 * level_lines if prior.levels else 0.0)
    heads = [top]
    top += 8.0 + _LINE * len(absent)
    tops: dict[str, float] = {}
    for route, lines in words.items():
        tops[route] = top
        top += _LINE * len(lines) + 4.0 + _STRIP + 7.0
    heads.append(top + 14.0)
    start_top = top + 22.0
    heads.append(start_top + _START_HEIGHT + 24.0)
    retained_top = heads[-1] + 8.0
    foot = retained_top + _RETAINED_HEIGHT
    key = Key([[mark_entry(prior.route_words[route], styles[route]) for route in prior.peaks]])
    sheet = Sheet(foot + 36.0 + key.height + 8.0)
    _draw_levels(sheet, prior, limits)
    for y, text in zip(heads, _HEADS, strict=True):
        sheet.text(MARGIN - 4.0, y, text, size=TITLE_PT)
    for number, line in enumerate(absent):
        sheet.text(MARGIN, heads[0] + _LINE * (number + 1), line, colour=PENCIL)
    for route, region in rows.items():
        _draw_row(sheet, prior, region, words[route], styles[route], tops[route], limits, route)
    _draw_start(sheet, prior, start_top, limits)
    _draw_retained(sheet, prior, styles, retained_top, limits)
    for value, text in scales.axis_ticks(*limits, _RIGHT - _LEFT, most=7):
        sheet.tick(_place(value, limits), foot, text, size=TICK_PT)
    sheet.text(_RIGHT, foot + 29.0, "Austenitize, °C", size=TITLE_PT, align="right")
    key.draw(sheet, foot + 36.0)
    finding = _finding(prior)
    return Drawing(
        "steel_prior", sheet.figure, finding, _reading(prior), (*prior.warnings, *prior.notes),
        _alt(prior, finding), prior.to_frame(),
    )  # fmt: skip


def _styles(prior: SteelPrior) -> dict[str, MarkStyle]:
    own = mark_styles(prior.route_factor)
    return {route: own.get(route, NEUTRAL) for route in prior.peaks}


def _x_limits(prior: SteelPrior) -> tuple[float, float]:
    ends = [*prior.limits_c, *prior.levels]
    return scales.padded([min(ends), max(ends)], 0.05)


def _place(value: float, limits: tuple[float, float]) -> float:
    """Distance of a temperature from the left edge of the sheet [pt]."""
    return _LEFT + (value - limits[0]) / (limits[1] - limits[0]) * (_RIGHT - _LEFT)


# --- marks -------------------------------------------------------------------------------------


def _draw_levels(sheet: Sheet, prior: SteelPrior, limits: tuple[float, float]) -> None:
    """Write the planned levels above, in two rows when they stand close."""
    if not prior.levels:
        return
    sheet.text(MARGIN - 4.0, 16.0, _PLANNED, size=TITLE_PT)
    for row, placed in enumerate(_level_rows(prior, limits)):
        for place, text in placed:
            y = 29.0 + 11.0 * row
            sheet.text(place, y, text, bold=True, align="center")


def _level_rows(
    prior: SteelPrior, limits: tuple[float, float]
) -> tuple[list[tuple[float, str]], list[tuple[float, str]]]:
    """Places and words of the levels in two rows; what fits in neither is left out."""
    rows: tuple[list[tuple[float, str]], list[tuple[float, str]]] = ([], [])
    ends = [0.0, 0.0]
    for level in prior.levels:
        text = _number(level)
        half = text_width(text, VALUE_PT, bold=True) / 2
        place = min(_place(level, limits), WIDTH - half - 1.0)
        row = next((number for number in (0, 1) if place - half > ends[number] + 4.0), None)
        if row is not None:
            rows[row].append((place, text))
            ends[row] = place + half
    return rows


def _plumb(panel: Panel, prior: SteelPrior) -> None:
    for level in prior.levels:
        panel.axes.axvline(
            level, color=PENCIL, linewidth=TIE_PT, linestyle=(0.0, (1.0, 1.6)), zorder=1.2
        )


def _draw_row(
    sheet: Sheet,
    prior: SteelPrior,
    region: PeakRegion,
    words: list[str],
    style: MarkStyle,
    top: float,
    limits: tuple[float, float],
    route: str,
) -> None:
    """Draw one region: name and numbers, below them its band with the line of its centre."""
    name = prior.route_words[route]
    draw_marks(sheet.ground, [MARGIN], [top + 6.6], style, scale=1.1)
    sheet.text(MARGIN + 8.0, top + 10.0, name, size=TITLE_PT, bold=True, colour=style.colour)
    for number, line in enumerate(words):
        sheet.text(_RIGHT, top + 10.0 + _LINE * number, line, align="right")
    panel = sheet.panel(
        _LEFT, top + _LINE * len(words) + 4.0, _RIGHT - _LEFT, _STRIP, limits, (0.0, 1.0)
    )
    _plumb(panel, prior)
    panel.axes.axhline(0.5, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
    low, high = float(region.low_c or 0.0), float(region.high_c or 0.0)
    # an open end reaches the end of what was computed, and an arrow says that it runs on
    low = prior.limits_c[0] if region.low_open else low
    high = prior.limits_c[1] if region.high_open else high
    panel.axes.axvspan(low, high, color=style.colour, alpha=ESTIMATE_BAND, linewidth=0, zorder=2)
    for end, is_open, sign in ((low, region.low_open, -1), (high, region.high_open, 1)):
        if is_open:
            tip = panel.x_place(end) + sign * 6.0
            sheet.arrow(tip, panel.top + _STRIP / 2, sign, colour=style.colour)
        else:
            panel.axes.axvline(end, color=style.colour, linewidth=END_PT, zorder=3)
    if region.centre_c is not None:
        panel.axes.axvline(region.centre_c, color=style.colour, linewidth=ESTIMATE_PT, zorder=4)


def _frame(sheet: Sheet, panel: Panel, most: int) -> None:
    for value, text in scales.axis_ticks(*panel.y_limits, 4 * panel.height, most=most):
        panel.axes.axhline(value, color=HAIRLINE, linewidth=HAIRLINE_PT, zorder=0)
        y = panel.y_place(value) + 0.36 * TICK_PT
        sheet.text(_LEFT - 5.0, y, text, size=TICK_PT, align="right")
    sheet.axis_line(_LEFT, _RIGHT, panel.top + panel.height)


def _draw_start(sheet: Sheet, prior: SteelPrior, top: float, limits: tuple[float, float]) -> None:
    rows = prior.rows(START)
    y_limits = scales.padded([rows["low"].min(), rows["high"].max()], 0.04)
    panel = sheet.panel(_LEFT, top, _RIGHT - _LEFT, _START_HEIGHT, limits, y_limits)
    _frame(sheet, panel, 5)
    _plumb(panel, prior)
    heat = rows["austenitize_c"].to_numpy()
    panel.axes.fill_between(
        heat, rows["low"], rows["high"], color=INK, alpha=CURVE_BAND, linewidth=0, zorder=2
    )
    panel.axes.plot(heat, rows["expected"], color=INK, linewidth=CURVE_PT, zorder=3)
    for sign, end in ((-1, 0), (1, -1)):
        edge, side = panel.x_place(heat[end]), _RIGHT if sign > 0 else _LEFT
        if sign * (side - edge) > text_width(_OUTSIDE[1], VALUE_PT) + 6.0:
            for number, word in enumerate(_OUTSIDE):
                y = panel.top + 0.5 * panel.height + 11.0 * number
                sheet.text((edge + side) / 2, y, word, colour=PENCIL, align="center")
        panel.axes.plot(
            [heat[end]] * 2, [rows["low"].iloc[end], rows["high"].iloc[end]], color=INK,
            linewidth=END_PT, zorder=3,
        )  # fmt: skip


def _draw_retained(
    sheet: Sheet,
    prior: SteelPrior,
    styles: dict[str, MarkStyle],
    top: float,
    limits: tuple[float, float],
) -> None:
    """Draw one band for each route at each level, side by side."""
    routes, places = list(prior.peaks), prior.places
    if not routes:
        sheet.text(MARGIN, top + _LINE, _no_region(prior), colour=PENCIL)
        sheet.axis_line(_LEFT, _RIGHT, top + _RETAINED_HEIGHT)
        return
    own = {route: prior.rows(RETAINED, route).set_index("austenitize_c") for route in routes}
    shown = {route: frame.loc[list(places)] for route, frame in own.items()}
    most = max(float(frame["high"].max()) for frame in shown.values())
    panel = sheet.panel(
        _LEFT, top, _RIGHT - _LEFT, _RETAINED_HEIGHT, limits, (0.0, 1.1 * max(most, 1.0))
    )
    _frame(sheet, panel, 5)
    _plumb(panel, prior)
    room = [panel.x_place(b) - panel.x_place(a) for a, b in itertools.pairwise(places)]
    bar = min(_BAR_PT, 0.72 * min(room, default=60.0) / len(routes))
    for number, route in enumerate(routes):
        style = styles[route]
        shift = panel.x_points((bar + 1.0) * (number - (len(routes) - 1) / 2))
        half = panel.x_points(bar / 2)
        for place, low, high in zip(places, shown[route]["low"], shown[route]["high"], strict=True):
            ends = [place + shift - half, place + shift + half]
            panel.axes.fill_between(
                ends, low, high, color=style.colour, alpha=ESTIMATE_BAND, linewidth=0, zorder=2
            )
            for end in (low, high):
                panel.axes.plot(
                    ends, [end, end], color=style.colour, linewidth=END_PT,
                    solid_capstyle="butt", zorder=3, clip_on=False,
                )  # fmt: skip
        # the mark names the route and stands off the band: a middle would claim too much
        over = (shown[route]["high"] + 5.0 * panel.y_limits[1] / panel.height).tolist()
        middles = [place + shift for place in places]
        draw_marks(panel.axes, middles, over, style, scale=0.9 * bar / _BAR_PT, label="_routes")


# --- words -------------------------------------------------------------------------------------


def _number(level: float) -> str:
    return number_text(level, 0 if float(level).is_integer() else 1)


def _row_words(prior: SteelPrior, route: str, region: PeakRegion) -> list[str]:
    name = MARGIN + 8.0 + text_width(prior.route_words[route], TITLE_PT, bold=True)
    return wrapped(region.words(), _RIGHT - name - 8.0, VALUE_PT)


def _no_region(prior: SteelPrior) -> str:
    reasons = {region.reason for region in prior.peaks.values()}
    why = next(iter(reasons), "no cold route of known temperature is studied")
    return f"not known here: {why}"


def _finding(prior: SteelPrior) -> str:
    """Where the peak is expected by route; or that this is not known."""
    parts = [
        f"{region.words()} {route_phrase(route, prior.route_words)}"
        for route, region in prior.peaks.items()
        if region.known
    ]
    if not parts:
        return f"The place of the hardness peak of {prior.steel} is {_no_region(prior)}."
    return f"Before any test the hardness peak of {prior.steel} is expected at {', '.join(parts)}."


def _reading(prior: SteelPrior) -> str:
    levels = (
        f" Dotted lines stand at the {len(prior.levels)} planned levels." if prior.levels else ""
    )
    where = "at each level" if {*prior.places} <= {*prior.levels} else "at round temperatures"
    return (
        "Bands are ranges of published equations, not confidence intervals; a line in a band is "
        "the middle of the expectation, an arrow an end that is not known. Retained austenite is "
        f"in per cent of the steel, {where}; a mark names the route.{levels} No coupon was tested."
    )


def _alt(prior: SteelPrior, finding: str) -> str:
    places, rows = prior.places, prior.rows(START)
    low, high = rows["low"].min(), rows["high"].max()
    subject = (
        f"Expected martensite start and retained austenite against austenitize temperature for "
        f"{prior.steel}; "
        + (
            f"planned levels {listed([_number(level) for level in prior.levels])} °C"
            if prior.levels
            else f"{wording.count_words(len(places))} round temperatures"
        )
    )
    start = f"Martensite start {with_unit(interval_text(low, high, 0), 'degC')}."
    count = len(prior.warnings)
    unusual = f"{capital(wording.counted(count, 'warning'))} about the levels" if count else ""
    return wording.alt_text(subject, f"{finding} {start}", unusual)
