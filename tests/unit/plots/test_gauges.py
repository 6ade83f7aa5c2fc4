"""Contrasts: order, glyphs, numbers, and the small inline pictures of report rows."""

from __future__ import annotations

import itertools
import math
import xml.etree.ElementTree as ET
from typing import Any

import numpy as np
import pytest

from quenchbook.errors import ReportError
from quenchbook.plots.gauges import ORDER, figure_contrasts
from quenchbook.plots.glyphs import gauge_limits, gauge_svg, glyph_svg

VERDICTS = ("exceeds", "differs", "slight", "equivalent", "undecided")


def written(shapes: Any, drawing: Any) -> list[str]:
    return [text for text, _ in shapes.words_of(drawing)]


def test_rows_go_by_verdict_and_then_as_given(shapes: Any) -> None:
    drawing = figure_contrasts(shapes.hardness_findings(), unit="HRC")
    assert drawing.data["verdict"].tolist() == ["exceeds", "exceeds", *VERDICTS[1:]]
    assert drawing.data["label"].tolist()[:2] == ["dry ice at 1030 °C", "dry ice, −78 °C"]


def test_verdicts_are_those_of_the_findings() -> None:
    from quenchbook.findings.verdicts import VERDICTS as DECLARED

    assert ORDER == DECLARED


def test_each_row_has_its_word_and_numbers(shapes: Any) -> None:
    texts = written(shapes, figure_contrasts(shapes.hardness_findings(), unit="HRC"))
    assert [text for text in texts if text in VERDICTS] == ["exceeds", "exceeds", *VERDICTS[1:]]
    assert {"+0.94\xa0HRC", "0.69 to 1.19", "against no cold step"} <= set(texts)


def test_glyphs_of_verdicts_differ_in_the_figure(shapes: Any) -> None:
    looks = {}
    for verdict in VERDICTS:
        own = shapes.finding_of(verdict, "a", "b", 0.7, 0.1)
        patches = figure_contrasts([own], unit="HRC").figure.axes[0].patches
        first = next(i for i, patch in enumerate(patches) if patch.get_label() == verdict)
        glyph = patches[first : first + 3]
        looks[verdict] = [
            (type(p).__name__, p.get_path().vertices.round(2).tolist()) for p in glyph
        ]
    for a, b in itertools.combinations(VERDICTS, 2):
        assert looks[a] != looks[b]


@pytest.mark.parametrize("verdict", ["exceeds", "differs", "slight"])
def test_a_triangle_points_along_the_sign(shapes: Any, verdict: str) -> None:
    def tip(estimate: float) -> float:
        own = shapes.finding_of(verdict, "a", "b", estimate, 0.1)
        patches = figure_contrasts([own], unit="HRC").figure.axes[0].patches
        corners = next(p for p in patches if p.get_label() == verdict).get_xy()
        return float(corners[1, 0] - corners[0, 0])

    assert tip(0.7) > 0 > tip(-0.7)


@pytest.mark.parametrize("verdict", VERDICTS)
def test_both_intervals_are_labelled_and_drawn_where_the_inner_one_decides(
    shapes: Any, verdict: str
) -> None:
    own = shapes.finding_of(verdict, "a", "b", 0.1, 0.25)
    inner = verdict in ("slight", "equivalent")
    drawing = figure_contrasts([own], unit="HRC")
    texts = written(shapes, drawing)
    assert ("95\xa0%\xa0−0.15\xa0to\xa0+0.35" in texts) == inner
    assert ("90\xa0%\xa0−0.11\xa0to\xa0+0.31" in texts) == inner
    assert ("−0.15 to +0.35" in texts) == (not inner)
    assert ("Short inner strokes: the 90\xa0% interval" in drawing.reading) == inner
    svg = gauge_svg(own)
    assert svg.count('stroke-width="0.9"/>') == (2 if inner else 0)
    assert ("90\xa0%" in svg) == inner


def test_the_caption_says_fixed_with_the_plan_only_of_what_was_declared(shapes: Any) -> None:
    declared = shapes.finding_of("exceeds", "a", "b", 0.94, 0.25, declared=True, change="")
    late = shapes.finding_of(
        "exceeds", "c", "d", 0.9, 0.2, declared=False, change="New: exploratory."
    )
    words = "fixed when the plan was made"
    assert words in figure_contrasts([declared], unit="HRC").reading
    both = figure_contrasts([declared, late], unit="HRC")
    assert words not in both.reading
    assert "Exploratory, not declared as it stands: c against d." in both.notes


def test_each_difference_inside_a_load_is_a_dot(shapes: Any) -> None:
    findings = shapes.hardness_findings()
    drawing = figure_contrasts(findings, unit="HRC")
    assert shapes.mark_count(drawing, "inside") == sum(own.inside.size for own in findings)


def test_log_ratios_are_shown_in_per_cent(shapes: Any) -> None:
    texts = written(shapes, figure_contrasts(shapes.impact_findings(), unit="J"))
    assert "Difference in impact energy, %" in texts
    assert "−16\xa0%" in texts
    assert "margin of 15\xa0% either way (−13\xa0% to +15\xa0%)" in texts
    assert {"−20", "0", "+20"} <= set(texts)


def test_an_undecided_row_says_what_would_decide_it(shapes: Any) -> None:
    notes = figure_contrasts(shapes.hardness_findings(), unit="HRC").notes
    assert "Freezer at 970 °C against no cold step: More furnace loads would settle it." in notes


def test_tests_of_terms_are_left_out_with_a_note(shapes: Any) -> None:
    from types import SimpleNamespace

    term = SimpleNamespace(key="coating", verdict="differs")
    drawing = figure_contrasts([*shapes.hardness_findings(), term], unit="HRC")
    assert len(drawing.data) == 6
    assert drawing.notes[-1] == "1 test of whole terms not drawn."
    with pytest.raises(ReportError, match="no comparison to draw"):
        figure_contrasts([term], unit="HRC")


def test_findings_of_two_responses_are_refused(shapes: Any) -> None:
    both = [*shapes.hardness_findings(), *shapes.impact_findings()]
    with pytest.raises(ReportError, match="one figure for each response"):
        figure_contrasts(both, unit="HRC")


def test_unknown_and_open_limits_and_long_names_stay_readable(shapes: Any) -> None:
    hostile = 'a very long and windy name of a level <b>$x$</b> & "שלום"'
    findings = [
        shapes.finding_of("exceeds", hostile, hostile, -2.0, 0.4, inside=np.array([-1.0])),
        shapes.finding_of("undecided", "no interval", "x", 0.2, math.nan),
        shapes.finding_of("undecided", "open", "against x", 0.2, math.inf),
        shapes.finding_of("differs", "x" * 120, "", 1.0, 0.4, margin=None),
        shapes.finding_of("slight", "wide", "y", 123456.7, 0.01, margin=1e6),
    ]
    drawing = figure_contrasts(findings, unit="HRC")
    assert shapes.overlapping_words(drawing) == []
    assert shapes.words_off_the_page(drawing) == []
    assert "limits not known" in written(shapes, drawing)
    assert written(shapes, drawing).count("against x") == 2


# --- inline SVG --------------------------------------------------------------------------------


@pytest.mark.parametrize("verdict", VERDICTS)
@pytest.mark.parametrize("sign", [-1, 1])
def test_glyph_takes_the_colour_of_the_text(verdict: str, sign: int) -> None:
    svg = glyph_svg(verdict, sign)
    assert ET.fromstring(svg).get("aria-hidden") == "true"
    assert "currentColor" in svg
    assert "#" not in svg


def test_glyphs_of_verdicts_differ_and_triangles_turn() -> None:
    glyphs = {(verdict, sign): glyph_svg(verdict, sign) for verdict in VERDICTS for sign in (-1, 1)}
    assert len(set(glyphs.values())) == 3 * 2 + 2
    assert glyphs["undecided", -1] == glyphs["undecided", 1]


def test_a_word_that_is_no_verdict_has_no_glyph() -> None:
    with pytest.raises(ValueError, match="'pass' is not a verdict"):
        glyph_svg("pass", 1)


def test_gauge_shows_interval_margin_and_zero(shapes: Any) -> None:
    svg = gauge_svg(shapes.finding_of("exceeds", "a", "b", 0.94, 0.25))
    root = ET.fromstring(svg)
    assert root.get("role") == "img"
    assert root.get("aria-label") == "+0.94\xa0HRC, 0.69 to 1.19; margin 0.5\xa0HRC"
    assert len(root) == 2 + 2 + 1 + 1 + 2  # zone and band, edges, zero line, estimate, ends
    assert "#" not in svg


def test_gauges_of_one_scale_hold_their_margin_at_one_place(shapes: Any) -> None:
    findings = shapes.hardness_findings()
    limits = gauge_limits(findings)
    zones = {next(iter(ET.fromstring(gauge_svg(own, limits=limits)))).get("x") for own in findings}
    assert len(zones) == 1


def test_gauge_escapes_a_unit_of_an_author(shapes: Any) -> None:
    svg = gauge_svg(shapes.finding_of("exceeds", "a", "b", 0.94, 0.25, unit='"><script>'))
    assert "<script" not in svg
    assert "script" in (ET.fromstring(svg).get("aria-label") or "")


def test_gauge_past_its_scale_ends_in_an_arrow(shapes: Any) -> None:
    own = shapes.finding_of("undecided", "a", "b", 0.2, 3.0)
    inside, past = gauge_svg(own), gauge_svg(own, limits=(-1.0, 1.0))
    assert "L" not in inside
    assert past.count("L") == 4
