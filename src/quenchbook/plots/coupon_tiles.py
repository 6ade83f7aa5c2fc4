"""The coupon matrix as tiles: a column is a furnace load, a tile is a coupon."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, cast

import pandas as pd

from quenchbook.plots import wording
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.legend import Entry, Key, mark_entry
from quenchbook.plots.load_steps import Steps, draw_steps, steps_for
from quenchbook.plots.second_unit import axis_words
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Sheet, wrapped
from quenchbook.plots.style import (
    COUPONS,
    GHOST,
    HAIRLINE,
    HAIRLINE_PT,
    INK,
    NEUTRAL,
    PAPER,
    PENCIL,
    STRAW,
    TITLE_PT,
    MarkStyle,
    draw_marks,
    draw_strikes,
    drawing_rules,
    mark_styles,
)
from quenchbook.plots.tile_layout import (
    MOST_PLACES,
    Roles,
    Rows,
    day_names_fit,
    roles_of,
    rows_of,
)
from quenchbook.plots.tile_states import States, states_of
from quenchbook.plots.tile_words import tile_alt, tile_finding, tile_notes, tile_reading
from quenchbook.study.factors import Factor, Level
from quenchbook.units import capital

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study


def figure_coupon_matrix(matrix: CouponMatrix, records: Records | None = None) -> Drawing:
    """Draw the plan: every coupon in its furnace load, in quench order.

    Parameters
    ----------
    matrix : CouponMatrix
    records : Records, optional
        What was run: coupons that are lost or have no reading, and coupons that were run at
        another level than planned, are struck.

    Returns
    -------
    Drawing
        Its data are the coupons with their unit and factor columns.
    """
    with drawing_rules():
        step = roles_of(matrix.study).step
        name = step.name if step is not None else ""
        return _draw(matrix, states_of(records, name) if records is not None else States())


def _draw(matrix: CouponMatrix, states: States) -> Drawing:
    study, frame = matrix.study, matrix.in_loads
    roles, rows = roles_of(study), rows_of(frame)
    loads = frame.drop_duplicates("furnace_load")
    rank = {int(load): number for number, load in enumerate(loads["furnace_load"])}
    steps = _steps(roles.step, loads, rows, states)
    days = frame["day"].nunique() > 1
    head = _head(matrix, roles, steps, days=days, named_days=day_names_fit(rows))
    tile_pitch = rows.tile + 4.0
    above = (24.0 if days else 6.0) + (steps.room if steps else 2.0) + 14.0
    row_height = above + rows.places * tile_pitch + 8.0
    key = Key(_key_groups(study, roles, rows.tile, states))
    tops = 7.0 + 13.0 * len(head)
    sheet = Sheet(tops + len(rows.rows) * row_height + key.height + 12.0)
    for number, line in enumerate(head):
        sheet.text(MARGIN, 7.0 + 10.0 + 13.0 * number, line, size=TITLE_PT)
    for row in range(len(rows.rows)):
        top = tops + row * row_height
        if days:
            _draw_days(sheet, rows, row, top)
        columns = rows.columns(row)
        floor = top + above - 14.0
        if steps is not None:
            shown = steps.chosen([rank[load] for load, *_ in columns])
            draw_steps(sheet, [x for *_, x in columns], rows.tile, floor, shown)
        for load, part, centre in columns:
            if part == 0:
                sheet.text(centre, floor + 10.0, str(load), colour=PENCIL, align="center")
        _draw_tiles(sheet, frame, roles, columns, rows.tile, top + above, states)
    bottom = tops + len(rows.rows) * row_height
    if key.lines:
        sheet.line((MARGIN, WIDTH - MARGIN), (bottom, bottom), HAIRLINE, HAIRLINE_PT)
        key.draw(sheet, bottom + 5.0)
    finding = tile_finding(matrix, roles)
    return Drawing(
        "coupon_matrix", sheet.figure, finding,
        " ".join(filter(None, (tile_reading(study, roles), states.reading(study)))),
        (*tile_notes(matrix, roles), *states.notes),
        tile_alt(matrix, roles, finding, states), _data(frame, study, states),
    )  # fmt: skip


def _steps(factor: Factor | None, loads: pd.DataFrame, rows: Rows, states: States) -> Steps | None:
    if factor is None:
        return None
    words = [factor.set_word(level) for level in loads[factor.column]]
    order = [factor.set_word(level) for level in factor.levels]
    steps = steps_for(words, order, rows.pitch, factor.printed)
    struck = tuple(int(load) in states.loads for load in loads["furnace_load"])
    return replace(steps, struck=struck if any(struck) else ())


def _head(
    matrix: CouponMatrix, roles: Roles, steps: Steps | None, *, days: bool, named_days: bool
) -> list[str]:
    frame, word = matrix.in_loads, matrix.study.unit_word("furnace_load", 2)
    first, last = int(frame["furnace_load"].min()), int(frame["furnace_load"].max())
    text = f"{capital(word)} {first} to {last} in {matrix.study.order_words}"
    if first == last:
        text = f"{capital(matrix.study.unit_word('furnace_load'))} {first}"
    if roles.step is not None and steps is not None:
        title = axis_words(wording.lower_first(roles.step.axis_title), roles.step.printed)
        text += f"; {roles.step.title}: {steps.key}" if steps.key else f"; {title}"
    if days and not named_days:
        text += "; days in bold"
    return wrapped(text, INNER, TITLE_PT)


def _draw_days(sheet: Sheet, rows: Rows, row: int, top: float) -> None:
    left = MARGIN
    named = day_names_fit(rows)
    for day, loads in rows.rows[row]:
        right = left + (len(loads) - 1) * rows.pitch + rows.tile
        words = f"Day {day}" if named else str(day)
        sheet.text(left, top + 14.0, words, size=TITLE_PT, bold=True)
        sheet.line((left, right), (top + 19.5, top + 19.5), PENCIL, 0.8)
        left += len(loads) * rows.pitch + rows.gap


def _draw_tiles(
    sheet: Sheet,
    frame: pd.DataFrame,
    roles: Roles,
    columns: Sequence[tuple[int, int, float]],
    tile: float,
    top: float,
    states: States,
) -> None:
    centres = {(load, part): centre for load, part, centre in columns}
    styles = mark_styles(roles.mark)
    lift = 0.12 * tile if roles.strokes is not None else 0.0
    marks: dict[Level, tuple[MarkStyle, list[float], list[float]]] = {}
    absent: list[tuple[float, float]] = []
    otherwise: list[tuple[float, float]] = []
    for coupon in frame.to_dict("records"):
        part, place = divmod(int(coupon["load_place"]) - 1, MOST_PLACES)
        column = (int(coupon["furnace_load"]), part)
        if column not in centres:
            continue
        centre = centres[column]
        middle = top + place * (tile + 4.0) + tile / 2
        _draw_tile(sheet, centre, middle, tile, _is_framed(roles.frame, coupon))
        if coupon["coupon"] in states.absent:
            absent.append((centre, middle))
        if coupon["coupon"] in states.otherwise:
            otherwise.append((centre, middle - lift))
        if coupon.get("reference"):  # an empty tile: it has not had every step
            continue
        level = cast(Level, coupon[roles.mark.column]) if roles.mark is not None else ""
        style = styles.get(level, NEUTRAL)
        _, xs, ys = marks.setdefault(level, (style, [], []))
        xs.append(centre)
        ys.append(middle - lift)
        if roles.strokes is not None:
            count = _stroke_count(roles.strokes, coupon[roles.strokes.column])
            _draw_strokes(sheet, centre, middle + tile / 2 - 1.7, count, tile)
    for style, xs, ys in marks.values():
        draw_marks(sheet.ground, xs, ys, style, scale=tile / 15.5, label=COUPONS)
    for places, size in ((absent, tile - 1.0), (otherwise, 0.55 * tile)):
        draw_strikes(sheet.ground, [x for x, _ in places], [y for _, y in places], size=size)


def _is_framed(factor: Factor | None, coupon: dict[Any, Any]) -> bool:
    return (
        factor is not None and len(factor.levels) > 1 and coupon[factor.column] == factor.levels[-1]
    )


def _stroke_count(factor: Factor, level: Level) -> int:
    return factor.levels.index(level) + 1 if level in factor.levels else 0


def _draw_tile(sheet: Sheet, centre: float, middle: float, tile: float, framed: bool) -> None:
    sheet.box(
        centre - tile / 2, middle - tile / 2, tile, tile, face=STRAW if framed else PAPER,
        edge=INK if framed else GHOST, edge_width=1.2 if framed else 0.9, zorder=2,
    )  # fmt: skip


def _draw_strokes(sheet: Sheet, centre: float, foot: float, count: int, tile: float) -> None:
    gap = min(0.21 * tile, 0.8 * tile / max(1, count))
    for number in range(count):
        x = centre + (number - (count - 1) / 2) * gap
        sheet.line((x, x), (foot - 0.18 * tile, foot), INK, 1.3, zorder=4)


# --- words -------------------------------------------------------------------------------------


def _key_groups(study: Study, roles: Roles, tile: float, states: States) -> list[list[Entry]]:
    groups: list[list[Entry]] = []
    if roles.mark is not None:
        styles = mark_styles(roles.mark)
        marks = [mark_entry(_short(roles.mark, lev), styles[lev]) for lev in roles.mark.levels]
        lead = [] if roles.mark.name == "cold_route" else [Entry(roles.mark.title)]
        groups.append([*lead, *marks])
    if roles.strokes is not None:
        title = roles.strokes.title
        if roles.strokes.name == "delay" and study.has("cold_route"):
            title = "delay before cold"
        strokes = [
            _stroke_entry(_short(roles.strokes, level), number)
            for number, level in enumerate(roles.strokes.levels, start=1)
        ]
        groups.append([Entry(title), *strokes])
    if roles.frame is not None and len(roles.frame.levels) > 1:
        *others, last = roles.frame.levels
        plain = ", ".join(roles.frame.word(level) for level in others)
        size = min(tile, 13.0)
        groups.append(
            [
                Entry(roles.frame.title),
                _tile_entry(plain, size, False),
                _tile_entry(roles.frame.word(last), size, True),
            ]
        )
    size = min(tile, 13.0)
    struck = [_struck_entry(states.absent_word, size, 1.0)] if states.absent else []
    struck += (
        [_struck_entry("run otherwise", size, 0.6)] if states.otherwise or states.loads else []
    )
    if struck:
        groups = [*groups[:-1], [*groups[-1], *struck]] if groups else [struck]
    return groups


def _short(factor: Factor, level: Level) -> str:
    """Level without the name of its factor, which stands before all of them: ``machine`` ``1``."""
    words = [factor.word(own) for own in factor.levels]
    own, lead = factor.word(level), f"{factor.title} "
    return own.removeprefix(lead) if all(word.startswith(lead) for word in words) else own


def _struck_entry(words: str, size: float, share: float) -> Entry:
    def draw(sheet: Sheet, left: float, middle: float) -> None:
        _draw_tile(sheet, left + size / 2, middle, size, False)
        draw_strikes(sheet.ground, [left + size / 2], [middle], size=share * size)

    return Entry(words, size, draw)


def _stroke_entry(words: str, count: int) -> Entry:
    width = 4.0 * count

    def draw(sheet: Sheet, left: float, middle: float) -> None:
        _draw_strokes(sheet, left + width / 2, middle + 2.2, count, 19.0)

    return Entry(words, width, draw)


def _tile_entry(words: str, size: float, framed: bool) -> Entry:
    def draw(sheet: Sheet, left: float, middle: float) -> None:
        _draw_tile(sheet, left + size / 2, middle, size, framed)

    return Entry(words, size, draw)


def _data(frame: pd.DataFrame, study: Study, states: States) -> pd.DataFrame:
    wanted = ["coupon", "furnace_load", "day", "load_place", *(f.column for f in study.factors)]
    more = [column for column in ("cold_batch", "temper_batch", "reference") if column in frame]
    data = frame[[*wanted, *more]].reset_index(drop=True)
    if states.known:
        data["no_reading"] = data["coupon"].isin(states.absent)
        data["run_otherwise"] = data["coupon"].isin(states.otherwise) | data["furnace_load"].isin(
            states.loads
        )
    return data
