"""Figure at equal hardness: every coupon, the range both reached, values in the margin."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from quenchbook.errors import ReportError
from quenchbook.plots.equal_hardness import figure_equal_hardness


@pytest.fixture(scope="module")
def finding(shapes: Any) -> Any:
    return shapes.same_hardness_finding(1, 0.0)


def test_every_coupon_of_both_levels_is_drawn_once(shapes: Any, finding: Any) -> None:
    drawing = figure_equal_hardness([finding])
    assert shapes.mark_count(drawing) == len(finding.result.coupons) == 72


def test_common_range_and_stated_hardness_are_named(shapes: Any, finding: Any) -> None:
    words = {text for text, _ in shapes.words_of(figure_equal_hardness([finding]))}
    at = f"{finding.result.at:.1f}"
    assert "hardness both reached" in words
    assert {f"compared at {at}", f"at {at}"} <= words


def test_key_gives_values_at_the_stated_hardness(shapes: Any, finding: Any) -> None:
    import math

    words = " ".join(text for text, _ in shapes.words_of(figure_equal_hardness([finding])))
    for row in finding.result.values.to_dict("records"):
        assert f"{row['level']} {math.exp(row['estimate']):.1f} (" in words


def test_each_answer_gets_a_panel_and_its_numbers(shapes: Any, finding: Any) -> None:
    both = figure_equal_hardness([finding, shapes.same_hardness_finding(2, 0.0)])
    assert shapes.mark_count(both) == 144
    assert set(both.to_frame()["what"]) == {"coupon", "line", "value"}


def test_lines_that_are_not_parallel_are_drawn_each_with_its_own_slope(shapes: Any) -> None:
    lines = shapes.same_hardness_finding(2, -0.3).result.lines
    slopes = lines.groupby("level")["estimate"].agg(lambda y: y.iloc[-1] - y.iloc[0])
    assert abs(slopes["b"] - slopes["a"]) > 0.3


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(ReportError, match="no answer at equal hardness"):
        figure_equal_hardness([SimpleNamespace(result=None, sentence="", notes=())])
