"""The figure of peaks: plumb line, interval and working window below the coupons."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.peak_strip import PeakMark
from quenchbook.plots.peaks import figure_peaks
from quenchbook.records.reading import Records
from quenchbook.study.trade_questions import TradeQuestion

RESPONSE = "hardness_hrc"


def findings(records: Records, wanted: Sequence[tuple[str, str]]) -> list[object]:
    models = {RESPONSE: qb.mixed_model(records, RESPONSE)}
    return [
        trade_answer(
            models,
            TradeQuestion(
                f"{asks} {route}", "", RESPONSE, asks, "austenitize",  # type: ignore[arg-type]
                at={"cold_route": route}, within=0.3,
            ),
        )
        for asks, route in wanted
    ]  # fmt: skip


@pytest.fixture(scope="module")
def drawing(plane_irons_records: Records) -> Drawing:
    wanted = [("peak", "none"), ("peak", "dry_ice"), ("working_window", "dry_ice")]
    return figure_peaks(findings(plane_irons_records, wanted))


def words_of(drawing: Drawing) -> str:
    texts = [text.get_text() for axes in drawing.figure.axes for text in axes.texts]
    return " | ".join(texts).replace("\u00a0", " ")


def test_each_peak_is_written_below_its_panel(drawing: Drawing) -> None:
    words = words_of(drawing)
    assert "peak 972 °C (954 to 979)" in words
    assert "peak 1002 °C (993 to 1022)" in words


def test_the_key_explains_the_working_window(drawing: Drawing) -> None:
    words = words_of(drawing)
    assert "certainly within 0.3 HRC of the peak" in words
    assert "possibly within 0.3 HRC of the peak" in words


def test_the_caption_and_the_alternative_text_name_the_peaks(drawing: Drawing) -> None:
    assert "dry ice peak 1002" in drawing.finding
    assert "arrow where the data set no limit" in drawing.reading
    assert 40 <= len(drawing.alt) <= 400


def test_without_peaks_the_figure_has_no_strip(plane_irons_records: Records) -> None:
    model = qb.mixed_model(plane_irons_records, RESPONSE)
    from quenchbook.fit.curves import response_curves

    curves = response_curves(model, "austenitize", "cold_route")
    plain = figure_response_curves(curves)
    mark = PeakMark("still rising at 1030 °C", math.nan, 1030.0, math.inf, 940.0, 1030.0)
    marked = figure_response_curves(curves, {"none": mark})
    assert marked.figure.get_figheight() > plain.figure.get_figheight()
    assert "still rising at 1030 °C" in words_of(marked)
    assert "still rising" not in words_of(plain)


def test_a_finding_along_another_factor_is_left_out_and_said(plane_irons_records: Records) -> None:
    models = {RESPONSE: qb.mixed_model(plane_irons_records, RESPONSE)}
    average = trade_answer(models, TradeQuestion("a", "", RESPONSE, "peak", "austenitize"))
    own = [average, *findings(plane_irons_records, [("peak", "none")])]
    assert "1 more finding about a peak not drawn here." in figure_peaks(own).notes


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="no finding about a peak"):
        figure_peaks([])
