"""An invented study with references, forbidden treatments and repeats, from file to answers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.bench.forms import entry_forms
from quenchbook.bench.sheets import bench_sheets
from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.reading import Records
from quenchbook.records.references import reference_means
from quenchbook.report.study_tables import coupon_table, reference_blocks

STUDY = """\
format = 1
key = "order_of_steps"
title = "Invented: a temper before the cold step"
question = "Does a temper before the cold step cost hardness?"
invented = true

[factors.austenitize]
levels = { lowest = "970 degC", highest = "1030 degC", step = "30 degC" }
set_for = "furnace_load"
repeats = [2, 1, 2]

[factors.heat_lot]
levels = ["A", "B"]
set_for = "bar"

[factors.cold_route]
levels = ["none", "dry_ice"]
set_for = "cold_batch"

[factors.step_order]
levels = ["cold_then_temper", "temper_then_cold"]
set_for = "cold_batch"
exists_for = { cold_route = ["dry_ice"] }

[factors.temper_cycles]
levels = [1, 2]
unit = "times"
set_for = "temper_batch"

[responses.hardness]
unit = "HRC"
readings = 2
equivalence_margin = "0.5 HRC"
combinations = "none"

[layout]
furnace_loads = 10
coupons_per_load = 8
loads_per_day = 5
coupons_per_temper_batch = 10
bars = 8
coupons_per_bar = 12

[[forbidden]]
levels = { austenitize = "1030 degC", cold_route = "none" }

[[extra_coupons]]
key = "as_quenched"
words = "as quenched, no temper"
coupons = 4
levels = { austenitize = "1000 degC" }

[[extra_coupons]]
key = "untreated"
coupons = 1

[[extra_coupons]]
key = "usual"
coupons = 3
levels = { austenitize = "970 degC", heat_lot = "A", cold_route = "none", temper_cycles = 2 }

[[questions]]
key = "cold"
words = "Does dry ice make it harder?"
response = "hardness"
compare = { cold_route = ["dry_ice", "none"] }

[[questions]]
key = "lot"
words = "Do the lots differ?"
response = "hardness"
compare = { heat_lot = ["A", "B"] }
"""

GAIN = 1.5  # of dry ice [HRC], the truth of the invented readings


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    matrix = qb.coupon_matrix(qb.read_study(folder), seed=5)
    qb.write_plan(matrix, folder / "plan")
    (folder / "records").mkdir()
    readings(matrix).to_csv(folder / "records" / "hardness.csv", index=False)
    return folder


def readings(matrix: CouponMatrix) -> pd.DataFrame:
    """Simulated readings; references are far off, so that a model with them would show it."""
    draw, frame = np.random.default_rng(11), matrix.frame
    truth = 60 + GAIN * (frame["cold_route"] == "dry_ice")
    truth = truth.mask(frame["reference"] == "as_quenched", 66).mask(
        frame["reference"] == "untreated", 20
    )
    loads = draw.normal(0, 0.2, 11)[frame["furnace_load"]]
    value = truth + loads + draw.normal(0, 0.3, len(frame))
    table = pd.DataFrame({"coupon": frame["coupon"]})
    for number in (1, 2):
        read = (value + draw.normal(0, 0.3, len(frame))).round(1)
        table[f"hardness_hrc_{number}"] = read
    return table


@pytest.fixture(scope="module")
def matrix(folder: Path) -> CouponMatrix:
    return qb.read_plan(folder / "plan", qb.read_study(folder))


@pytest.fixture(scope="module")
def records(folder: Path, matrix: CouponMatrix) -> Records:
    return qb.read_records(folder / "records", matrix)


def test_references_are_read_and_in_no_model(records: Records) -> None:
    assert len(records.readings) == 2 * (80 + 4 + 1 + 3)
    model = qb.mixed_model(records, "hardness_hrc")
    assert len(model.coupons) == 80 + 3
    assert model.coupons["value"].between(57, 64).all()


def test_one_note_says_how_many_references_there_are_and_why(records: Records) -> None:
    told = [note for note in records.notes if "reference" in note]
    assert told == [
        "5 reference coupons (4 as quenched, no temper and 1 untreated): shown and in no model, "
        "because they leave out steps that the others get."
    ]


def test_means_of_references_are_those_of_the_file(folder: Path, records: Records) -> None:
    table = pd.read_csv(folder / "records" / "hardness.csv").set_index("coupon")
    frame = records.matrix.frame
    codes = frame.loc[frame["reference"] == "as_quenched", "coupon"]
    own = table.loc[codes].mean(axis=1)
    first, second = reference_means(records).to_dict("records")
    assert (first["reference"], first["coupons"], first["readings"]) == ("as_quenched", 4, 8)
    assert first["mean"] == pytest.approx(own.mean())
    assert first["sd"] == pytest.approx(own.std())
    assert second["coupons"] == 1
    assert np.isnan(second["sd"])
    assert "As quenched, no temper (reference): hardness" in records.summary()
    assert "nan" not in records.summary()


def test_the_report_shows_references_with_their_words(records: Records) -> None:
    section, shown = reference_blocks(records)
    assert section.title == "References"  # type: ignore[union-attr]
    assert [row[0] for row in shown.rows] == ["as quenched, no temper", "untreated"]  # type: ignore[union-attr]
    assert shown.rows[1][-1] == "not known"  # type: ignore[union-attr]
    rows = coupon_table(qb.analyse(records)).rows
    assert sum(row[1] == "as quenched, no temper" for row in rows) == 4
    assert all(row[-1] for row in rows)


def test_a_study_without_references_has_no_table_of_them(plane_irons_matrix: CouponMatrix) -> None:
    from tests.conftest import ROOT

    records = qb.read_records(ROOT / "data" / "plane_irons" / "records", plane_irons_matrix)
    assert reference_blocks(records) == []
    assert reference_means(records).empty


def test_the_truth_is_found_and_lots_are_judged_on_bars(records: Records) -> None:
    analysis = qb.analyse(records)
    cold, lot = analysis.findings
    assert cold.verdict in ("exceeds", "differs")
    assert cold.conf_low < GAIN < cold.conf_high  # type: ignore[union-attr]
    tests = analysis.models["hardness_hrc"].tests().set_index("term")
    assert tests.loc["heat_lot", "stratum"] == "bar"
    assert 0 < tests.loc["heat_lot", "df_error"] <= 6
    assert tests.loc["temper_cycles", "stratum"] == "temper_batch"
    assert lot.verdict != "exceeds"


def test_sheets_say_references_orders_and_tempers(matrix: CouponMatrix) -> None:
    sheets = bench_sheets(matrix)
    words = {"reference": 0, "order": 0}
    for sheet in sheets.loads:
        for row in sheet.rows:
            if any(entry.under == "as quenched, no temper" for entry in row.entries):
                words["reference"] += 1
                assert not row.is_cold
            words["order"] += any(entry.text == "temper then cold" for entry in row.entries)
    frame = matrix.frame
    assert words == {
        "reference": 4, "order": int((frame["step_order"] == "temper_then_cold").sum()),
    }  # fmt: skip
    assert {sheet.settings for sheet in sheets.tempers} == {("once",), ("twice",)}
    for batch in sheets.tempers:
        assert len(batch.cycles) == (2 if batch.settings == ("twice",) else 1)
        assert batch.order_head == "step order"
    untreated = frame.loc[frame["reference"] == "untreated", "coupon"].item()
    lines = " ".join(sheet.line for sheet in sheets.bars)
    assert f"In no furnace load: {untreated} (untreated)." in lines
    assert lines.count("Heat lot A.") == lines.count("Heat lot B.") == 4
    assert not any("A" in {entry.text for entry in r.entries} for s in sheets.loads for r in s.rows)


def test_untreated_coupons_are_on_a_load_sheet_where_there_are_no_bars(folder: Path) -> None:
    text = STUDY.replace("bars = 8\n", "").replace("coupons_per_bar = 12\n", "")
    text = text.replace('set_for = "bar"', 'set_for = "coupon"')
    (folder / "other").mkdir()
    (folder / "other" / "study.toml").write_text(text, encoding="utf-8")
    sheets = bench_sheets(qb.coupon_matrix(qb.read_study(folder / "other"), seed=1))
    told = {sheet.title for sheet in sheets.loads if "In no furnace load" in sheet.hint}
    assert told == {"Furnace load 1"}
    assert not sheets.bars


def test_forms_have_no_row_for_no_load(matrix: CouponMatrix) -> None:
    forms = {form.name: form for form in entry_forms(matrix)}
    assert [row[0] for row in forms["furnace_log"].rows] == list(range(1, 11))
    assert len(forms["hardness"].rows) == len(matrix.frame)


def test_documents_and_picture_can_be_made(matrix: CouponMatrix, tmp_path: Path) -> None:
    paths = qb.write_bench_documents(matrix, tmp_path)
    assert [path.name for path in paths] == ["booklet.pdf", "booklet.html", "timetable.csv"]
    assert all(path.stat().st_size > 1_000 for path in paths)
    drawing = qb.figure_coupon_matrix(matrix)
    assert "An empty tile is a reference coupon." in drawing.notes
    assert len(drawing.to_frame()) == 80 + 4 + 3


@pytest.mark.parametrize(
    ("label", "message"),
    [
        ("0", "furnace load '0' is not in this plan"),
        ("11", "furnace load '11' is not in this plan"),
    ],
)
def test_no_load_is_no_load_of_a_deviation(
    folder: Path, matrix: CouponMatrix, tmp_path: Path, label: str, message: str
) -> None:
    text = f"what,which,item,actual,note\nfurnace_load,{label},note,,late\n"
    (tmp_path / "deviations.csv").write_text(text, encoding="utf-8")
    with pytest.raises(RecordError, match=message):
        qb.read_records(tmp_path, matrix)
