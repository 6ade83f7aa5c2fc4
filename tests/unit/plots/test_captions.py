"""Bold captions claim no more than was shown."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from quenchbook.plots.curve_grid import coupons_of, grid_of, groups_of, nearest, places_of
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.furnace_order import figure_furnace_order
from quenchbook.plots.noise import figure_noise_budget


def test_curves_name_their_highest_estimates_without_a_claim(shapes: Any) -> None:
    words = figure_response_curves(shapes.CURVES["plane_irons"]()).finding
    assert words.startswith("Hardness: fitted means with their intervals; highest estimates: ")
    assert words.count(" at ") == 4
    assert words.endswith("(no maximum is claimed).")
    alone = figure_response_curves(shapes.CURVES["coated_bars alone"]()).finding
    assert alone.startswith("Resistance: fitted means")


def test_curves_without_an_effect_say_so(shapes: Any) -> None:
    curves = shapes.CURVES["plane_irons"]()
    curves.effect_shown = False
    drawing = figure_response_curves(curves)
    assert drawing.finding == (
        "No effect of austenitize temperature on hardness was shown; fitted means with their "
        "intervals."
    )
    assert "No effect of austenitize temperature" in drawing.alt
    curves.effect_shown = True
    assert "no maximum is claimed" in figure_response_curves(curves).finding


@pytest.mark.parametrize(("low", "words"), [(0.0, ", but its interval reaches 0."), (0.2, ").")])
def test_the_largest_scatter_is_told_with_what_its_interval_leaves_open(
    shapes: Any, low: float, words: str
) -> None:
    rows = [("furnace_load", 12, 0.5, low, 0.9), ("coupon", 96, 0.24, 0.17, 0.32)]
    budget = shapes.budget_of(rows, shapes.STRATUM_WORDS, "hardness", "HRC")
    finding = figure_noise_budget(budget).finding
    assert "furnace load has the largest estimate: standard deviation 0.50" in finding
    assert finding.endswith(words)


def test_no_load_stands_out_unless_its_band_leaves_the_usual_scatter(shapes: Any) -> None:
    order = shapes.ORDERS["plane_irons"]()
    order.loads["mean"] = 0.1
    order.loads.loc[3, "mean"] = 0.5
    order.loads["conf_low"], order.loads["conf_high"] = (
        order.loads["mean"] - 0.3,
        order.loads["mean"] + 0.3,
    )
    assert figure_furnace_order(order).finding.startswith(
        "No furnace load stands out: furnace load 4 lies farthest, +0.50\u00a0HRC (0.20 to 0.80)"
    )
    order.loads.loc[3, ["mean", "conf_low", "conf_high"]] = [1.0, 0.7, 1.3]
    assert figure_furnace_order(order).finding.startswith(
        "Furnace load 4 lies high, beyond the usual scatter; furnace loads scatter by 0.43"
    )


@pytest.mark.parametrize("name", ["plane_irons", "coated_bars"])
def test_loads_of_a_level_stay_within_a_quarter_of_its_room(shapes: Any, name: str) -> None:
    curves = shapes.CURVES[name]()
    groups = groups_of(curves)
    places = places_of(curves, 2)
    grid = grid_of(curves, groups, places)
    room = min(np.diff(np.sort(places.marks))) / (grid.x_limits[1] - grid.x_limits[0]) * grid.width
    for group in groups:
        own = coupons_of(curves, group)
        most = own.groupby(nearest(places.of(own["x"]), places))["furnace_load"].nunique().max()
        # 2 pt: the edges of a panel are known only after the step
        assert grid.step * (most - 1) / 2 <= 0.25 * room + 2.0
