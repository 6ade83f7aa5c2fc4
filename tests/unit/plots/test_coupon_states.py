"""Coupons that were lost, or run otherwise than planned, stay on the page and are named."""

from __future__ import annotations

from pathlib import Path

import pytest

import quenchbook as qb
from quenchbook.fit.curves import furnace_order, response_curves
from quenchbook.plots.coupon_tiles import figure_coupon_matrix
from quenchbook.plots.curves import figure_response_curves
from quenchbook.plots.drawing import Drawing
from quenchbook.plots.furnace_order import figure_furnace_order
from quenchbook.plots.style import ABSENT, COUPONS, mark_styles
from quenchbook.plots.tile_layout import MOST_PLACES, rows_of
from quenchbook.plots.tile_states import states_of
from quenchbook.records.reading import Records
from quenchbook.records.run_otherwise import run_otherwise
from quenchbook.study.factors import Factor

DATA = Path(__file__).parents[3] / "data"


@pytest.fixture(scope="module")
def model(plane_irons_records: Records) -> qb.MixedModel:
    return qb.mixed_model(plane_irons_records, "hardness_hrc")


def marks(drawing: Drawing, label: str) -> int:
    lines = [line for axes in drawing.figure.axes for line in axes.lines]
    return sum(len(line.get_xdata()) for line in lines if line.get_label() == label)


def words(drawing: Drawing) -> str:
    return " | ".join(text.get_text() for axes in drawing.figure.axes for text in axes.texts)


def test_a_lost_coupon_stays_in_its_tile_and_is_named(plane_irons_records: Records) -> None:
    drawing = figure_coupon_matrix(plane_irons_records.matrix, plane_irons_records)
    assert marks(drawing, COUPONS) == 96
    assert "lost" in words(drawing)
    assert "JCY9 lost" in drawing.alt
    assert any("JCY9 (cracked" in note for note in drawing.notes)
    own = drawing.to_frame().set_index("coupon")["no_reading"]
    assert own[own].index.tolist() == ["JCY9"]


def test_a_plan_without_records_has_no_strokes(plane_irons_records: Records) -> None:
    drawing = figure_coupon_matrix(plane_irons_records.matrix)
    assert marks(drawing, "_strikes") == 0
    assert "no_reading" not in drawing.to_frame()


def test_a_furnace_that_wanders_by_a_degree_is_not_marked(plane_irons_records: Records) -> None:
    states = states_of(plane_irons_records, "austenitize")
    assert states.loads == {7}  # 982 degC for 970; all others within 2 degC
    assert len(states.otherwise) == 2  # cold batch 1-4, 85 min for 60


def test_what_was_run_otherwise_is_told_with_both_values(plane_irons_records: Records) -> None:
    coupons = plane_irons_records.frame("hardness_hrc").drop_duplicates("coupon")
    told = run_otherwise(coupons, plane_irons_records).words.replace("\u00a0", " ")
    assert "furnace load 7 at 982 °C (planned 970 °C)" in told
    assert "cold batch 1-4 at 85 min (planned 60 min)" in told


def test_curves_stand_a_coupon_without_a_reading_on_the_axis(model: qb.MixedModel) -> None:
    drawing = figure_response_curves(response_curves(model, "austenitize", "cold_route"))
    assert (marks(drawing, COUPONS), marks(drawing, ABSENT)) == (95, 1)
    assert "on the axis: no reading" in words(drawing)
    assert "1 coupon not read" in drawing.alt


def test_furnace_order_shows_all_coupons_of_the_plan(model: qb.MixedModel) -> None:
    drawing = figure_furnace_order(furnace_order(model))
    assert (marks(drawing, COUPONS), marks(drawing, ABSENT)) == (95, 1)
    assert "run otherwise than planned" in words(drawing)


def test_a_further_coupon_is_dotted_and_named_and_wider_than_the_mean(
    model: qb.MixedModel,
) -> None:
    curves = response_curves(model, "austenitize", "cold_route", further=True)
    frame = curves.curve
    assert (frame["further_low"] < frame["conf_low"]).all()
    assert (frame["further_high"] > frame["conf_high"]).all()
    drawing = figure_response_curves(curves)
    assert "one further coupon (95\u00a0%)" in words(drawing)
    assert marks(drawing, "further_low") == 2 * len(frame)


def test_a_load_of_many_coupons_goes_on_in_the_next_column() -> None:
    _, matrix, records = qb.read_folder(DATA / "steel_bars")
    rows = rows_of(matrix.in_loads)
    assert rows.places == MOST_PLACES
    assert [part for _, part, _ in rows.columns(0)] == list(range(7))
    drawing = figure_coupon_matrix(matrix, records)
    assert marks(drawing, COUPONS) == 96
    height, width = drawing.figure.get_size_inches()[::-1]
    assert height < 1.6 * width


def test_rows_of_one_long_day_are_alike() -> None:
    _, matrix, _ = qb.read_folder(DATA / "leaf_springs")
    rows = rows_of(matrix.in_loads)
    assert [len(rows.columns(row)) for row in range(len(rows.rows))] == [8, 8]


@pytest.mark.parametrize("count", range(1, 9))
def test_up_to_eight_levels_have_marks_of_their_own(count: int) -> None:
    levels = tuple("abcdefgh"[:count])
    styles = mark_styles(Factor("coating", "coating", levels))
    looks = {(s.marker, s.face, s.half, s.dot) for s in styles.values()}
    assert len(looks) == count
    assert all(isinstance(style.marker, str) for style in styles.values())
