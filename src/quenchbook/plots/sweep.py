"""What more furnace loads buy at each noise: chances by formula as lines, counted ones as marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.outlook.wording import times_in
from quenchbook.plots import wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.sheet import MARGIN, WIDTH, Panel, Sheet, text_width, wrapped
from quenchbook.plots.style import (
    CURVE_PT,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    PENCIL,
    SMALL_PT,
    TICK_PT,
    TITLE_PT,
    draw_marks,
    drawing_rules,
    neutral_style,
)
from quenchbook.study.factors import plural
from quenchbook.units import capital

if TYPE_CHECKING:
    from quenchbook.outlook.sweep_table import PlanningSweep

SIMULATED: Final = "simulated"
"""Label of the artists that hold one mark for each simulated chance."""

_HEIGHT: Final = 118.0
_ROW: Final = 11.0  # least distance of the names at the right [pt]


@dataclass(frozen=True)
class _Chance:
    title: str
    formula: str
    counted: str
    rows: pd.DataFrame


def figure_sweep(
    sweep: PlanningSweep, *, coupons: int | None = None, indents: int | None = None
) -> Drawing:
    """Draw chances against the number of furnace loads, one line for each noise.

    Parameters
    ----------
    sweep : PlanningSweep
    coupons, indents : int, optional
        Coupons in a load and readings on a coupon of the plans that are drawn; those of the study
        when left out, or the first of the sweep.

    Returns
    -------
    Drawing
        Its data are the rows that are drawn.
    """
    with drawing_rules():
        return _draw(sweep, coupons, indents)


def _draw(sweep: PlanningSweep, coupons: int | None, indents: int | None) -> Drawing:
    frame = sweep.frame
    wanted = {
        "coupons_per_load": coupons or sweep.study.layout.coupons_per_load,
        "indents": indents or sweep.response.readings,
    }
    told = {"coupons_per_load": coupons, "indents": indents}
    for name, value in wanted.items():
        there = sorted(set(frame[name]))
        if value not in there:
            if told[name] is not None:
                raise EstimabilityError(
                    f"The sweep has no plan with {name} {value}. There are "
                    f"{', '.join(str(own) for own in there)}."
                )
            value = wanted[name] = there[0]
        frame = frame[frame[name] == value]
    chances = _chances(sweep, frame)
    names = list(dict.fromkeys(frame["noise_name"]))
    loads = sorted(set(frame["furnace_loads"]))
    left = MARGIN + text_width("100", TICK_PT) + 6.0
    right = WIDTH - MARGIN - max(text_width(name, SMALL_PT) for name in names) - 12.0
    titles = [wrapped(own.title, WIDTH - 2 * MARGIN, TITLE_PT) for own in chances]
    heights = [13.0 * len(lines) + 10.0 + _HEIGHT + 30.0 for lines in titles]
    sheet = Sheet(6.0 + sum(heights) + 8.0)
    room = max(1.0, 0.06 * (loads[-1] - loads[0]))
    limits = (loads[0] - room, loads[-1] + room)
    top = 6.0
    for own, lines, height in zip(chances, titles, heights, strict=True):
        for number, line in enumerate(lines):
            sheet.text(MARGIN, top + 10.0 + 13.0 * number, line, size=TITLE_PT)
        panel = sheet.panel(
            left, top + 13.0 * len(lines) + 10.0, right - left, _HEIGHT, limits, (0.0, 1.0)
        )
        _ground(sheet, panel, loads, sweep.power)
        _lines(sheet, panel, own, names)
        top += height
    axis = capital(plural(sweep.study.unit_word("furnace_load")))
    sheet.text(right, top - 1.0, axis, size=TITLE_PT, align="right")
    finding = " ".join(sweep.sentences()[:2])
    each = sweep.plan_text({"furnace_loads": 1, **wanted}).split(" of ", 1)[1]
    worst = 100 * float(frame[["simulation_error", "untrue_error"]].to_numpy().max())
    reading = (
        f"Lines are by formula, marks are counted in {sweep.studies} simulated studies each "
        f"(standard error at most {worst:.1f} of 100). Loads of {each}. The dotted line is "
        f"{times_in(sweep.power)}."
    )
    subject = (
        f"Chances against the number of {plural(sweep.study.unit_word('furnace_load'))}, "
        f"{loads[0]} to {loads[-1]}, for {wording.counted(len(names), 'noise')}"
    )
    return Drawing(
        "planning_sweep", sheet.figure, finding, reading, sweep.notes,
        wording.alt_text(subject, finding, ""), frame.reset_index(drop=True),
    )  # fmt: skip


def _chances(sweep: PlanningSweep, frame: pd.DataFrame) -> list[_Chance]:
    """Chance of finding the difference, of showing that there is none, of an untrue claim."""
    found = []
    if sweep.target != 0:
        rows = frame[frame["difference"] == sweep.target]
        title = f"A difference of {sweep.size_text(sweep.target)} is found, % of studies"
        found.append(_Chance(title, "power", "simulated_power", rows))
    none = frame[frame["difference"] == 0]
    if sweep.margin is not None and len(none):
        size = sweep.size_text(sweep.margin)
        title = f"Without a difference, less than {size} is shown, % of studies"
        found.append(_Chance(title, "inside_chance", "simulated_inside_chance", none))
    if not found:
        title = "Without a difference, one is claimed all the same, % of studies"
        found.append(_Chance(title, "untrue_claims", "simulated_untrue_claims", none))
    return found


def _ground(sheet: Sheet, panel: Panel, loads: Sequence[int], power: float) -> None:
    low, high = panel.x_limits
    for percent in (0, 25, 50, 75, 100):
        if percent:
            panel.axes.plot(
                [low, high], [percent / 100] * 2, color=HAIRLINE, linewidth=HAIRLINE_PT,
                zorder=0.5, label="_hairline",
            )  # fmt: skip
        y = panel.y_place(percent / 100) + 0.36 * TICK_PT
        sheet.text(panel.left - 5.0, y, str(percent), size=TICK_PT, align="right")
    panel.axes.plot(
        [low, high], [power, power], color=PENCIL, linewidth=0.8, linestyle=(0.0, (1.4, 1.6)),
        zorder=1, label="_wanted",
    )  # fmt: skip
    bottom = panel.top + panel.height
    sheet.axis_line(panel.left, panel.left + panel.width, bottom)
    taken = -np.inf
    for value in loads:
        half = text_width(str(value), TICK_PT) / 2
        free = panel.x_place(value) - half > taken
        sheet.tick(panel.x_place(value), bottom, str(value) if free else "", size=TICK_PT)
        taken = panel.x_place(value) + half + 4.0 if free else taken


def _lines(sheet: Sheet, panel: Panel, own: _Chance, names: Sequence[str]) -> None:
    ends: list[tuple[float, str, int]] = []
    for number, name in enumerate(names):
        rows = own.rows[own.rows["noise_name"] == name].sort_values("furnace_loads")
        if rows.empty:
            continue
        style = neutral_style(number, len(names))
        x = rows["furnace_loads"].to_numpy(dtype=float)
        formula = rows[own.formula].to_numpy(dtype=float)
        panel.axes.plot(
            x, formula, color=PENCIL, linewidth=0.6 * CURVE_PT, linestyle=style.dash, zorder=3,
            clip_on=False, label="_formula",
        )  # fmt: skip
        counted = rows[own.counted].to_numpy(dtype=float)
        draw_marks(panel.axes, x.tolist(), counted.tolist(), style, label=SIMULATED)
        ends.append((panel.y_place(float(counted[-1])), name, number))
    ends.sort()
    place = -np.inf
    lowest = panel.top + panel.height - _ROW * (len(ends) - 1)
    for order, (wanted, name, _) in enumerate(ends):
        place = max(place + _ROW, min(wanted, lowest + _ROW * order))
        sheet.text(panel.left + panel.width + 8.0, place + 0.36 * SMALL_PT, name, size=SMALL_PT,
                   colour=INK)  # fmt: skip
