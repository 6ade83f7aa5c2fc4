from __future__ import annotations

from dataclasses import replace

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.bench.hazards import hazards
from quenchbook.bench.safety import COMMON, LAST_WORD, cautions, reminders
from quenchbook.metallurgy.room_air import dry_ice_for, oxygen_after_spill
from quenchbook.study.definition import Study


def test_the_demo_has_the_hazards_it_tells_of(plane_irons: Study) -> None:
    assert hazards(plane_irons) == (
        "furnace", "plates", "foil", "untempered", "freezer", "dry_ice", "alcohol", "nitrogen",
        "temper", "grinding", "impact",
    )  # fmt: skip


def test_a_study_with_only_a_furnace_gets_only_that(coated_bars: Study) -> None:
    assert hazards(coated_bars) == ("furnace",)


@pytest.mark.parametrize(
    ("quench", "expected"),
    [
        ("oil, 60 degC", {"oil"}),
        ("between aluminium plates", {"plates"}),
        ("", {"oil"}),  # not told: the caution is shown
        ("still air", set()),
        ("aluminium plates, coupon in foil", {"plates"}),  # foil is no oil
        ("water, no oil", {"water"}),
        ("salt water", {"water"}),
        ("salt, 200 degC", {"salt"}),
        ("oil or plates", {"oil", "plates"}),
    ],
)
def test_the_quench_decides_its_caution(
    plane_irons: Study, quench: str, expected: set[str]
) -> None:
    equipment = {**plane_irons.equipment, "quench": quench}
    found = set(hazards(replace(plane_irons, equipment=equipment)))
    assert found & {"oil", "plates", "water", "salt"} == expected


@pytest.mark.parametrize(
    ("quench", "first"),
    [("warm oil, 60 degC", "Its flash point"), ("", "If the quench is oil: its flash point")],
)
def test_the_caution_on_oil_has_an_if_only_where_no_oil_is_told(
    plane_irons: Study, quench: str, first: str
) -> None:
    equipment = {**plane_irons.equipment, "quench": quench}
    [own] = [
        c for c in cautions(replace(plane_irons, equipment=equipment)) if c.hazard == "Quench oil"
    ]
    assert own.sentences[0].startswith(first)


@pytest.mark.parametrize(
    ("example", "expected"),
    [
        ("coated_bars", {"furnace"}),
        ("leaf_springs", {"furnace", "oil", "untempered"}),
        ("springs", {"furnace", "oil", "untempered"}),
        ("steel_bars", {"furnace"}),  # a heat treatment that is not told
        ("two_lots", {"furnace", "oil", "untempered", "grinding"}),  # the quench is not told
        ("plane_irons", {"furnace", "plates", "foil", "untempered", "freezer", "dry_ice", "alcohol",
                         "nitrogen", "temper", "grinding", "impact"}),
    ],
)  # fmt: skip
def test_each_example_has_the_hazards_that_its_file_speaks_of(
    example: str, expected: set[str]
) -> None:
    assert set(hazards(qb.read_study(ROOT / "data" / example))) == expected


@pytest.mark.parametrize("example", ["springs", "leaf_springs"])
def test_oil_that_is_a_factor_is_told_and_has_no_if(example: str) -> None:
    own = cautions(qb.read_study(ROOT / "data" / example))
    (oil,) = (one for one in own if one.hazard == "Quench oil")
    assert oil.sentences[0].startswith("Its flash point")


@pytest.mark.parametrize(
    ("note", "expected"),
    [
        ("Bars were quenched in warm oil.", {"oil", "untempered"}),
        ("Bars were quenched in water, no oil.", {"water", "untempered"}),
        ("Bars lay in a salt bath.", {"salt"}),
        ("Bars went from the quench into liquid nitrogen.", {"nitrogen", "untempered", "oil"}),
        ("Steel with 0.1 % nitrogen.", set()),
        ("The data were taken from a copy without any change.", set()),
    ],
)
def test_notes_are_read_for_hazards(coated_bars: Study, note: str, expected: set[str]) -> None:
    assert set(hazards(replace(coated_bars, notes=(note,)))) - {"furnace"} == expected


def test_what_is_told_as_held_constant_is_read(coated_bars: Study) -> None:
    study = replace(coated_bars, held_constant={"oil_temp": "50 degC"})
    assert "oil" in hazards(study)


def test_amounts_follow_settings_and_not_what_questions_speak_of(coated_bars: Study) -> None:
    study = replace(coated_bars, question="Would liquid nitrogen do more?")
    assert "nitrogen" in hazards(study)
    assert "nitrogen" not in hazards(study, only_settings=True)


def test_alcohol_is_shown_when_the_bath_of_the_dry_ice_is_not_told(plane_irons: Study) -> None:
    told = {**plane_irons.equipment, "dry_ice": "crushed dry ice, nothing else"}
    untold = {k: v for k, v in plane_irons.equipment.items() if k != "dry_ice"}
    assert "alcohol" not in hazards(replace(plane_irons, equipment=told))
    assert "alcohol" in hazards(replace(plane_irons, equipment=untold))


def test_every_caution_has_a_source_and_the_last_word_is_last(plane_irons: Study) -> None:
    *listed, last = cautions(plane_irons)
    assert all(caution.source and caution.sentences and caution.reminder for caution in listed)
    assert COMMON == "Common practice, no source."
    assert last.sentences == (LAST_WORD,)
    assert LAST_WORD == (
        "This list is not a risk assessment; local codes and licensed practice come first."
    )


def test_dry_ice_warns_of_its_gas_and_not_of_oxygen(plane_irons: Study) -> None:
    own = next(c for c in cautions(plane_irons) if c.hazard == "Dry ice")
    words = " ".join(own.sentences)
    assert "An oxygen alarm does not protect" in words
    assert "About 0.25 kg" in words
    assert "closed room of 30 m³ reaches 5\u00a0000\u00a0ppm" in words


def test_nitrogen_tells_the_arithmetic_of_a_spill(plane_irons: Study) -> None:
    own = next(c for c in cautions(plane_irons) if c.hazard == "Liquid nitrogen")
    assert "5 litres leaves 18.5 % oxygen" in " ".join(own.sentences)
    assert oxygen_after_spill(0, 30) == pytest.approx(20.95)
    assert oxygen_after_spill(1000, 30) == 0.0  # more gas than room: none is left
    # 5 000 ppm less the 420 ppm of fresh air, in 30 m3
    assert dry_ice_for(5000, 30) == pytest.approx(0.2527, abs=5e-4)


def test_reminders_are_only_those_the_study_has(coated_bars: Study) -> None:
    assert len(reminders(coated_bars, ("furnace", "nitrogen"))) == 1


@pytest.mark.parametrize(
    ("key", "words", "expected"),
    [
        ("gas", "argon, 5 l/min", {"gas"}),
        ("gas", "nitrogen, 5 l/min", {"gas"}),
        ("atmosphere", "nitrogen", {"gas"}),
        ("furnace", "chamber furnace, no protective gas", set()),
        ("gas", "none", set()),
        ("cold", "liquid nitrogen in a dewar", {"nitrogen"}),
        ("cold", "LN2", {"nitrogen"}),
        ("cold", "nitrogen", {"nitrogen"}),  # not told to be gas: the graver caution
        ("salt_bath", "nitrate salt", {"salt"}),
        ("cold", "chest freezer", {"freezer"}),
        ("cold", "room temperature, without dry ice", set()),
        ("oven", "tempers in a toaster oven", set()),
    ],
)
def test_words_decide_between_hazards(
    coated_bars: Study, key: str, words: str, expected: set[str]
) -> None:
    study = replace(coated_bars, held_constant={key: words})
    assert set(hazards(study)) - {"furnace"} == expected


def test_a_quench_that_is_varied_brings_each_of_its_cautions(plane_irons: Study) -> None:
    levels = replace(
        plane_irons.factor("cold_route"), name="quenchant", levels=("oil", "plates"), words={}
    )
    told = {k: v for k, v in plane_irons.equipment.items() if k != "quench"}
    study = replace(plane_irons, factors=(*plane_irons.factors, levels), equipment=told)
    assert {"oil", "plates"} <= set(hazards(study))


def test_numbers_of_the_cautions_are_those_of_the_arithmetic(plane_irons: Study) -> None:
    words = " ".join(
        " ".join((*own.sentences, own.source)) for own in cautions(plane_irons)
    ).replace("\u00a0", " ")
    assert "One litre becomes about 692 litres" in words
    assert "544 L of gas from 1 kg at 20 °C" in words
    assert "oxygen has fallen to 19.5 %, carbon dioxide is near 7 %" in words
    assert " safe" not in words.lower()
