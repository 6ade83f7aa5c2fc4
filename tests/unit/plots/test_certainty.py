"""Figure of what certainty costs: every plan a mark, the plan ringed, the margin a calm zone."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from quenchbook.plots.callouts import Box, Callout, draw_callouts
from quenchbook.plots.certainty import PLANS, figure_certainty, log_ticks
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.sheet import INNER, MARGIN, WIDTH, Sheet
from quenchbook.plots.style import CALM, GHOST, INK, drawing_rules
from quenchbook.study.prices import Prices

HOSTILE = 'pounds & "shillings" <b>$x^2$</b> and something much longer than any currency 🔥'


def lines(drawing: Drawing, label: str) -> list[Line2D]:
    found = [line for axes in drawing.figure.axes for line in axes.lines]
    return [line for line in found if line.get_label() == label]


def words(drawing: Drawing) -> list[str]:
    return [text.get_text() for text in drawing.figure.findobj(Text) if text.get_text()]


def drawn(drawing: Drawing, colour: str) -> int:
    """Marks filled with ink, or edged as beaten ones."""
    own = [
        line
        for line in lines(drawing, PLANS)
        if colour in (line.get_markerfacecolor(), line.get_markeredgecolor())
    ]
    return sum(len(line.get_xdata()) for line in own)  # type: ignore[arg-type]


def test_every_plan_is_a_mark_filled_where_nothing_beats_it(shapes: Any) -> None:
    costs = shapes.CERTAINTIES["plane_irons"]()
    drawing = figure_certainty(costs)
    assert shapes.mark_count(drawing, PLANS) == len(costs.frame)
    assert drawn(drawing, INK) == costs.frame["unbeaten"].sum()
    assert drawn(drawing, GHOST) == (~costs.frame["unbeaten"]).sum()


def test_steps_go_through_the_unbeaten_plans(shapes: Any) -> None:
    costs = shapes.CERTAINTIES["plane_irons"]()
    ((steps,),) = [lines(figure_certainty(costs), "_steps")]
    best = costs.unbeaten()
    assert np.allclose(steps.get_xdata(), np.log10(best["cost"]))
    assert np.allclose(steps.get_ydata(), best["detectable_difference"])
    assert (np.diff(np.asarray(steps.get_ydata(), dtype=float)) < 0).all()


@pytest.mark.parametrize(("name", "rings"), [("plane_irons", 1), ("coated_bars", 0)])
def test_the_plan_of_the_study_is_ringed_and_named(shapes: Any, name: str, rings: int) -> None:
    costs = shapes.CERTAINTIES[name]()
    drawing = figure_certainty(costs)
    found = lines(drawing, "_ring")
    assert len(found) == rings
    assert sum(text.startswith("planned: ") for text in words(drawing)) == rings
    if rings:
        assert found[0].get_xdata() == pytest.approx(np.log10(costs.own["cost"]))
        assert found[0].get_ydata() == pytest.approx(costs.own["detectable_difference"])


@pytest.mark.parametrize("name", ["plane_irons", "ratios", "beaten plan in hours"])
def test_three_or_four_plans_are_named(shapes: Any, name: str) -> None:
    named = [text for text in words(figure_certainty(shapes.CERTAINTIES[name]())) if "×" in text]
    assert 3 <= len(named) <= 4


@pytest.mark.parametrize("name", ["plane_irons", "three plans", "ratios", "beaten plan in hours"])
def test_the_calm_zone_runs_from_zero_to_the_margin(shapes: Any, name: str) -> None:
    costs = shapes.CERTAINTIES[name]()
    zone = calm_zone(figure_certainty(costs))
    margin = 100 * np.expm1(costs.margin) if name == "ratios" else costs.margin
    assert zone.get_y() == 0.0
    assert zone.get_height() == pytest.approx(margin)


def calm_zone(drawing: Drawing) -> Rectangle:
    colour = tuple(int(CALM[place : place + 2], 16) / 255 for place in (1, 3, 5))
    (zone,) = (
        box
        for box in drawing.figure.findobj(Rectangle)
        if isinstance(box, Rectangle) and np.allclose(box.get_facecolor()[:3], colour)
    )
    return zone


def test_a_margin_above_all_plans_fills_the_panel_and_has_no_edge(shapes: Any) -> None:
    costs = shapes.CERTAINTIES["margin above all"]()
    drawing = figure_certainty(costs)
    assert calm_zone(drawing).get_height() >= costs.frame["detectable_difference"].max()
    assert lines(drawing, "_edge") == []
    assert "all smaller than the margin, 9.0\u00a0HRC" in words(drawing)


def test_without_prices_the_axis_is_work_and_says_so(shapes: Any) -> None:
    drawing = figure_certainty(shapes.CERTAINTIES["beaten plan in hours"]())
    assert "Work, hours (no price is told)" in words(drawing)
    assert "for no more work" in drawing.reading
    assert drawing.alt.endswith("The plan itself is beaten.")


def test_what_has_no_price_is_not_called_the_cost(shapes: Any) -> None:
    drawing = figure_certainty(shapes.CERTAINTIES["three plans"]())
    assert "Cost of what has a price, EUR" in words(drawing)
    assert "Cost, EUR" in words(figure_certainty(shapes.CERTAINTIES["plane_irons"]()))


def test_ratios_are_drawn_in_per_cent(shapes: Any) -> None:
    costs = shapes.CERTAINTIES["ratios"]()
    drawing = figure_certainty(costs)
    assert "Difference found 8 times in 10, %" in words(drawing)
    shown = np.concatenate([line.get_ydata() for line in lines(drawing, PLANS)])
    wanted = 100 * np.expm1(costs.frame["detectable_difference"].to_numpy())
    kept = wanted[wanted <= shown.max() + 1e-9]
    assert np.allclose(np.sort(shown), np.sort(kept))


def test_plans_far_above_the_others_are_left_out_and_counted(shapes: Any) -> None:
    costs = shapes.CERTAINTIES["plane_irons"]()
    costs.frame.loc[0, "detectable_difference"] = 40.0
    drawing = figure_certainty(costs)
    assert drawing.notes[-1] == "1 plan not drawn: finds larger differences only."
    assert shapes.mark_count(drawing, PLANS) == len(costs.frame) - 1


def test_a_hostile_currency_changes_words_only(shapes: Any) -> None:
    costs = dataclasses.replace(
        shapes.CERTAINTIES["plane_irons"](), prices=Prices(currency=HOSTILE, coupon=4.0)
    )
    drawing = figure_certainty(costs)
    assert shapes.overlapping_words(drawing) == []
    assert shapes.words_off_the_page(drawing) == []
    assert "<b>" not in drawing._repr_mimebundle_()["text/html"]


@pytest.mark.parametrize(
    ("low", "high", "shown"),
    [
        (2.2, 3.4, ["200", "500", "1000", "2000"]),
        (2.6, 2.9, ["400", "500", "700"]),
        (2.82, 2.86, ["680", "700", "720"]),
        (-0.5, 1.5, ["0.5", "1", "2", "5", "10", "20"]),
    ],
)
def test_ticks_of_a_log_axis_are_round(low: float, high: float, shown: list[str]) -> None:
    assert [text for _, text in log_ticks(low, high, 300.0)] == shown


# --- callouts ----------------------------------------------------------------------------------


def test_callouts_hide_neither_marks_nor_each_other() -> None:
    rng = np.random.default_rng(4)
    marks = rng.uniform([20.0, 20.0], [300.0, 200.0], (25, 2))
    callouts = [Callout(x, y, ("8 loads × 8 coupons", "3 indents")) for x, y in marks[:3]]
    room = Box(MARGIN, 5.0, MARGIN + INNER, 230.0)
    with drawing_rules():
        boxes = draw_callouts(
            Sheet(240.0), callouts, room, marks=marks, path=np.zeros((0, 2)),
        )  # fmt: skip
    assert len(boxes) == 3
    assert not any(a.touches(b) for a in boxes for b in boxes if a is not b)
    assert all(room.left <= box.left and box.right <= room.right for box in boxes)
    hidden = [int(box.holds(marks).sum()) for box in boxes]
    assert sum(hidden) <= 2  # a crowd of 25 may leave no place that is quite free


def test_callouts_never_stand_on_the_line() -> None:
    path = np.column_stack([np.arange(0.0, WIDTH, 3.0), np.full(111, 100.0)])
    room = Box(0.0, 0.0, WIDTH, 200.0)
    with drawing_rules():
        (box,) = draw_callouts(
            Sheet(200.0), [Callout(160.0, 100.0, ("words",))], room,
            marks=np.array([[160.0, 100.0]]), path=path,
        )  # fmt: skip
    assert not box.holds(path).any()


def test_words_without_a_place_are_left_out() -> None:
    with drawing_rules():
        boxes = draw_callouts(
            Sheet(40.0), [Callout(20.0, 20.0, ("far too many words for so small a room",))],
            Box(0.0, 0.0, 40.0, 40.0), marks=np.zeros((0, 2)), path=np.zeros((0, 2)),
        )  # fmt: skip
    assert boxes == []
