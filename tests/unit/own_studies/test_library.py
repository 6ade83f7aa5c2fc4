from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from tests.conftest import ROOT
from tests.many_studies import write_studies

import quenchbook as qb
from quenchbook.cli import main
from quenchbook.columns import meaning
from quenchbook.errors import EstimabilityError
from quenchbook.outlook.noise_parts import NoisePart, noise_frame
from quenchbook.own_studies import OwnStudies

FT_LBF = 0.3048 * 4.4482216152605  # NIST SP 811, both factors exact


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("library")
    write_studies(place, 6, loads=4, per_load=4)
    return place


@pytest.fixture(scope="module")
def studies(folder: Path) -> OwnStudies:
    return qb.read_studies(folder)


@pytest.mark.parametrize(
    "wanted",
    [
        {"austenitize_c": (785, 825)},
        {"austenitize": ("785 degC", "825 degC")},
        {"austenitize_f": (1445, 1517)},
        {"austenitize": ("1445 degF", "1517 degF")},
        {"austenitize": ["790 degC", 820]},
        {"steel": "o1"},
    ],
)
def test_temperatures_are_asked_for_in_either_unit(
    studies: OwnStudies, wanted: dict[str, object]
) -> None:
    assert set(studies.where(**wanted).entries) == {"study_0001", "study_0005"}


def test_an_open_end_of_a_range_leaves_out_nothing_on_that_side(studies: OwnStudies) -> None:
    hot = studies.where(austenitize_c=(1000, None))
    assert set(hot.table["steel"]) == {"440C"}


def test_dates_are_asked_for_by_year_month_or_day(studies: OwnStudies) -> None:
    assert set(studies.where(date=("2011", "2012")).entries) == {"study_0001", "study_0002"}
    assert set(studies.where(date=(None, "2010-01")).entries) == {"study_0000"}


def test_words_are_asked_for_as_people_write_them(studies: OwnStudies) -> None:
    assert set(studies.where(route="Freezer").table["cold_route"]) == {"freezer"}
    assert set(studies.where(lot="L3").entries) == {"study_0003"}
    with pytest.raises(EstimabilityError, match="austenitize_c: 'bananas' is not a unit"):
        studies.where(austenitize=("9 bananas", None))


def test_noise_of_a_filtered_library_is_that_of_its_studies(studies: OwnStudies) -> None:
    noise = studies.where(steel="A2").noise()
    models = studies.where(steel="A2").models("hardness_hrc")
    assert noise["hardness_hrc"] == qb.measured_noise(models)
    row = noise.table.set_index("stratum").loc["furnace_load"]
    assert row["studies"] == 2
    assert row["conf_low"] <= row["sd"] <= row["conf_high"]


def test_limits_of_one_study_are_those_of_its_noise_budget(studies: OwnStudies) -> None:
    one = studies.where(study="study_0001")
    own = one.noise().table.set_index("stratum")
    budget = one.models("hardness_hrc")[0].variance_components.set_index("stratum")
    for name in ("sd", "conf_low", "conf_high"):
        there = own[name].to_numpy()
        assert there == pytest.approx(budget.loc[own.index, name].to_numpy(), rel=1e-9)


def test_planning_takes_the_noise_of_a_library(studies: OwnStudies, folder: Path) -> None:
    noise = studies.where(steel="O1").noise()
    matrix = qb.draft_plan(folder / "study_0001")
    assert "noise budget of study_0001 and study_0005" in noise["hardness_hrc"].source
    assert qb.peak_outlook is not None
    assert len(noise) == 1
    assert dict(noise)["hardness_hrc"].sds["coupon"] > 0
    assert matrix.study.response("hardness_hrc").noise is None


def test_limits_of_pooled_mean_squares_hold_their_level() -> None:
    """Known truth: eight studies, load sd .3 in 4 loads of 6 coupons with sd .4; 600 times."""
    source = np.random.default_rng(3)
    hits = 0
    for _ in range(600):
        coupon = 0.16 * source.chisquare(20, 8) / 20
        load = (0.16 + 6 * 0.09) * source.chisquare(3, 8) / 3
        parts = [
            NoisePart(
                f"s{n}", "y", "linear", "furnace_load", "furnace load", max((a - b) / 6, 0.0), 3.0,
                False, a / 6, (a / 6) ** 2 / 5, b / 6, (b / 6) ** 2 / 22,
            )
            for n, (a, b) in enumerate(zip(load, coupon, strict=True))
        ]  # fmt: skip
        row = noise_frame(parts).iloc[0]
        hits += row["conf_low"] <= 0.3 <= row["conf_high"]
    # 95 % of 600: 99 % binomial limits 92.7 to 97.3 %
    assert 0.927 <= hits / 600 <= 0.973


def test_energies_of_all_studies_are_in_joules(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "data" / "plane_irons", tmp_path / "metric")
    metric = qb.read_studies(tmp_path).table
    place = tmp_path / "other"
    write_studies(place, 1, loads=4, per_load=4)
    path = place / "study_0000" / "study.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("[responses.hardness]", "[responses.impact]").replace('"HRC"', '"ft lbf"')
    path.write_text(text, encoding="utf-8")
    shutil.rmtree(place / "study_0000" / "plan")
    matrix, _ = qb.plan_study(place / "study_0000", seed=0)
    record = place / "study_0000" / "records" / "hardness.csv"
    rows = ["coupon,impact_ftlbf_1,impact_ftlbf_2"]
    rows += [f"{code},10.0,{11 + n / 10}" for n, code in enumerate(matrix.frame["coupon"])]
    record.unlink()
    record.with_name("impact.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    own = qb.read_studies(place)
    assert set(own.table["response"]) == {"impact_j"} <= set(metric["response"])
    assert set(own.table["unit"]) == {"J"}
    wanted = [(10.0 + 11 + n / 10) / 2 * FT_LBF for n in range(16)]
    assert sorted(own.table["value"]) == pytest.approx(wanted)
    noise = own.noise()["impact_j"]
    single = qb.measured_noise(own.models("impact_j")[0])
    assert noise.sds["coupon"] == pytest.approx(single.sds["coupon"] * FT_LBF)


def test_a_column_that_is_numbers_here_and_words_there_is_words(tmp_path: Path) -> None:
    write_studies(tmp_path, 2, loads=4, per_load=4)
    for number, levels in enumerate(('["175 degC", "200 degC"]', '["low", "high"]')):
        place = tmp_path / f"study_{number:04d}"
        path = place / "study.toml"
        name = ("temper", "temper_c")[number]
        more = f'[factors.{name}]\nlevels = {levels}\nset_for = "coupon"\n\n[responses'
        path.write_text(path.read_text(encoding="utf-8").replace("[responses", more, 1), "utf-8")
        shutil.rmtree(place / "plan")
        matrix, _ = qb.plan_study(place, seed=1)
        rows = [
            "coupon,hardness_hrc_1",
            *(f"{code},60.{number}" for code in matrix.frame["coupon"]),
        ]
        (place / "records" / "hardness.csv").write_text("\n".join(rows), encoding="utf-8")
    fresh, kept = (qb.read_studies(tmp_path).table for _ in range(2))
    assert set(fresh["temper_c"]) == {"175", "200", "low", "high"}
    pd.testing.assert_frame_equal(kept, fresh, check_exact=True)
    shutil.rmtree(tmp_path / "study_0001")
    assert qb.read_studies(tmp_path).table["temper_c"].dtype == "float64"


def test_the_command_says_the_finding_first(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = Path(shutil.copytree(folder, tmp_path / "copy")) / "broken"
    broken.mkdir()
    (broken / "study.toml").write_text("format = 2\n", encoding="utf-8")
    target = tmp_path / "table.parquet"
    asked = ["--steel", "A2", "--between", "1760 degF", "1000", "--to", str(target)]
    assert main(["library", str(broken.parent), *asked]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == (
        "2 studies with steel A2, austenitize from 1760 degF to 1000: 32 coupons of A2. "
        "1 study left out: could not be read."
    )
    assert "Write format = 1" in "\n".join(lines)
    table = pd.read_parquet(target)
    assert len(table) == 32
    assert set(table["steel"]) == {"A2"}


def test_a_csv_of_the_table_holds_no_formula_of_a_spreadsheet(tmp_path: Path) -> None:
    write_studies(tmp_path, 1, loads=4, per_load=4)
    path = tmp_path / "study_0000" / "study.toml"
    text = path.read_text(encoding="utf-8").replace('"L0"', '"=HYPERLINK(1)"')
    path.write_text(text, encoding="utf-8")
    written = qb.read_studies(tmp_path).write_table(tmp_path / "table.csv")
    table = pd.read_csv(written)
    assert set(table["heat_lot"]) == {"'=HYPERLINK(1)"}
    with pytest.raises(EstimabilityError, match=r"neither \.csv nor \.parquet"):
        qb.read_studies(tmp_path).write_table(tmp_path / "table.xls")


def test_means_by_route_count_each_study_once(studies: OwnStudies) -> None:
    overview = qb.library_overview(studies)
    row = overview.means.set_index("cold_route").loc["freezer"]
    own = studies.table[studies.table["cold_route"] == "freezer"]
    means = own.groupby("study")["value"].mean()
    assert row["estimate"] == pytest.approx(means.mean())
    assert row["std_error"] == pytest.approx(means.std(ddof=1) / np.sqrt(6))
    # t for 5 df, two-sided 95 %: 2.571 (Student's table, from memory)
    assert row["conf_high"] - row["estimate"] == pytest.approx(2.571 * row["std_error"], rel=1e-3)
    assert "no effect of the route" in overview.summary()
    assert "<details" in overview._repr_html_()


def test_results_show_themselves_and_their_columns_are_explained(studies: OwnStudies) -> None:
    noise = studies.noise()
    for result in (studies, noise, qb.library_overview(studies)):
        assert result.summary()
        assert "<" in result._repr_html_()
        assert repr(result).startswith("<")
        for name in result.to_frame():
            known = meaning(str(name), studies.records["study_0000"].study)
            assert known[0], name


def test_a_study_without_records_is_no_study_that_cannot_be_read(
    folder: Path, tmp_path: Path
) -> None:
    copy = Path(shutil.copytree(folder, tmp_path / "copy"))
    early = Path(shutil.copytree(next(p.parent for p in copy.glob("*/study.toml")), copy / "early"))
    for path in (early / "records").iterdir():
        path.unlink()
    words = qb.library_overview(qb.read_studies(copy, cache=False)).summary()
    assert "1 study left out: no records yet." in words
    assert "early. It has no records yet." in words


def test_a_steel_that_is_not_there_is_told_in_words(folder: Path) -> None:
    with pytest.raises(EstimabilityError, match=r"No coupon has steel X9\. There are: \w"):
        qb.read_studies(folder, cache=False).where(steel=["X9"])
