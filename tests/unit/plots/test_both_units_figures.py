"""Figures of a study in both units: words stay apart and on the page."""

from __future__ import annotations

from typing import Any

import pytest
from tests.both_units import IN_JOULES, both_units_analysis

from quenchbook.fit.curves import furnace_order, response_curves
from quenchbook.fit.noise import noise_budget
from quenchbook.plots.coupon_tiles import figure_coupon_matrix
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.delay import figure_delay
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.equal_hardness import figure_equal_hardness
from quenchbook.plots.furnace_order import figure_furnace_order
from quenchbook.plots.gauges import figure_contrasts
from quenchbook.plots.noise import figure_noise_budget
from quenchbook.plots.peaks import figure_peaks
from quenchbook.plots.tempering import figure_temper


def _draw(kind: str, name: str) -> Drawing:
    analysis = both_units_analysis(name)
    response = list(analysis.models)[-1]  # the impact energy
    model = analysis.models[response]
    asked = [own for own in analysis.findings if getattr(own, "result", None) is not None]
    hard = [own for own in asked if own.response != response]
    kinds = {
        "coupon matrix": lambda: figure_coupon_matrix(analysis.records.matrix),
        "contrasts": lambda: figure_contrasts(analysis.comparisons(response), unit="J"),
        "curves": lambda: figure_response_curves(
            response_curves(model, "austenitize", "cold_route")
        ),
        "noise": lambda: figure_noise_budget(noise_budget(model)),
        "furnace order": lambda: figure_furnace_order(furnace_order(model)),
        "peaks": lambda: figure_peaks(
            [own for own in hard if own.asks in ("peak", "peak_shift", "working_window")]
        ),
        "peaks in J": lambda: figure_peaks(
            [own for own in asked if own.asks == "peak" and own.response == response]
        ),
        "temper": lambda: figure_temper([own for own in asked if own.asks == "temper_for"][-1:]),
        "delay": lambda: figure_delay(
            next(o.result for o in asked if o.asks == "per_decade" and o.response == response)
        ),
        "equal hardness": lambda: figure_equal_hardness(
            [own for own in asked if own.asks == "equal_hardness"]
        ),
    }
    return kinds[kind]()


CASES = [
    *((kind, IN_JOULES) for kind in (
        "coupon matrix", "contrasts", "curves", "noise", "furnace order", "peaks", "peaks in J",
        "temper", "delay",
    )),
    ("equal hardness", "plane_irons"),
]  # fmt: skip


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_words_stay_apart_and_on_the_page(kind: str, name: str, shapes: Any) -> None:
    drawing = _draw(kind, name)
    assert shapes.overlapping_words(drawing) == []
    assert shapes.words_off_the_page(drawing) == []
