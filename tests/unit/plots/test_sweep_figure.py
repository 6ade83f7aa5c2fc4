from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.lines import Line2D

from quenchbook.errors import EstimabilityError
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.sweep import SIMULATED, figure_sweep


def lines(drawing: Drawing, label: str) -> list[Line2D]:
    found = [line for axes in drawing.figure.axes for line in axes.lines]
    return [line for line in found if line.get_label() == label]


def heights(drawn: list[Line2D]) -> np.ndarray:
    return np.sort(np.concatenate([np.asarray(line.get_ydata(), dtype=float) for line in drawn]))


def test_marks_are_the_counted_chances_and_lines_those_of_the_formula(shapes: Any) -> None:
    sweep = shapes.sweep("three noises")
    drawing = figure_sweep(sweep)
    frame = sweep.frame
    margin, none = frame[frame["difference"] == 0.5], frame[frame["difference"] == 0]
    for label, found, inside in (
        (SIMULATED, "simulated_power", "simulated_inside_chance"),
        ("_formula", "power", "inside_chance"),
    ):
        wanted = np.sort(np.concatenate([margin[found], none[inside]]))
        assert np.allclose(heights(lines(drawing, label)), wanted)


def test_a_term_has_one_panel_about_its_largest_difference(shapes: Any) -> None:
    sweep = shapes.sweep("term")
    drawing = figure_sweep(sweep)
    rows = sweep.frame[sweep.frame["difference"] == sweep.target]
    assert np.allclose(heights(lines(drawing, SIMULATED)), np.sort(rows["simulated_power"]))


def test_plans_that_are_not_there_are_not_drawn(shapes: Any) -> None:
    with pytest.raises(EstimabilityError, match=r"no plan with coupons_per_load 5\. There are 8"):
        figure_sweep(shapes.sweep("one plan"), coupons=5)
