"""Glyphs of the five verdicts and the small gauge, as geometry, as marks and as inline SVG."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Final

from matplotlib.patches import Circle, PathPatch, Polygon, Rectangle
from matplotlib.path import Path

from quenchbook.findings.statements import estimate_text, margin_words, shown_limits
from quenchbook.findings.verdicts import INNER_VERDICTS
from quenchbook.plots.style import ESTIMATE_BAND, INK, PAPER

if TYPE_CHECKING:
    from quenchbook.findings.verdicts import Finding
    from quenchbook.plots.sheet import Sheet

# Shapes in a box from -1 to 1, y upwards; triangles point to the right.
_TRIANGLE: Final = ((-0.8, -0.9), (0.95, 0.0), (-0.8, 0.9))
_LOWER_HALF: Final = ((-0.8, -0.9), (0.95, 0.0), (-0.8, 0.0))
_HOOK: Final = (
    (-0.34, 0.24), (-0.34, 0.72), (0.36, 0.72), (0.36, 0.28), (0.36, 0.0), (0.0, 0.02),
    (0.0, -0.24),
)  # fmt: skip
_DOT: Final = (0.0, -0.56)
_BARS: Final = (0.28, -0.28)
_SIDE: Final = 0.82
_FILLS: Final = {"exceeds": _TRIANGLE, "differs": _LOWER_HALF, "slight": ()}

GAUGE_WIDTH: Final = 132.0
GAUGE_HEIGHT: Final = 28.0


def draw_glyph(
    sheet: Sheet,
    x: float,
    y: float,
    verdict: str,
    sign: int,
    *,
    radius: float = 5.0,
    pen: float = 1.3,
) -> None:
    """Draw the glyph of a verdict with its middle at `x`, `y` [pt].

    Parameters
    ----------
    sheet : Sheet
    x, y : float
        Middle [pt].
    verdict : str
        One of the five verdicts.
    sign : int
        Sign of the estimate: where a triangle points.
    radius : float
        Half the size [pt].
    pen : float
        Width of its lines [pt].
    """
    turn = -1.0 if sign < 0 else 1.0

    def placed(corners: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(x + turn * a * radius, y - b * radius) for a, b in corners]

    ground = sheet.ground
    stroke = pen
    if verdict in _FILLS:
        ground.add_patch(
            Polygon(placed(_TRIANGLE), facecolor=PAPER, edgecolor=INK, linewidth=stroke,
                    joinstyle="miter", zorder=5, label=verdict)
        )  # fmt: skip
        if fill := _FILLS[verdict]:
            ground.add_patch(
                Polygon(placed(fill), closed=True, facecolor=INK, linewidth=0, zorder=5.1)
            )
        return
    if verdict == "equivalent":
        side = _SIDE * radius
        ground.add_patch(
            Rectangle((x - side, y - side), 2 * side, 2 * side, facecolor=PAPER, edgecolor=INK,
                      linewidth=stroke, joinstyle="miter", zorder=5, label=verdict)
        )  # fmt: skip
        for height in _BARS:
            places = (x - 0.42 * radius, x + 0.42 * radius)
            sheet.line(places, (y - height * radius, y - height * radius), INK, stroke, zorder=5.1)
        return
    ground.add_patch(
        Circle(
            (x, y),
            0.95 * radius,
            facecolor=PAPER,
            edgecolor=INK,
            linewidth=stroke,
            zorder=5,
            label=verdict,
        )
    )
    turn = 1.0  # a question mark is never mirrored
    codes = [Path.MOVETO, *[Path.CURVE4] * 6]
    hook = Path(placed(_HOOK), [int(code) for code in codes])
    ground.add_patch(
        PathPatch(hook, facecolor="none", edgecolor=INK, linewidth=0.92 * pen, zorder=5.1)
    )
    ground.add_patch(
        Circle(placed([_DOT])[0], 0.13 * radius, facecolor=INK, linewidth=0, zorder=5.1)
    )


# --- inline SVG --------------------------------------------------------------------------------


def glyph_svg(verdict: str, sign: int) -> str:
    """Glyph of a verdict as a small SVG in the colour of the text around it.

    Hidden from screen readers: the verdict's word always stands beside it.

    Parameters
    ----------
    verdict : str
        One of the five verdicts; any other raises ``ValueError``.
    sign : int
        Sign of the estimate: where a triangle points.
    """
    radius = 6.5
    turn = -1.0 if sign < 0 and verdict in _FILLS else 1.0

    def place(corner: tuple[float, float]) -> str:
        return f"{_short(8 + turn * corner[0] * radius)} {_short(8 - corner[1] * radius)}"

    def outline(corners: Sequence[tuple[float, float]]) -> str:
        return "M" + " L".join(place(corner) for corner in corners) + " Z"

    pen = 'fill="none" stroke="currentColor" stroke-width="1.5" stroke-linejoin="miter"'
    if verdict in _FILLS:
        body = f'<path d="{outline(_TRIANGLE)}" {pen}/>'
        if fill := _FILLS[verdict]:
            body += f'<path d="{outline(fill)}" fill="currentColor"/>'
    elif verdict == "equivalent":
        edge, size = _short(8 - _SIDE * radius), _short(2 * _SIDE * radius)
        bars = " ".join(f"M{place((-0.42, height))} L{place((0.42, height))}" for height in _BARS)
        body = (
            f'<rect x="{edge}" y="{edge}" width="{size}" height="{size}" {pen}/>'
            f'<path d="{bars}" {pen}/>'
        )
    elif verdict == "undecided":
        start, *rest = (place(corner) for corner in _HOOK)
        hook = f"M{start} C{', '.join(rest[:3])} C{', '.join(rest[3:])}"
        dot_x, dot_y = place(_DOT).split(" ")
        body = (
            f'<circle cx="8" cy="8" r="{_short(0.95 * radius)}" {pen}/><path d="{hook}" {pen}/>'
            f'<circle cx="{dot_x}" cy="{dot_y}" r="0.95" fill="currentColor"/>'
        )
    else:
        raise ValueError(f"'{verdict}' is not a verdict.")
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="16" height="16" viewBox="0 0 16 16"'
        f' aria-hidden="true" focusable="false">{body}</svg>'
    )


def gauge_limits(findings: Sequence[Finding]) -> tuple[float, float]:
    """Limits that hold the intervals, the margins and zero of several findings."""
    values = [0.0]
    for own in findings:
        values += [
            value for value in (own.estimate, own.conf_low, own.conf_high) if math.isfinite(value)
        ]
        values += [] if own.margin is None else [own.margin, -own.margin]
    low, high = min(values), max(values)
    pad = 0.06 * (high - low) or 1.0
    return low - pad, high + pad


def gauge_svg(finding: Finding, *, limits: tuple[float, float] | None = None) -> str:
    """Interval against the margin as a small SVG in the colour of the text around it.

    Parameters
    ----------
    finding : Finding
    limits : tuple of float, optional
        Ends of the scale, from `gauge_limits`, so that rows can be compared by eye; left out, the
        finding gets a scale of its own.
    """
    low, high = limits or gauge_limits([finding])

    def place(value: float) -> float:
        return (min(max(value, low), high) - low) / (high - low) * GAUGE_WIDTH

    def upright(value: float, pen: str, *, inset: float = 2.0) -> str:
        x = _short(place(value))
        return f'<path d="M{x} {_short(inset)} V{_short(GAUGE_HEIGHT - inset)}" {pen}/>'

    def box(left: float, right: float, inset: float, share: float) -> str:
        width, height = place(right) - place(left), GAUGE_HEIGHT - 2 * inset
        return (
            f'<rect x="{_short(place(left))}" y="{_short(inset)}" width="{_short(width)}"'
            f' height="{_short(height)}" fill="currentColor" fill-opacity="{share:g}"/>'
        )

    body = ""
    if finding.margin is not None:
        edge = (
            'stroke="currentColor" stroke-width="1.1" stroke-dasharray="1.4 1.8"'
            ' stroke-opacity="0.75"'
        )
        body += box(-finding.margin, finding.margin, 2.0, 0.1)
        body += upright(-finding.margin, edge) + upright(finding.margin, edge)
    body += upright(0.0, 'stroke="currentColor" stroke-width="0.9" stroke-opacity="0.4"')
    if math.isfinite(finding.conf_low + finding.conf_high):
        body += box(finding.conf_low, finding.conf_high, 7.0, ESTIMATE_BAND)
        end = 'stroke="currentColor" stroke-width="1.1"'
        for value, sign in ((finding.conf_low, -1), (finding.conf_high, 1)):
            body += (
                upright(value, end, inset=7.0) if low <= value <= high else _tip(place(value), sign)
            )
    if finding.verdict in INNER_VERDICTS:
        inner = 'stroke="currentColor" stroke-width="0.9"'
        for value in (finding.inner_low, finding.inner_high):
            if low <= value <= high:
                body += upright(value, inner, inset=11.0)
    if low <= finding.estimate <= high:
        body += upright(finding.estimate, 'stroke="currentColor" stroke-width="2.6"', inset=5.0)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{GAUGE_WIDTH:g}" height="{GAUGE_HEIGHT:g}"'
        f' viewBox="0 0 {GAUGE_WIDTH:g} {GAUGE_HEIGHT:g}" role="img"'
        f' aria-label="{escape(gauge_words(finding))}">{body}</svg>'
    )


def gauge_words(finding: Finding) -> str:
    """What a gauge shows, in words."""
    margin, limits = margin_words(finding), shown_limits(finding)
    return f"{estimate_text(finding)}, {limits}" + (f"; margin {margin}" if margin else "")


def _tip(x: float, sign: int) -> str:
    middle, back = GAUGE_HEIGHT / 2, x - sign * 5
    sides = (f"L{_short(back)} {_short(middle + step)}" for step in (-4, 4))
    corners = f"M{_short(x)} {_short(middle)} {' '.join(sides)} Z"
    return f'<path d="{corners}" fill="currentColor"/>'


def _short(value: float) -> str:
    return f"{round(value, 2) + 0.0:g}"
