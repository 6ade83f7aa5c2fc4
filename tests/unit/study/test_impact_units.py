"""An impact test told in ft lbf is one like that in J: 1 ft lbf is 1.3558179483 J (NIST SP 811, B.8)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from tests.unit.study.test_files import GOOD, problems, written

import quenchbook as qb
from quenchbook.bench.form_tables import entry_forms
from quenchbook.bench.hazards import hazards
from quenchbook.bench.sheets import bench_sheets
from quenchbook.outlook.noise import USUAL, assumed_noise
from quenchbook.records.reading import read_records
from quenchbook.records.tester import checks_of_testers
from quenchbook.study.definition import Study
from quenchbook.study.plausible_readings import plausible

JOULES = 1.3558179483


def with_impact(folder: Path, unit: str, more: str = "") -> Study:
    told = f'[responses.impact]\nunit = "{unit}"\nscale = "log"\n{more}\n[layout]'
    return qb.read_study(written(folder, GOOD.replace("[layout]", told)))


@pytest.mark.parametrize("unit", ["J", "ft lbf", "ftlbf", "ft-lb"])
def test_any_unit_of_energy_is_an_impact_test(unit: str, tmp_path: Path) -> None:
    study = with_impact(tmp_path, unit)
    response = study.responses[-1]
    assert response.kind == "impact"
    assert "impact" in hazards(study)
    usual = USUAL["impact", "J", "log"]
    assert assumed_noise(study, response.name).sds["coupon"] == usual["coupon"]
    assert plausible(response).high == pytest.approx(1000 / (1 if unit == "J" else JOULES))


def test_a_margin_and_noise_in_joules_are_converted(tmp_path: Path) -> None:
    more = (
        'scale = "linear"\nequivalence_margin = "2.7116 J"\n'
        '[responses.impact.noise]\ncoupon = "1.35582 J"\nindent = "0.5 ft lbf"\n'
    )
    text = GOOD.replace("[layout]", f'[responses.impact]\nunit = "ft lbf"\n{more}\n[layout]')
    response = qb.read_study(written(tmp_path, text)).responses[-1]
    assert response.equivalence_margin == pytest.approx(2.0, abs=1e-4)
    assert response.noise is not None
    assert response.noise.sds == pytest.approx({"coupon": 1.0, "indent": 0.5}, abs=1e-5)
    text = text.replace('"2.7116 J"', '"2.7"')
    assert "has no unit 'ft lbf'" in problems(tmp_path, text)[0]


def test_forms_and_sheets_ask_in_the_unit_of_the_tester_and_are_read_in_joules(
    tmp_path: Path,
) -> None:
    study = with_impact(tmp_path, "ft lbf")
    study = replace(study, tester={"impact_capacity": "50 J"})
    matrix = qb.coupon_matrix(study, seed=1)
    [form] = [form for form in entry_forms(matrix) if form.name == "impact_checks"]
    assert form.columns[1:3] == ("certified_value_ftlbf", "impact_ftlbf_1")
    assert float(form.examples[0][1]) == pytest.approx(14.0 / JOULES, abs=0.05)
    check = bench_sheets(matrix).tests[-1].check
    assert check is not None
    assert check.heads[0] == "certified, ft lbf"
    (tmp_path / "r").mkdir()
    rows = "1,10.0,10.5,10.5,10.5,10.5,10.5,\n"
    head = ",".join(form.columns) + "\n"
    (tmp_path / "r" / "impact_checks.csv").write_text(head + rows, encoding="utf-8")
    code = matrix.frame["coupon"].iloc[0]
    (tmp_path / "r" / "impact.csv").write_text(
        f"coupon,impact_ftlbf\n{code},30.0\n", encoding="utf-8"
    )
    records = read_records(tmp_path / "r", matrix)
    assert records.readings["value"].tolist() == [30.0]
    frame = checks_of_testers(records).to_frame().set_index("check")
    assert frame.loc["impact error", "value"] == pytest.approx(0.5 * JOULES)
    assert frame.loc["impact error", "uncertainty"] > 0
    assert frame.loc["capacity", "value"] == pytest.approx(30 * JOULES)
    assert frame.loc["capacity", "outcome"] == "out"  # 40.7 of at most 40 J
