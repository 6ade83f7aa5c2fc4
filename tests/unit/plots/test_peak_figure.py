"""The figure of peaks: plumb line, interval and working window below the coupons."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

import quenchbook as qb
from quenchbook.errors import EstimabilityError
from quenchbook.findings.trade_answers import trade_answer
from quenchbook.fit.curves import response_curves
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.peak_strip import PeakMark
from quenchbook.plots.peaks import figure_peaks
from quenchbook.plots.shift_strip import ShiftMark
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
    assert "| certainly, | possibly within 0.3 HRC of the peak" in words


def test_the_caption_and_the_alternative_text_name_the_peaks(drawing: Drawing) -> None:
    assert drawing.finding == (
        "Hardness peaks lie from 972\u00a0°C (no cold step) to 1002\u00a0°C (dry ice)."
    )
    assert "dry ice peak 1002\u00a0°C (993 to 1022)" in drawing.notes[0]
    assert "arrow where the data set no limit" in drawing.reading
    assert 40 <= len(drawing.alt) <= 400


def test_without_peaks_the_figure_has_no_strip(plane_irons_records: Records) -> None:
    model = qb.mixed_model(plane_irons_records, RESPONSE)
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


def shift(records: Records, **changes: object) -> object:
    own = {"asks": "peak_shift", "margin": 10.0, "level": "dry_ice", "against": "none", **changes}
    question = TradeQuestion(
        "s", "", RESPONSE, along="austenitize", factor="cold_route", **own,  # type: ignore[arg-type]
    )  # fmt: skip
    return trade_answer({RESPONSE: qb.mixed_model(records, RESPONSE)}, question)


def test_a_shift_is_a_band_below_with_the_peaks_of_its_levels(
    plane_irons_records: Records,
) -> None:
    own = figure_peaks([shift(plane_irons_records)])
    words = words_of(own)
    assert "Peak of dry ice against no cold step: exceeds, +27 °C (+18 to +47 °C)" in words
    assert "peak 972 °C" in words
    assert "peak 1002 °C" in words
    assert "pale field, dotted edges: too small to matter" in words
    assert "peak of dry ice against no cold step: exceeds" in own.notes[0]
    assert "one curvature for all curves" in own.reading


def test_a_shift_without_a_margin_has_no_zone(plane_irons_records: Records) -> None:
    own = figure_peaks([shift(plane_irons_records, asks="curve_shift", margin=None)])
    assert "shifts too small to matter" not in words_of(own)
    assert "Curve of dry ice against no cold step" in words_of(own)


def test_a_target_window_is_a_strip_of_its_own(plane_irons_records: Records) -> None:
    models = {RESPONSE: qb.mixed_model(plane_irons_records, RESPONSE)}
    window = trade_answer(
        models,
        TradeQuestion(
            "w", "", RESPONSE, "target_window", "austenitize", at={"cold_route": "dry_ice"},
            target=62.0,
        ),
    )  # fmt: skip
    both = [*findings(plane_irons_records, [("working_window", "dry_ice")]), window]
    words = words_of(figure_peaks(both))
    assert "certainly reaches 62 HRC, nine times in ten" in words
    assert "certainly, | possibly within 0.3 HRC of the peak" in words


def test_a_target_that_is_nowhere_reached_is_said(plane_irons_records: Records) -> None:
    models = {RESPONSE: qb.mixed_model(plane_irons_records, RESPONSE)}
    question = TradeQuestion(
        "w", "", RESPONSE, "target_window", "austenitize", at={"cold_route": "none"}, target=66.0
    )
    assert "66 HRC not reached" in words_of(figure_peaks([trade_answer(models, question)]))


@pytest.mark.parametrize(
    "ends", [(-math.inf, 12.0), (5.0, math.inf), (-math.inf, math.inf), (math.nan, math.nan)]
)
def test_an_open_shift_is_drawn_without_an_error(
    plane_irons_records: Records, ends: tuple[float, float]
) -> None:
    curves = response_curves(
        qb.mixed_model(plane_irons_records, RESPONSE), "austenitize", "cold_route"
    )
    mark = ShiftMark("peak of a against b", "no limits", "undecided", math.nan, *ends, 10.0, 90.0)
    assert "undecided, no limits" in words_of(figure_response_curves(curves, {}, [mark]))


def test_nothing_to_draw_is_refused() -> None:
    with pytest.raises(EstimabilityError, match="no finding about a peak"):
        figure_peaks([])
