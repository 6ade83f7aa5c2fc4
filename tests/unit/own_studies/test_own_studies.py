from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import EstimabilityError, StudyError
from quenchbook.own_studies import OwnStudies

STUDY = """
format = 1
key = "{key}"
title = "O1 after the freezer"
question = "Does a night in the freezer make O1 harder?"
author = "invented in a test"
date = {date}
{more}

[steel]
grade = "O1"
heat_lot = "{lot}"

[factors.austenitize]
levels = ["1475 degF", "1525 degF"]
set_for = "furnace_load"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "cold_batch"

[responses.hardness]
unit = "HRC"
readings = 2

[layout]
furnace_loads = 6
coupons_per_load = 4
"""


def write_study(
    folder: Path, key: str, *, lot: str, date: str, shift: float, more: str = ""
) -> None:
    """A whole study with simulated readings: load sd .3, coupon sd .3, indent sd .4 HRC."""
    place = folder / key
    (place / "records").mkdir(parents=True)
    text = STUDY.format(key=key, lot=lot, date=date, more=more)
    (place / "study.toml").write_text(text, encoding="utf-8")
    matrix, _ = qb.plan_study(place, seed=7)
    source = np.random.default_rng([len(key), int(10 * shift)])
    frame = matrix.frame
    loads = dict(zip(range(1, 7), 0.3 * source.standard_normal(6), strict=True))
    mean = 62 + shift + (frame["cold_route"] == "freezer") * 1.0
    mean = mean + frame["furnace_load"].map(loads) + 0.3 * source.standard_normal(len(frame))
    rows = [f"# plan {matrix.plan_hash}", "coupon,hardness_hrc_1,hardness_hrc_2"]
    for coupon, value in zip(frame["coupon"], mean, strict=True):
        first, second = value + 0.4 * source.standard_normal(2)
        rows.append(f"{coupon},{first:.1f},{second:.1f}")
    (place / "records" / "hardness.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("studies")
    write_study(place, "year_one", lot="A17", date="2024-03-01", shift=0.0)
    write_study(place, "year_two", lot="B02", date="2025-03-01", shift=0.8)
    shutil.copytree(ROOT / "data" / "coated_bars", place / "bars")
    broken = place / "broken"
    broken.mkdir()
    (broken / "study.toml").write_text("format = 2\n", encoding="utf-8")
    (place / "no study").mkdir()
    return place


@pytest.fixture(scope="module")
def studies(folder: Path) -> OwnStudies:
    return qb.read_studies(folder)


def test_a_row_is_a_coupon_and_a_response(studies: OwnStudies) -> None:
    assert not studies.table.duplicated(["study", "coupon", "response"]).any()
    assert studies.table["study"].value_counts().to_dict() == {
        "year_one": 24, "year_two": 24, "coated_bars": 24,
    }  # fmt: skip
    own = studies.table[studies.table["study"] == "year_one"]
    assert set(own["steel"]) == {"O1"}
    assert set(own["heat_lot"]) == {"A17"}
    assert (own["readings"] == 2).all()


def test_the_value_of_a_coupon_is_the_mean_of_its_readings(
    studies: OwnStudies, folder: Path
) -> None:
    raw = pd.read_csv(folder / "year_one" / "records" / "hardness.csv", comment="#")
    means = raw.set_index("coupon").mean(axis=1)
    own = studies.table[studies.table["study"] == "year_one"].set_index("coupon")["value"]
    assert own.sort_index().to_numpy() == pytest.approx(means.sort_index().to_numpy())


def test_a_broken_study_is_named_with_its_mistakes(studies: OwnStudies) -> None:
    (unread,) = studies.unread
    assert unread.folder.name == "broken"
    assert "Write format = 1" in unread.reason
    assert "broken could not be read" in studies.summary()


def test_two_studies_with_one_key_are_not_mixed(folder: Path, tmp_path: Path) -> None:
    for name in ("first", "second"):
        shutil.copytree(folder / "year_one", tmp_path / name)
    own = qb.read_studies(tmp_path)
    assert len(own.records) == 1
    assert "is that of first too" in own.unread[0].reason


def test_a_folder_without_studies_is_refused(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="holds no study"):
        qb.read_studies(tmp_path)


def test_studies_are_filtered_by_steel_route_and_temperature(studies: OwnStudies) -> None:
    own = studies.where(steel="O1", cold_route=["freezer"], austenitize_c=(820, 840))
    assert set(own.records) == {"year_one", "year_two"}
    assert set(own.table["cold_route"]) == {"freezer"}
    assert own.table["austenitize_c"].between(820, 840).all()
    assert len(own.table) == 12


def test_a_filter_that_leaves_nothing_says_what_there_is(studies: OwnStudies) -> None:
    with pytest.raises(EstimabilityError, match=r"No coupon has steel A2. There are: .*O1"):
        studies.where(steel="A2")
    with pytest.raises(EstimabilityError, match="There is no column 'colour'"):
        studies.where(colour="blue")


def test_noise_is_pooled_over_the_studies_with_their_spare_units_as_weights(
    studies: OwnStudies,
) -> None:
    pooled = studies.noise()["hardness_hrc"]
    single = [qb.measured_noise(model) for model in studies.models("hardness_hrc")]
    squares = [own.sds["indent"] ** 2 for own in single]
    assert pooled.sds["indent"] ** 2 == pytest.approx(np.mean(squares))  # 24 df each
    assert "year_one and year_two" in pooled.source


def test_data_of_others_are_no_noise_of_the_own_furnace(studies: OwnStudies) -> None:
    assert "resistance" not in studies.noise()


def test_noise_of_studies_takes_a_folder_of_studies(folder: Path, tmp_path: Path) -> None:
    for name in ("year_one", "year_two"):
        shutil.copytree(folder / name, tmp_path / name)
    both = qb.noise_of_studies([tmp_path])["hardness_hrc"]
    named = qb.noise_of_studies([tmp_path / "year_one", tmp_path / "year_two"])["hardness_hrc"]
    assert both == named


def test_a_lot_mean_is_that_of_its_study_with_the_noise_of_its_loads(studies: OwnStudies) -> None:
    own = studies.lot_means("hardness_hrc", {"cold_route": "freezer"})
    assert own.table["heat_lot"].tolist() == ["A17", "B02"]
    assert (own.table["furnace_loads"] == 6).all()
    model = studies.models("hardness_hrc")[0]
    mean = qb.marginal_means(model, "cold_route", at={"cold_route": ["freezer"]}).to_frame()
    assert own.table.loc[0, "std_error"] == pytest.approx(mean["std_error"].iloc[0])
    # By hand: coupons alone would give the standard error of 12 values.
    values = model.coupons.loc[model.coupons["cold_route"] == "freezer", "value"]
    assert own.table.loc[0, "std_error"] > 0.8 * values.std(ddof=1) / np.sqrt(len(values))


def test_a_difference_between_lots_adds_variances_and_names_what_is_mixed(
    studies: OwnStudies,
) -> None:
    own = studies.lot_means("hardness_hrc", {"cold_route": "freezer"})
    (row,) = own.differences().to_dict("records")
    first, second = own.table.to_dict("records")
    assert row["estimate"] == pytest.approx(second["estimate"] - first["estimate"])
    assert row["std_error"] ** 2 == pytest.approx(
        first["std_error"] ** 2 + second["std_error"] ** 2
    )
    assert min(first["df"], second["df"]) <= row["df"] <= first["df"] + second["df"] + 1e-9
    assert row["label"] == "lot B02 (year_two)"
    assert any("lot and study together" in note for note in own.notes)


def test_a_study_without_the_treatment_is_named(studies: OwnStudies) -> None:
    with pytest.raises(EstimabilityError, match="year_one: cold_route dry ice was not tried"):
        studies.lot_means("hardness_hrc", {"cold_route": "dry_ice"})
    with pytest.raises(EstimabilityError, match="temper was not varied"):
        studies.lot_means("hardness_hrc", {"temper": 175.0})


def test_studies_that_are_not_compared_are_listed_with_the_reason(
    folder: Path, tmp_path: Path
) -> None:
    for name in ("year_one", "year_two"):
        shutil.copytree(folder / name, tmp_path / name)
    write_study(tmp_path, "shown", lot="X", date="2023-03-01", shift=5.0, more="invented = true")
    write_study(tmp_path, "short", lot="S", date="2022-03-01", shift=0.0)
    readings = tmp_path / "short" / "records" / "hardness.csv"
    readings.write_text("".join(readings.read_text().splitlines(True)[:2]), encoding="utf-8")
    studies = qb.read_studies(tmp_path)
    own = studies.lot_means("hardness_hrc", {"cold_route": "freezer"})
    assert set(own.table["study"]) == {"year_one", "year_two"}
    assert own.left_out["shown"] == "an invented demonstration"
    assert own.left_out["short"] == studies.not_fitted("hardness_hrc")["short"] != ""
    assert "shown is left out: an invented demonstration" in own.summary()


def test_every_column_is_in_the_glossary(studies: OwnStudies) -> None:
    from quenchbook.columns import meaning

    own = studies.lot_means("hardness_hrc", {"cold_route": "freezer"})
    evidence = qb.read_evidence(ROOT / "data" / "plane_irons")
    frames = [
        own.to_frame(), own.differences(), evidence.to_frame(),
        qb.syntheses(evidence.rows)[2].to_frame(),
        qb.figure_evidence(qb.evidence_answers(evidence)[0]).to_frame(),
    ]  # fmt: skip
    for frame in frames:
        assert [name for name in frame if not meaning(str(name))[0]] == []
    known = studies.where(steel="O1").table.dropna(axis="columns", how="all")
    study = next(iter(studies.records.values())).study
    assert [name for name in known if not meaning(str(name), study)[0]] == []
