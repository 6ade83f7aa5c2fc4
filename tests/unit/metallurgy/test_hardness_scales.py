"""Conversion of hardness: through the table only, for reading only."""

from __future__ import annotations

import pytest

from quenchbook.errors import EstimabilityError
from quenchbook.metallurgy.hardness_scales import READING_ONLY, rockwell_hardness, vickers_hardness
from quenchbook.metallurgy.indents import indent_depth


@pytest.mark.parametrize("hardness", [19.9, 68.1, 0.0, -5.0, float("nan")])
def test_hardness_outside_the_table_is_refused(hardness: float) -> None:
    with pytest.raises(EstimabilityError, match=r"cannot be converted: ASTM E140 Table 1 holds 20"):
        vickers_hardness([60.0, hardness])


@pytest.mark.parametrize("hardness", [237.0, 941.0])
def test_vickers_outside_the_table_is_refused(hardness: float) -> None:
    with pytest.raises(EstimabilityError, match="HV cannot be converted"):
        rockwell_hardness(hardness)


@pytest.mark.parametrize("hardness", [19.9, 100.1, float("nan")])
def test_no_depth_is_told_where_the_scale_is_not_used(hardness: float) -> None:
    with pytest.raises(EstimabilityError, match="is used from 20 HRC on"):
        indent_depth(hardness)


def test_a_conversion_there_and_back_is_the_same() -> None:
    there = vickers_hardness([20.0, 33.3, 60.5, 68.0])
    assert rockwell_hardness(there.converted).converted == pytest.approx(there.given)


def test_every_form_says_that_it_is_for_reading_only() -> None:
    found = vickers_hardness(60.5)
    assert found.summary() == (
        "60.5\u00a0HRC is about 708\u00a0HV (ASTM E140 Table 1; for reading only: converted values "
        "are an indication)."
    )
    assert READING_ONLY in found._repr_html_()
    assert list(found.to_frame()) == ["hardness_hrc", "hardness_hv"]
