"""Furnace loads as a small picture for a form: a column is a load, a mark is a coupon.

Drawn as SVG text, for the picture of the notebook takes a second to draw.
"""

from __future__ import annotations

from html import escape
from typing import Any, Final

import pandas as pd

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plots.style import MarkStyle, mark_styles
from quenchbook.plots.tile_layout import Roles, roles_of
from quenchbook.units import capital

_PITCH: Final = 34.0  # width of a load [px]
_TILE: Final = 21.0
_MOST_LOADS: Final = 26  # in a row; more go on below
_MOST_PLACES: Final = 20  # coupons of a load that are drawn
_STRAW: Final = "#F3DFA6"
_INK: Final = "#22262B"


def load_picture(matrix: CouponMatrix) -> str:
    """Picture of a plan as HTML: inline SVG with its words.

    Parameters
    ----------
    matrix : CouponMatrix
    """
    study, roles = matrix.study, roles_of(matrix.study)
    frame = matrix.in_loads
    loads = list(frame.groupby("furnace_load", sort=True))
    most = min(int(frame["load_place"].max()), _MOST_PLACES)
    height = 44.0 + _TILE * most
    rows = [loads[at : at + _MOST_LOADS] for at in range(0, len(loads), _MOST_LOADS)]
    width = 6.0 + _PITCH * len(rows[0])
    parts = [
        _load(int(str(name)), own, roles, 6.0 + _PITCH * place, height * number)
        for number, row in enumerate(rows)
        for place, (name, own) in enumerate(row)
    ]
    words = f"{len(frame)} coupons in {len(loads)} furnace loads"
    if roles.step is not None:
        levels = ", ".join(roles.step.set_word(level) for level in roles.step.levels)
        words += f"; {study.factor(roles.step.name).title} {levels}"
    total = height * len(rows)
    return (
        f'<svg role="img" aria-label="{escape(words, quote=True)}" width="{width:g}" '
        f'height="{total:g}" viewBox="0 0 {width:g} {total:g}" style="max-width:100%;height:auto;'
        f'background:#FDFCF9;display:block" font-family="DejaVu Sans, sans-serif">'
        f"{''.join(parts)}</svg>{_key(roles)}"
    )


def _load(load: int, coupons: pd.DataFrame, roles: Roles, left: float, top: float) -> str:
    """Column of one load: its furnace setting, its number, its coupons in quench order."""
    middle = left + _PITCH / 2 - 3
    step = ""
    if roles.step is not None:
        level = coupons[roles.step.column].iloc[0]
        step = f"{level:g}" if isinstance(level, float) else str(level)[:5]
    parts = [_text(middle, top + 14, step, 10.5), _text(middle, top + 29, str(load), 9, "#5A6069")]
    styles = mark_styles(roles.mark)
    for number, row in enumerate(coupons.to_dict("records")[:_MOST_PLACES]):
        y = top + 46 + _TILE * number
        if _is_high(row, roles):
            parts.append(
                f'<rect x="{middle - 8.5:g}" y="{y - 8.5:g}" width="17" height="17" '
                f'fill="{_STRAW}" stroke="{_INK}" stroke-width="1"/>'
            )
        style = styles.get(row[roles.mark.column]) if roles.mark is not None else None
        parts += [_mark(style, middle, y), _strokes(row, roles, middle, y + 7.2)]
    return "".join(parts)


def _is_high(row: dict[Any, Any], roles: Roles) -> bool:
    """Whether a coupon has the last level of the factor that is drawn as a frame."""
    return roles.frame is not None and row[roles.frame.column] == roles.frame.levels[-1]


def _strokes(row: dict[Any, Any], roles: Roles, x: float, y: float) -> str:
    """Short strokes under a mark: one for the first level of a factor, two for the second, ..."""
    levels = list(roles.strokes.levels) if roles.strokes is not None else []
    level = row[roles.strokes.column] if roles.strokes is not None else None
    if level not in levels:  # a delay exists only with a cold step
        return ""
    count = levels.index(level) + 1
    starts = [x - 2.5 * count + 5 * number for number in range(count)]
    line = " ".join(f"M{start + 0.5:g} {y:g}h3.6" for start in starts)
    return f'<path d="{line}" stroke="{_INK}" stroke-width="1.5" fill="none"/>'


def _mark(style: MarkStyle | None, x: float, y: float) -> str:
    """Mark of a level, in the shapes of the figures; letters and others as a circle."""
    colour, face, marker = (
        (style.colour, style.face, style.marker) if style else (_INK, "none", "o")
    )
    paint = f'fill="{face}" stroke="{colour}" stroke-width="1.4"'
    if marker == "s":
        return f'<rect x="{x - 4.5:g}" y="{y - 4.5:g}" width="9" height="9" {paint}/>'
    if marker == "^":
        corners = f"{x:g},{y - 5.5:g} {x + 5.5:g},{y + 4.5:g} {x - 5.5:g},{y + 4.5:g}"
        return f'<polygon points="{corners}" {paint}/>'
    if marker == "D":
        corners = f"{x:g},{y - 5.5:g} {x + 5.5:g},{y:g} {x:g},{y + 5.5:g} {x - 5.5:g},{y:g}"
        return f'<polygon points="{corners}" {paint}/>'
    dot = style is not None and (style.dot or style.half)
    inner = f'<circle cx="{x:g}" cy="{y:g}" r="2" fill="{colour}"/>' if dot else ""
    return f'<circle cx="{x:g}" cy="{y:g}" r="4.8" {paint}/>{inner}'


def _text(x: float, y: float, words: str, size: float, colour: str = _INK) -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size:g}" fill="{colour}" text-anchor="middle">'
        f"{escape(words)}</text>"
    )


def _key(roles: Roles) -> str:
    """Words for the marks, below the picture."""
    parts = []
    if roles.mark is not None:
        for level, style in mark_styles(roles.mark).items():
            parts.append(
                '<span style="white-space:nowrap;margin-right:1.2em"><svg width="14" height="14" '
                'viewBox="0 0 14 14" aria-hidden="true" style="vertical-align:-2px;'
                f'background:#FDFCF9">{_mark(style, 7, 7)}</svg> '
                f"{escape(roles.mark.word(level))}</span>"
            )
    if roles.frame is not None:
        words = f"Framed: {roles.frame.title} {roles.frame.word(roles.frame.levels[-1])}"
        parts.append(f'<span style="margin-right:1.2em">{escape(words)}</span>')
    if roles.strokes is not None:
        words = ", ".join(roles.strokes.word(level) for level in roles.strokes.levels)
        title = escape(roles.strokes.title)
        parts.append(f"<span> Strokes: {title} {escape(words)}</span>")
    if roles.step is not None:
        head = f"Above each load: {roles.step.title}, its number."
        parts.insert(0, f'<span style="margin-right:1.2em">{escape(capital(head))}</span>')
    return f'<p style="margin:4px 0 10px;font-size:13px">{"".join(parts)}</p>'
