"""Bars are to scale and name every coupon."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import Rectangle

from quenchbook.plots.bar_drawing import figure_bars
from quenchbook.plots.style import INK


def cuts(drawing: Any) -> list[Rectangle]:
    return [
        patch
        for patch in drawing.figure.findobj(Rectangle)
        if to_hex(patch.get_facecolor()).upper() == INK.upper() and patch.get_height() == 30.0
    ]


def test_every_coupon_is_named_in_its_piece(shapes: Any) -> None:
    found = shapes.CUT_LISTS["two lengths"]()
    words = [text for text, _ in shapes.words_of(figure_bars(found))]
    codes = found.frame.loc[found.frame["coupon"] != "", "coupon"]
    assert len(codes) == 48
    assert all(words.count(code) == 1 for code in codes)
    assert sum(word.startswith("Bar ") for word in words) == len(found.bars)


def test_pieces_are_drawn_to_scale(shapes: Any) -> None:
    found = shapes.bars_of((500.0,), (4, 25.0, "coupon"), (2, 100.0, "spare"), kerf=4.0)
    drawing = figure_bars(found)
    edges = np.unique(np.round([patch.get_x() for patch in cuts(drawing)], 6))
    places = np.array([*found.frame["from_mm"] - 4.0, found.frame["to_mm"].iloc[-1]])
    scale = np.diff(edges) / np.diff(places)
    assert scale == pytest.approx(scale[0])


def test_a_long_bar_goes_on_in_another_line_with_each_piece_once(shapes: Any) -> None:
    found = shapes.CUT_LISTS["long bars, long words"]()
    words = [text for text, _ in shapes.words_of(figure_bars(found))]
    codes = [code for code in found.frame["coupon"] if code]
    assert all(words.count(code) == 1 for code in codes)
    assert sum(word.startswith("Bar ") for word in words) == len(found.bars) < len(codes) / 40


def test_words_that_do_not_fit_stand_in_the_key(shapes: Any) -> None:
    words = [
        text
        for text, _ in shapes.words_of(figure_bars(shapes.CUT_LISTS["long bars, long words"]()))
    ]
    assert words.count("a") == 2
    assert any(word.startswith("a  spare share") for word in words)


def test_the_caption_says_whether_it_is_proven(shapes: Any) -> None:
    drawing = figure_bars(shapes.CUT_LISTS["two lengths"]())
    assert drawing.finding.endswith("4300\u00a0mm, the shortest stock, proven.")
    assert len(drawing.to_frame()) == 96
