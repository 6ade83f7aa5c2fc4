"""Furnace loads as a small picture for a form: a column is a load, a mark is a coupon.

Drawn as SVG text, for the picture of the notebook takes a second to draw.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from html import escape
from typing import Any, Final

import pandas as pd

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plots.style import INK, PAPER, MarkStyle, mark_styles
from quenchbook.plots.tile_layout import Roles, roles_of
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import capital, converted, with_unit

_PITCH: Final = 34.0  # width of a column at least [px]
_TILE: Final = 21.0
_WIDEST: Final = 900.0  # of a row of loads; more go on below
_MOST_PLACES: Final = 20  # coupons of a column; a larger load goes on in the next one
_MOST_LETTERS: Final = 12  # of a level above a load; in full in the list of loads
_LETTER: Final = 6.4  # width of a letter of a level [px]
_STRAW: Final = "#F3DFA6"


def load_picture(matrix: CouponMatrix) -> str:
    """Picture of a plan as HTML: inline SVG with its words, and a list of what each load holds.

    Parameters
    ----------
    matrix : CouponMatrix
    """
    study, roles = matrix.study, roles_of(matrix.study)
    frame = matrix.in_loads
    loads = [(int(str(name)), own) for name, own in frame.groupby("furnace_load", sort=True)]
    height = 44.0 + _TILE * min(int(frame["load_place"].max()), _MOST_PLACES)
    longest = max(len(_step_word(own, roles, short=True)) for _, own in loads)
    columns = max(-(-len(own) // _MOST_PLACES) for _, own in loads)
    pitch = max(_PITCH, (_LETTER * longest + 8.0) / columns)
    in_a_row = max(1, int((_WIDEST - 6.0) // (pitch * columns)))
    rows = [loads[at : at + in_a_row] for at in range(0, len(loads), in_a_row)]
    width = 6.0 + pitch * columns * len(rows[0])
    parts = [
        _load(load, own, roles, 6.0 + pitch * columns * place, height * number, pitch)
        for number, row in enumerate(rows)
        for place, (load, own) in enumerate(row)
    ]
    words = (
        f"{len(frame)} {study.unit_word('coupon', len(frame))} in {len(loads)} "
        f"{study.unit_word('furnace_load', len(loads))}"
    )
    if roles.step is not None:
        levels = ", ".join(_in_own_unit(roles.step, level) for level in roles.step.levels)
        words += f"; {study.factor(roles.step.name).title} {levels}"
    total = height * len(rows)
    return (
        f'<svg role="img" aria-label="{escape(words, quote=True)}" width="{width:g}" '
        f'height="{total:g}" viewBox="0 0 {width:g} {total:g}" style="max-width:100%;height:auto;'
        f'display:block" font-family="DejaVu Sans, sans-serif">'
        f"{''.join(parts)}</svg>{_key(roles)}{_list_of_loads(loads, roles, study)}"
    )


def _step_word(coupons: pd.DataFrame, roles: Roles, *, short: bool) -> str:
    """Level of the furnace setting of a load, with its unit."""
    if roles.step is None:
        return ""
    word = _in_own_unit(roles.step, coupons[roles.step.column].iloc[0])
    return f"{word[: _MOST_LETTERS - 1]}\u2026" if short and len(word) > _MOST_LETTERS else word


def _in_own_unit(factor: Factor, level: Level) -> str:
    """Level as the study declares it: ``1450 \u00b0F``, not what it is in the unit of storage."""
    if isinstance(level, str) or not factor.declared_unit:
        return factor.set_word(level)
    own = round(converted(level, factor.unit, factor.declared_unit, factor.dimension), 1)
    return with_unit(f"{own:g}", factor.declared_unit)


def _list_of_loads(loads: Sequence[tuple[int, pd.DataFrame]], roles: Roles, study: Study) -> str:
    """What stands in each load, in words: the picture says nothing to who cannot see it."""
    inner = [own for own in study.factors if own is not roles.step]
    items = []
    for load, coupons in loads:
        steps = []
        for row in coupons.to_dict("records"):
            levels = [(own, row[own.column]) for own in inner]
            steps.append(", ".join(filter(None, (_in_own_unit(own, at) for own, at in levels))))
        runs = [(words, len(list(group))) for words, group in itertools.groupby(steps)]
        told = "; ".join(f"{count} \u00d7 {words}" if count > 1 else words for words, count in runs)
        level = _step_word(coupons, roles, short=False)
        head = f"{capital(study.unit_word('furnace_load'))} {load}{f', {level}' if level else ''}"
        count = f"{len(coupons)} {study.unit_word('coupon', len(coupons))}"
        items.append(f"<li>{escape(f'{head}: {count}' + (f': {told}' if told else ''))}</li>")
    title = f"What stands in each {study.unit_word('furnace_load')}, in quench order"
    return (
        f"<details><summary>{escape(title)}</summary>"
        f'<ul style="max-width:62em">{"".join(items)}</ul></details>'
    )


def _load(
    load: int, coupons: pd.DataFrame, roles: Roles, left: float, top: float, pitch: float
) -> str:
    """Columns of one load: its furnace setting, its number, its coupons in quench order."""
    count = -(-len(coupons) // _MOST_PLACES)
    middle = left + pitch * count / 2 - 3
    step = _step_word(coupons, roles, short=True)
    parts = [_text(middle, top + 14, step, 10.5), _text(middle, top + 29, str(load), 9)]
    styles = mark_styles(roles.mark)
    for number, row in enumerate(coupons.to_dict("records")):
        x = left + pitch * (number // _MOST_PLACES + 0.5) - 3
        y = top + 46 + _TILE * (number % _MOST_PLACES)
        high = _is_high(row, roles)
        if high:
            parts.append(
                f'<rect x="{x - 8.5:g}" y="{y - 8.5:g}" width="17" height="17" '
                f'fill="{_STRAW}" stroke="{INK}" stroke-width="1"/>'
            )
        style = styles.get(row[roles.mark.column]) if roles.mark is not None else None
        parts += [_mark(style, x, y, on_straw=high), _strokes(row, roles, x, y + 7.2, high)]
    return "".join(parts)


def _is_high(row: dict[Any, Any], roles: Roles) -> bool:
    """Whether a coupon has the last level of the factor that is drawn as a frame."""
    return roles.frame is not None and row[roles.frame.column] == roles.frame.levels[-1]


def _strokes(row: dict[Any, Any], roles: Roles, x: float, y: float, on_straw: bool) -> str:
    """Short strokes under a mark: one for the first level of a factor, two for the second, ..."""
    levels = list(roles.strokes.levels) if roles.strokes is not None else []
    level = row[roles.strokes.column] if roles.strokes is not None else None
    if level not in levels:  # a delay exists only with a cold step
        return ""
    count = levels.index(level) + 1
    starts = [x - 2.5 * count + 5 * number for number in range(count)]
    line = " ".join(f"M{start + 0.5:g} {y:g}h3.6" for start in starts)
    ink = INK if on_straw else "currentColor"
    return f'<path d="{line}" stroke="{ink}" stroke-width="1.5" fill="none"/>'


def _mark(style: MarkStyle | None, x: float, y: float, *, on_straw: bool = False) -> str:
    """Mark of a level, in the shapes of the figures; letters and others as a circle.

    The ground may be white or, in a dark theme, black: ink has the colour of the words there, and
    other colours a share of it. On a straw tile they are those of the figures.
    """
    colour, face, marker = (style.colour, style.face, style.marker) if style else (INK, "none", "o")
    paint = (
        f'fill="{_on_ground(face, on_straw)}" stroke="{_on_ground(colour, on_straw)}" '
        f'stroke-width="1.4"{_toned(face, colour, on_straw)}'
    )
    if marker == "s":
        return f'<rect x="{x - 4.5:g}" y="{y - 4.5:g}" width="9" height="9" {paint}/>'
    if marker == "^":
        corners = f"{x:g},{y - 5.5:g} {x + 5.5:g},{y + 4.5:g} {x - 5.5:g},{y + 4.5:g}"
        return f'<polygon points="{corners}" {paint}/>'
    if marker == "D":
        corners = f"{x:g},{y - 5.5:g} {x + 5.5:g},{y:g} {x:g},{y + 5.5:g} {x - 5.5:g},{y:g}"
        return f'<polygon points="{corners}" {paint}/>'
    dot = style is not None and style.dot
    ink = _on_ground(colour, on_straw)
    inner = f'<circle cx="{x:g}" cy="{y:g}" r="2" fill="{ink}"/>' if dot else ""
    if style is not None and style.half:
        inner = f'<path d="M{x - 4.8:g} {y:g}a4.8 4.8 0 0 0 9.6 0z" fill="{ink}"/>'
    return f'<circle cx="{x:g}" cy="{y:g}" r="4.8" {paint}/>{inner}'


def _on_ground(colour: str, on_straw: bool) -> str:
    """Colour of the figures as it is drawn here: no paper, and ink as the words around have it."""
    if colour == PAPER:
        return "none"
    return "currentColor" if colour == INK and not on_straw else colour


def _toned(face: str, colour: str, on_straw: bool) -> str:
    """Style that brings a dark colour nearer to that of the words; what cannot mix leaves it."""
    if on_straw or colour == INK:
        return ""
    mixed = f"color-mix(in srgb,{colour} 60%,currentColor)"
    fill = f";fill:{mixed}" if face == colour else ""
    return f' style="stroke:{mixed}{fill}"'


def _text(x: float, y: float, words: str, size: float) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="currentColor" text-anchor="middle">'
        f"{escape(words)}</text>"
    )


def _key(roles: Roles) -> str:
    """Words for the marks, below the picture."""
    parts = []
    if roles.mark is not None:
        for level, style in mark_styles(roles.mark).items():
            parts.append(
                '<span style="white-space:nowrap;margin-right:1.2em"><svg width="14" height="14" '
                'viewBox="0 0 14 14" aria-hidden="true" style="vertical-align:-2px">'
                f"{_mark(style, 7, 7)}</svg> "
                f"{escape(_in_own_unit(roles.mark, level))}</span>"
            )
    if roles.frame is not None:
        words = f"Framed: {roles.frame.title} {_in_own_unit(roles.frame, roles.frame.levels[-1])}"
        parts.append(f'<span style="margin-right:1.2em">{escape(words)}</span>')
    if roles.strokes is not None:
        words = ", ".join(_in_own_unit(roles.strokes, level) for level in roles.strokes.levels)
        title = escape(roles.strokes.title)
        parts.append(f"<span> Strokes: {title} {escape(words)}</span>")
    if roles.step is not None:
        head = f"Above each load: {roles.step.title}, number of the load."
        parts.insert(0, f'<span style="margin-right:1.2em">{escape(capital(head))}</span>')
    return f'<p style="margin:4px 0 10px;font-size:13px">{"".join(parts)}</p>'
