"""Every coupon is a mark, every load is a load, every level has its own mark."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.plots.coupon_tiles import figure_coupon_matrix
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.furnace_order import figure_furnace_order
from quenchbook.plots.noise import figure_noise_budget
from quenchbook.plots.style import INK, ROUTE_STYLES, STRAW, TIE_PT, mark_styles
from quenchbook.study.definition import Layout
from quenchbook.study.factors import Factor

HOSTILE = 'a very long and windy name <b>$x^2$</b> & "שלום" 🔥'


def written(shapes: Any, drawing: Drawing) -> list[str]:
    return [text for text, _ in shapes.words_of(drawing)]


def check_words(shapes: Any, drawing: Drawing) -> None:
    assert shapes.overlapping_words(drawing) == []
    assert shapes.words_off_the_page(drawing) == []


def named_study_matrix(shapes: Any) -> CouponMatrix:
    """Named furnace factor, six long-named finishes, twelve coupons a load."""
    words = {"a": HOSTILE, "b": HOSTILE + " again", "c": "x" * 90}
    factors = (
        Factor("atmosphere", "atmosphere", ("vacuum", "nitrogen flow", "salt bath"),
               set_for="furnace_load"),
        Factor("surface_finish", "surface_finish", tuple("abcdef"), words=words),
    )  # fmt: skip
    study = dataclasses.replace(shapes.plane_irons_study(), factors=factors, layout=Layout(6, 12))
    return coupon_matrix(study, seed=2)


def many_loads_matrix(shapes: Any, loads: int, per_day: int) -> CouponMatrix:
    layout = Layout(loads, 8, per_day, 8)
    return coupon_matrix(dataclasses.replace(shapes.plane_irons_study(), layout=layout), seed=1)


# --- coupon matrix -----------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "coupons"), [("plane_irons", 96), ("coated_bars", 24)])
def test_each_coupon_is_a_tile_with_a_mark(shapes: Any, name: str, coupons: int) -> None:
    drawing = figure_coupon_matrix(shapes.MATRICES[name]())
    assert shapes.mark_count(drawing) == coupons
    assert drawing.data["coupon"].nunique() == coupons


def test_the_hotter_temper_is_framed_and_nothing_else(shapes: Any) -> None:
    matrix = shapes.MATRICES["plane_irons"]()
    patches = figure_coupon_matrix(matrix).figure.axes[0].patches
    straw = [p for p in patches if isinstance(p, Rectangle) and _hex(p.get_facecolor()) == STRAW]
    assert len(straw) == (matrix.frame["temper_c"] == 175).sum() + 1  # and one in the key
    assert {_hex(patch.get_edgecolor()) for patch in straw} == {INK}


def _hex(colour: Any) -> str:
    from matplotlib.colors import to_hex

    return to_hex(colour).upper()


def test_strokes_count_the_delay_and_are_absent_without_a_cold_step(shapes: Any) -> None:
    matrix = shapes.MATRICES["plane_irons"]()
    lines = figure_coupon_matrix(matrix).figure.axes[0].lines
    strokes = sum(line.get_linewidth() == 1.3 for line in lines)
    levels = matrix.frame["delay_minutes"].map({0.0: 1, 60.0: 2, 1440.0: 3})
    assert strokes == levels.sum() + 1 + 2 + 3  # and the key


def test_words_of_the_study_are_used(shapes: Any) -> None:
    drawing = figure_coupon_matrix(shapes.MATRICES["coated_bars"]())
    assert "Furnace heats 1 to 6 in time order; furnace temp, °C" in written(shapes, drawing)
    assert "24 bars in 6 furnace heats" in drawing.alt
    assert drawing.finding == "Each furnace heat holds one bar of each coating."


def test_days_stand_apart_with_their_loads(shapes: Any) -> None:
    texts = written(shapes, figure_coupon_matrix(shapes.MATRICES["plane_irons"]()))
    assert [text for text in texts if text.startswith("Day")] == ["Day 1", "Day 2", "Day 3"]


@pytest.mark.parametrize(("loads", "per_day"), [(28, 4), (16, 1), (20, 20)])
def test_more_than_14_loads_go_on_in_the_next_row(shapes: Any, loads: int, per_day: int) -> None:
    matrix = many_loads_matrix(shapes, loads, per_day)
    drawing = figure_coupon_matrix(matrix)
    check_words(shapes, drawing)
    assert shapes.mark_count(drawing) == loads * 8
    height = figure_coupon_matrix(shapes.MATRICES["plane_irons"]()).figure.get_figheight()
    assert drawing.figure.get_figheight() > 1.5 * height


def test_a_load_with_fewer_coupons_is_named_as_unusual(shapes: Any) -> None:
    matrix = shapes.MATRICES["plane_irons"]()
    frame = matrix.frame.drop(index=3).reset_index(drop=True)
    drawing = figure_coupon_matrix(dataclasses.replace(matrix, frame=frame))
    assert drawing.alt.endswith("Furnace load 1 holds 7.")
    assert drawing.finding == "A furnace load holds one to two coupons of each cold route."


@pytest.mark.filterwarnings("error")
def test_long_and_hostile_names_stay_readable(shapes: Any) -> None:
    matrix = named_study_matrix(shapes)
    drawing = figure_coupon_matrix(matrix)
    check_words(shapes, drawing)
    texts = " ".join(written(shapes, drawing))
    assert "<b>$x^2$</b> &" in texts
    assert "&lt;b&gt;$x^2$&lt;/b&gt; &amp;" in drawing.svg()
    assert "a vacuum, b nitrogen flow, c salt bath" in texts


# --- marks of levels ---------------------------------------------------------------------------


def test_routes_differ_without_colour(shapes: Any) -> None:
    shapes_of_routes = {style.marker for style in ROUTE_STYLES.values()}
    dashes = {str(style.dash) for style in ROUTE_STYLES.values()}
    assert len(shapes_of_routes) == len(dashes) == 4
    route = shapes.plane_irons_study().factor("cold_route")
    assert mark_styles(route) == ROUTE_STYLES


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 9, 30])
def test_levels_of_other_factors_have_different_ink_marks(count: int) -> None:
    factor = Factor("coating", "coating", tuple(f"C{i}" for i in range(count)))
    styles = list(mark_styles(factor).values())
    looks = {(str(s.marker), s.face, s.half, s.dot) for s in styles}
    assert len(looks) == count
    assert {style.colour for style in styles} == {INK}


# --- response curves ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "panels", "coupons"),
    [("plane_irons", 4, 96), ("plane_irons by delay", 3, 72), ("coated_bars", 4, 24),
     ("coated_bars alone", 1, 24)],
)  # fmt: skip
def test_each_coupon_is_a_mark_in_one_panel(
    shapes: Any, name: str, panels: int, coupons: int
) -> None:
    drawing = figure_response_curves(shapes.CURVES[name]())
    assert shapes.mark_count(drawing) == coupons
    assert len(drawing.figure.axes) == panels + 1
    assert (drawing.data["what"] == "coupon").sum() == coupons


def test_coupons_of_a_load_are_tied_and_loads_stand_apart(shapes: Any) -> None:
    drawing = figure_response_curves(shapes.CURVES["plane_irons"]())
    for axes in drawing.figure.axes[1:]:
        ties = [
            line for line in axes.lines if line.get_linewidth() == TIE_PT and line.get_zorder() == 4
        ]
        places = [float(line.get_xdata()[0]) for line in ties]
        assert len(places) == len({round(place, 3) for place in places}) == 12


def test_ties_are_explained_only_where_there_are_some(shapes: Any) -> None:
    tied = figure_response_curves(shapes.CURVES["plane_irons"]())
    single = figure_response_curves(shapes.CURVES["coated_bars"]())
    assert "ties the coupons of one furnace load" in tied.reading
    assert "coupons of one furnace load, their mean" in written(shapes, tied)
    assert "ties" not in single.reading


def test_loads_of_one_temperature_stand_in_time_order(shapes: Any) -> None:
    curves = shapes.CURVES["plane_irons"]()
    axes = figure_response_curves(curves).figure.axes[1]
    (marks,) = [line for line in axes.lines if line.get_label() == shapes.COUPONS]
    own = curves.coupons[(curves.coupons["group"] == "none") & (curves.coupons["x"] == 970.0)]
    placed = dict(zip(marks.get_ydata(), marks.get_xdata(), strict=True))
    in_order = own.sort_values("furnace_load", kind="stable")
    x = [placed[value] for value in in_order["value"]]
    assert x == sorted(x)
    assert x[0] < 970 < x[-1]


def test_panels_share_their_axes_and_show_the_others_as_ghosts(shapes: Any) -> None:
    panels = figure_response_curves(shapes.CURVES["plane_irons"]()).figure.axes[1:]
    assert len({panel.get_xlim() for panel in panels}) == 1
    assert len({panel.get_ylim() for panel in panels}) == 1
    ghosts = [sum(line.get_zorder() == 1.5 for line in panel.lines) for panel in panels]
    assert ghosts == [3, 3, 3, 3]


def test_band_of_a_curve_ends_at_the_levels_tried(shapes: Any) -> None:
    curves = shapes.CURVES["plane_irons"]()
    for axes in figure_response_curves(curves).figure.axes[1:]:
        (band,) = axes.collections
        x = band.get_paths()[0].vertices[:, 0]
        assert (x.min(), x.max()) == (940.0, 1030.0)


def test_no_mark_or_band_leaves_its_panel(shapes: Any) -> None:
    for make in shapes.CURVES.values():
        for axes in figure_response_curves(make()).figure.axes[1:]:
            marks = [line.get_xydata() for line in axes.lines if line.get_label() == shapes.COUPONS]
            bands = [band.get_paths()[0].vertices for band in axes.collections]
            places = np.concatenate([*marks, *bands])
            limits = np.array([axes.get_xlim(), axes.get_ylim()])
            assert (places >= limits[:, 0]).all()
            assert (places <= limits[:, 1]).all()


def test_levels_far_apart_stand_one_step_apart_and_say_so(shapes: Any) -> None:
    drawing = figure_response_curves(shapes.CURVES["plane_irons by delay"]())
    assert "Levels of delay stand one step apart." in drawing.notes
    assert "1\xa0day" in written(shapes, drawing)


def test_a_stray_load_is_named(shapes: Any) -> None:
    curves = shapes.CURVES["plane_irons"]()
    curves.coupons.loc[curves.coupons["furnace_load"] == 6, "value"] -= 4.0
    assert figure_response_curves(curves).alt.endswith("Furnace load 6 lies low.")


def test_the_level_of_the_band_is_said_only_when_it_is_known(shapes: Any) -> None:
    curves = shapes.CURVES["plane_irons"]()
    assert "%" not in figure_response_curves(curves).reading
    curves.confidence = 0.9
    assert "90\xa0% interval" in figure_response_curves(curves).reading


@pytest.mark.filterwarnings("error")
def test_panels_with_long_names_stay_readable(shapes: Any) -> None:
    matrix = named_study_matrix(shapes)
    curves = shapes.curves_of(
        matrix, "atmosphere", "surface_finish", is_curve=False, quantity="hardness", unit="HRC"
    )
    drawing = figure_response_curves(curves)
    check_words(shapes, drawing)
    assert shapes.mark_count(drawing) == len(matrix.frame)


# --- noise budget ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["plane_irons", "coated_bars"])
def test_each_deviation_is_drawn(shapes: Any, name: str) -> None:
    budget = shapes.BUDGETS[name]()
    drawing = figure_noise_budget(budget)
    expected = sum(len(values) for values in budget.deviations.values())
    assert shapes.mark_count(drawing, "deviations") == expected


def test_a_zero_standard_deviation_is_one_line_with_its_words(shapes: Any) -> None:
    drawing = figure_noise_budget(shapes.BUDGETS["plane_irons"]())
    assert "0\xa0HRC (0 to 0.31)" in written(shapes, drawing)
    estimates = [
        [line.get_xdata()[0] for line in axes.lines if line.get_zorder() == 6]
        for axes in drawing.figure.axes[1:]
    ]
    assert [len(places) for places in estimates] == [2, 1, 2, 2]
    assert estimates[1] == [0.0]
    assert drawing.alt.endswith("The estimate for cold batch is zero.")


def test_unknown_limits_are_said(shapes: Any) -> None:
    rows = [("furnace_load", 12, 0.4, np.nan, np.nan), ("coupon", 96, 0.2, 0.1, 0.3)]
    drawing = figure_noise_budget(shapes.budget_of(rows, shapes.STRATUM_WORDS, "hardness", "HRC"))
    assert "0.40\xa0HRC (limits not known)" in written(shapes, drawing)
    assert drawing.figure.axes[1].patches == [] or len(drawing.figure.axes[1].patches) == 0


def test_a_limit_beyond_the_page_is_an_arrow_and_its_number(shapes: Any) -> None:
    drawing = figure_noise_budget(shapes.BUDGETS["coated_bars"]())
    arrows = [patch for patch in drawing.figure.axes[0].patches if not isinstance(patch, Rectangle)]
    assert len(arrows) == 2
    assert "12 (0 to 130)" in written(shapes, drawing)


def test_shrinkage_is_said_once(shapes: Any) -> None:
    budget = shapes.BUDGETS["plane_irons"]()
    assert sum("shrunken" in note for note in figure_noise_budget(budget).notes) == 1
    budget.notes = ("All deviations are shrunken estimates.",)
    assert figure_noise_budget(budget).notes == budget.notes


def test_long_stratum_words_stay_readable(shapes: Any) -> None:
    rows = [("furnace_load", 12, 0.43, 0.2, 0.67), ("coupon", 9600, 0.24, 0.17, 0.32)]
    words = {"furnace_load": HOSTILE, "coupon": "a coupon of the second kind, cut from a flat bar"}
    drawing = figure_noise_budget(shapes.budget_of(rows, words, HOSTILE, "HRC"))
    check_words(shapes, drawing)
    assert len(drawing.alt) <= 400


# --- furnace order -----------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "coupons"), [("plane_irons", 96), ("coated_bars", 24)])
def test_each_coupon_is_a_mark_over_its_load(shapes: Any, name: str, coupons: int) -> None:
    drawing = figure_furnace_order(shapes.ORDERS[name]())
    assert shapes.mark_count(drawing) == len(drawing.data) == coupons


def test_loads_outside_the_usual_scatter_are_named(shapes: Any) -> None:
    order = shapes.ORDERS["plane_irons"]()
    assert figure_furnace_order(order).alt.endswith("Furnace loads 5 and 12 lie low.")
    order.load_sd = 0.0
    drawing = figure_furnace_order(order)
    assert drawing.alt.endswith("Nothing unusual.")
    assert not [text for text in written(shapes, drawing) if text.startswith("usual scatter")]


@pytest.mark.parametrize(("loads", "per_day"), [(28, 4), (16, 1), (40, 2)])
def test_many_loads_stay_readable(shapes: Any, loads: int, per_day: int) -> None:
    matrix = many_loads_matrix(shapes, loads, per_day)
    drawing = figure_furnace_order(shapes.order_of(matrix, 1.0, "hardness", "HRC"))
    check_words(shapes, drawing)
    assert shapes.mark_count(drawing) == loads * 8


def test_words_of_steps_become_letters_when_they_do_not_fit(shapes: Any) -> None:
    order = shapes.order_of(many_loads_matrix(shapes, 28, 4), 1.0, "hardness", "HRC")
    texts = written(shapes, figure_furnace_order(order))
    assert "steps: a 940\xa0°C, b 970\xa0°C, c 1000\xa0°C, d 1030\xa0°C" in texts
