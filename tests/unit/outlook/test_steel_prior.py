"""What is expected of a study's steel, and when the planned levels would miss the peak."""

from __future__ import annotations

from dataclasses import replace
from html import escape
from typing import Any

import numpy as np
import pytest

import quenchbook as qb
from quenchbook.columns import meaning
from quenchbook.errors import EstimabilityError, StudyError
from quenchbook.metallurgy.martensite import martensite_start
from quenchbook.outlook.steel import level_warnings, steel_prior
from quenchbook.outlook.steel_ranges import RETAINED, START
from quenchbook.study.definition import Study


def with_levels(study: Study, *levels: float, routes: tuple[str, ...] = (), **steel: Any) -> Study:
    heat, route, *rest = study.factors
    heat = replace(heat, levels=levels)
    route = replace(route, levels=routes) if routes else route
    return replace(study, factors=(heat, route, *rest), steel=steel or study.steel)


def plain(sentences: tuple[str, ...]) -> str:
    return "\n".join(sentences).replace("\u00a0", " ")


def test_levels_that_hold_every_region_get_no_warning(plane_irons: Study) -> None:
    study = with_levels(plane_irons, 900.0, 960.0, 1020.0, 1075.0, 1100.0)
    assert level_warnings(study) == ()


def test_each_route_that_the_levels_miss_gets_its_sentence(plane_irons: Study) -> None:
    words = plain(level_warnings(plane_irons))  # 940 to 1030 °C
    assert len(words.split("\n")) == 4
    assert (
        "Without a cold step the region of the hardness peak, 920 to 1030 °C, goes on below"
        in words
    )
    assert (
        "After the freezer the region of the hardness peak, 950 to 1050 °C, goes on above" in words
    )
    assert "After dry ice the hardness peak is expected near 1035 °C" in words
    assert "above the hottest level, 1030 °C" in words
    assert "After liquid nitrogen hardness is expected to rise until no carbide is left" in words


def test_levels_above_the_peak_are_told_so(plane_irons: Study) -> None:
    study = with_levels(plane_irons, 1040.0, 1060.0, 1080.0, routes=("none",))
    words = plain(level_warnings(study))
    assert "expected near 980 °C (920 to 1030 °C), below the coolest level, 1040 °C" in words
    assert "hardness falling" in words


def test_levels_where_all_is_dissolved_may_show_no_difference(plane_irons: Study) -> None:
    study = with_levels(plane_irons, 920.0, 960.0, routes=("liquid_nitrogen",), grade="52100")
    assert "all levels lie there and may show no difference" in plain(level_warnings(study))


def test_levels_outside_the_table_are_named(plane_irons: Study) -> None:
    words = plain(level_warnings(with_levels(plane_irons, 800.0, 1000.0, 1200.0)))
    assert words.startswith(
        "800 °C and 1200 °C lie outside the 850 to 1125 °C that were computed for A2: nothing is "
        "known there."
    )
    prior = steel_prior(with_levels(plane_irons, 800.0, 1000.0, 1200.0))
    assert prior.places == (1000.0,)
    assert prior.frame["austenitize_c"].between(850.0, 1125.0).all()


@pytest.mark.parametrize(
    "steel",
    [{"condition": "annealed"}, {"grade": "4140"}, {"composition": {"C": 0.4, "Cr": 1.0}},
     {"grade": "A2", "composition": {"C": 1.4}}],
)  # fmt: skip
def test_an_unknown_steel_gets_a_sentence_and_no_numbers(
    plane_irons: Study, steel: dict[str, Any]
) -> None:
    study = replace(plane_irons, steel=steel)
    prior = steel_prior(study)
    assert not prior.known
    assert len(prior.to_frame()) == 0
    (sentence,) = level_warnings(study)
    assert sentence.startswith("Nothing is known here about this steel: ")
    assert sentence.endswith("your own experience or on the data sheet of the steel.")
    assert prior.summary() == sentence
    assert repr(prior).endswith("not known>")
    with pytest.raises(EstimabilityError, match="There is no picture of"):
        qb.figure_steel_prior(prior)


def test_an_unnamed_steel_near_a_grade_is_known(plane_irons: Study) -> None:
    study = with_levels(
        plane_irons, 800.0, 850.0, composition={"C": 1.02, "Cr": 1.5, "Mn": 0.3, "Si": 0.25}
    )
    prior = steel_prior(study)
    assert prior.steel == "this steel (near 52100)"
    assert any("differs from that of the table for 52100" in note for note in prior.notes)


def test_every_mistake_of_a_composition_is_told_at_once(plane_irons: Study) -> None:
    study = replace(
        plane_irons, steel={"composition": {"Carbon": 1.0, "Cr": "five", "Mn": -1, "Fe": "rest"}}
    )
    with pytest.raises(StudyError) as caught:
        steel_prior(study)
    assert len(caught.value.problems) == 3
    with pytest.raises(StudyError, match="composition is 'A2'"):
        steel_prior(replace(plane_irons, steel={"composition": "A2"}))


def test_the_mill_sheet_is_never_put_into_the_formula(plane_irons: Study) -> None:
    prior = steel_prior(with_levels(plane_irons, 1000.0, grade="D2"))
    whole = martensite_start({"C": 1.5, "Cr": 12.0, "Mo": 0.8, "Mn": 0.4, "Si": 0.3})
    starts = prior.rows(START)
    assert float(whole.high) < 20.0
    assert starts["low"].min() > 20.0


def test_retained_austenite_is_a_range_in_per_cent_of_the_steel(plane_irons: Study) -> None:
    prior = steel_prior(plane_irons)
    highs = []
    for route in plane_irons.factors[1].levels:
        rows = prior.rows(RETAINED, str(route))
        assert rows["expected"].isna().all()
        assert (rows["low"] < rows["high"]).all()
        assert rows["high"].max() <= 100.0
        highs.append(rows["high"].to_numpy())
    assert (np.diff(highs, axis=0) <= 0).all()  # routes stand from warm to cold


def test_a_study_without_austenitize_levels_has_a_prior_and_no_warnings(
    plane_irons: Study, coated_bars: Study
) -> None:
    prior = steel_prior(replace(plane_irons, factors=plane_irons.factors[1:]))
    assert prior.known
    assert prior.warnings == ()
    assert len(prior.places) == 4
    assert level_warnings(coated_bars) == ()


def test_a_route_of_unknown_temperature_is_told_and_left_out(plane_irons: Study) -> None:
    prior = steel_prior(with_levels(plane_irons, 970.0, routes=("none", "salt")))
    assert list(prior.peaks) == ["none"]
    assert any("The temperature of salt is not known here" in note for note in prior.notes)
    alone = steel_prior(with_levels(plane_irons, 970.0, routes=("salt",)))
    assert "retained austenite not known" in alone.summary()


def test_steels_of_high_chromium_get_no_peak_and_a_note(plane_irons: Study) -> None:
    study = with_levels(plane_irons, 1000.0, 1050.0, grade="D2")
    assert "No peak region can be told for D2" in plain(level_warnings(study))
    assert "may lie above the range" in plain(steel_prior(study).notes)
    assert "hardness peak" not in set(steel_prior(study).to_frame()["what"])


def test_every_column_has_a_meaning_and_the_summary_says_it_is_no_measurement(
    plane_irons: Study,
) -> None:
    prior = qb.steel_prior(plane_irons)
    frame = prior.to_frame()
    assert all(meaning(str(column))[0] for column in frame.columns)
    assert set(frame["what"]) == {"martensite start", "retained austenite", "hardness peak"}
    assert "not measurements" in prior.summary()
    assert "CC BY 4.0" in prior.summary()
    assert repr(prior) == "<SteelPrior of A2: 4 warnings>"
    assert all(escape(line) in prior._repr_html_() for line in prior.summary().split("\n"))
