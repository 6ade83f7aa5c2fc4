"""The archive of a study: what is in it, that it holds together, that it says nothing private."""

from __future__ import annotations

import csv
import hashlib
import json
import re
import shutil
import stat
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import frictionless
import pytest
import xlsxwriter
import yaml
from tests.conftest import ROOT
from tests.open_data import files_of, rows_of, text_of

import quenchbook as qb
from quenchbook.columns import meaning
from quenchbook.errors import QuenchbookWarning, ReportError
from quenchbook.report.archive import zip_bytes
from quenchbook.report.edition import Edition

EXAMPLES = ("coated_bars", "leaf_springs", "plane_irons", "springs", "steel_bars", "two_lots")


@pytest.fixture(scope="module", params=EXAMPLES)
def example(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("examples") / request.param
    shutil.copytree(ROOT / "data" / request.param, folder)
    return qb.write_archive(folder)


def test_every_example_has_an_archive_that_frictionless_finds_valid(example: Path) -> None:
    # the general-purpose library checks types, constraints, keys, checksums and descriptor
    report = frictionless.validate(str(example), type="package")
    assert report.valid, report.flatten(["name", "message"])
    assert report.stats["tasks"] == len(list(_tables(example)))


def test_every_example_agrees_with_itself(example: Path) -> None:
    done = qb.verify_archive(example)
    assert done.agrees, done.summary()
    assert done.numbers > 100
    assert done.sentences == len(rows_of(example, "findings"))


def test_every_column_has_a_meaning_and_stands_in_the_dictionary(example: Path) -> None:
    study = qb.read_study(example.parent.parent)
    dictionary = {(row["table"], row["column"]): row for row in rows_of(example, "dictionary")}
    columns = {
        (name, column) for name in _tables(example) for column in _head(example, f"data/{name}.csv")
    }
    assert columns == set(dictionary)
    assert all(row["meaning"] for row in dictionary.values())
    for (_, column), row in dictionary.items():
        assert (row["meaning"], row["unit"]) == meaning(column, study)


def test_the_exact_twin_holds_the_same_rows(example: Path) -> None:
    for name in _tables(example):
        lines = text_of(example, f"exact/{name}.jsonl").splitlines()
        rows = rows_of(example, name)
        assert len(lines) == len(rows)
        assert list(json.loads(lines[0])) == list(rows[0])


def test_descriptor_tells_units_keys_licence_and_plan(plane_irons_archive: Path) -> None:
    package = json.loads(text_of(plane_irons_archive, "datapackage.json"))
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert package["licenses"][0]["name"] == "CC-BY-4.0"
    assert package["quenchbook:invented"] is True
    assert package["quenchbook:plan"].startswith("3db02e10")
    tables = {own["name"]: own["schema"] for own in package["resources"]}
    fields = {own["name"]: own for own in tables["coupons_as_run"]["fields"]}
    assert fields["austenitize_c"]["quenchbook:unit"] == "degC"
    assert fields["austenitize_c"]["type"] == "number"
    assert fields["cold_route"]["constraints"]["enum"][0] == "none"
    assert tables["readings"]["primaryKey"] == ["response", "coupon", "reading"]
    assert {
        "fields": ["coupon"],
        "reference": {"resource": "coupons_planned", "fields": ["coupon"]},
    } in tables["readings"]["foreignKeys"]


def test_frictionless_finds_a_reading_of_a_coupon_that_is_not_in_the_plan(
    plane_irons_archive: Path, tmp_path: Path
) -> None:
    with zipfile.ZipFile(plane_irons_archive) as archive:
        archive.extractall(tmp_path)
    path = tmp_path / "data" / "readings.csv"
    path.write_text(path.read_text("utf-8").replace("4FTD", "XXXX"), encoding="utf-8")
    report = frictionless.validate(str(tmp_path / "datapackage.json"))
    assert "foreign-key" in {kind for (kind,) in report.flatten(["type"])}


def test_checksums_are_those_that_sha256sum_expects(
    plane_irons_archive: Path, tmp_path: Path
) -> None:
    with zipfile.ZipFile(plane_irons_archive) as archive:
        archive.extractall(tmp_path)
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=tmp_path, check=False
    )
    assert done.returncode == 0


def test_same_study_gives_the_same_bytes(coated_bars_archive: Path, tmp_path: Path) -> None:
    folder = tmp_path / "elsewhere"
    shutil.copytree(ROOT / "data" / "coated_bars", folder)
    assert qb.write_archive(folder).read_bytes() == coated_bars_archive.read_bytes()


def test_entries_have_the_date_of_the_study_and_plain_permissions(
    plane_irons_archive: Path,
) -> None:
    with zipfile.ZipFile(plane_irons_archive) as archive:
        entries = archive.infolist()
    assert {entry.date_time for entry in entries} == {(2026, 9, 12, 0, 0, 0)}
    assert {entry.external_attr >> 16 for entry in entries} == {stat.S_IFREG | 0o644}
    names = [entry.filename for entry in entries]
    assert names[:-1] == sorted(names[:-1])
    assert names[-1] == "SHA256SUMS"


@pytest.mark.parametrize("date", ["", "spring of 2007", "1979-12-31", "2150-01-01"])
def test_a_date_that_a_zip_archive_cannot_hold_becomes_1980(date: str, tmp_path: Path) -> None:
    path = tmp_path / "one.zip"
    path.write_bytes(zip_bytes({"a": b""}, date))
    with zipfile.ZipFile(path) as archive:
        assert archive.infolist()[0].date_time == (1980, 1, 1, 0, 0, 0)


def test_records_plan_and_evidence_are_there_as_they_were_given(
    plane_irons_archive: Path,
) -> None:
    files = files_of(plane_irons_archive)
    source = ROOT / "data" / "plane_irons"
    for path in (*source.glob("plan/*"), *source.glob("records/*"), source / "evidence.csv"):
        assert files[f"study/{path.relative_to(source).as_posix()}"] == path.read_bytes()


def test_a_study_without_anything_private_is_a_true_copy(coated_bars_archive: Path) -> None:
    given = (ROOT / "data" / "coated_bars" / "study.toml").read_bytes()
    assert files_of(coated_bars_archive)["study/study.toml"] == given


def test_levels_that_were_run_stand_beside_those_planned_and_analysed(
    plane_irons_archive: Path,
) -> None:
    # records/deviations.csv: the delay of cold batch 1-4 was 85 min, planned 60
    late = [r for r in rows_of(plane_irons_archive, "coupons_as_run") if r["cold_batch"] == "1-4"]
    told = {
        (r["delay_minutes"], r["delay_minutes_planned"], r["delay_minutes_analysed"]) for r in late
    }
    assert told == {("85", "60", "60")}


def test_readings_tell_which_the_analysis_uses(plane_irons_archive: Path) -> None:
    rows = rows_of(plane_irons_archive, "readings")
    assert {row["analysed"] for row in rows} == {"true"}
    assert {(row["response"], row["unit"]) for row in rows} == {
        ("hardness_hrc", "HRC"), ("impact_j", "J"),
    }  # fmt: skip


def test_readings_are_those_of_the_record_files(plane_irons_archive: Path) -> None:
    # sums of the record files, by hand: 47 impact readings; session 1, coupon 4FTD
    rows = rows_of(plane_irons_archive, "readings")
    own = [float(r["value"]) for r in rows if r["coupon"] == "4FTD" and r["response"] != "impact_j"]
    assert own == [64.7, 64.2, 63.9, 64.1, 63.9]


def test_notebook_has_no_outputs_and_no_cells_for_supporters(coated_bars_folder: Path) -> None:
    place = coated_bars_folder / "notebooks"
    place.mkdir()
    given = json.loads((ROOT / "notebooks" / "05_report.ipynb").read_text("utf-8"))
    secret = {
        "cell_type": "markdown", "id": "s", "metadata": {"tags": ["supporters"]},
        "source": "Thanks to Harlequin",
    }  # fmt: skip
    note = {**secret, "id": "n", "metadata": {"tags": ["remove-cell"]}}
    output = {"output_type": "stream", "name": "stdout", "text": "Harlequin was here"}
    given["cells"] = [secret, note, *given["cells"]]
    unwanted = {"supporters", "remove-cell"}
    public = [c for c in given["cells"] if not unwanted & set(c["metadata"].get("tags", []))]
    public[-1] |= {"outputs": [output], "execution_count": 3}
    given["metadata"]["widgets"] = {"state": "Harlequin"}
    (place / "05_report.ipynb").write_text(json.dumps(given), encoding="utf-8")
    text = text_of(qb.write_archive(coated_bars_folder), "study/notebooks/05_report.ipynb")
    assert "Harlequin" not in text
    cells = json.loads(text)["cells"]
    assert [cell["id"] for cell in cells] == [cell["id"] for cell in public]
    assert 'study_folder = ".."' in "".join("".join(cell["source"]) for cell in cells)


def test_nothing_of_the_supporters_is_in_the_archive(coated_bars_folder: Path) -> None:
    path = coated_bars_folder / "study.toml"
    path.write_text(
        path.read_text("utf-8")
        + "\n[costs]\ncurrency = 'Groschen'\ncoupon = 3.2\n"
        + "\n# thanks to Harlequin\n[publishing]\nsupport = 'Harlequin paid for the oil'\n"
        + "reader_questions = [{ words = 'Is it worth it?' }]\n"
        + "[[publishing.photos]]\nfile = 'photos/a.jpg'\ncaption = 'Columbine at the furnace'\n"
        + "alt = 'A person stands beside a furnace'\n",
        encoding="utf-8",
    )
    (coated_bars_folder / "photos").mkdir()
    (coated_bars_folder / "photos" / "a.jpg").write_bytes(b"jpeg")
    archive = qb.write_archive(coated_bars_folder)
    everything = b"\n".join([*files_of(archive).values(), *map(str.encode, files_of(archive))])
    for word in (b"Harlequin", b"Columbine", b"Groschen", b"jpg", b"jpeg"):
        assert word not in everything
    copy = text_of(archive, "study/study.toml")
    # all but prices and words is public: with the checksum of the whole, prices can be guessed
    assert hashlib.sha256(path.read_bytes()).hexdigest() not in copy
    assert "Is it worth it?" in copy
    assert qb.verify_archive(archive).agrees
    assert "Not in this copy: [costs], support of [publishing]" in text_of(archive, "README.md")


def test_accepted_entries_go_along_and_are_checked(coated_bars_folder: Path) -> None:
    _, matrix, _ = qb.read_folder(coated_bars_folder)
    qb.accept_records(coated_bars_folder / "records", matrix)
    archive = qb.write_archive(coated_bars_folder)
    assert "study/records/kept/entries_0001.csv" in files_of(archive)
    assert "sealed" in text_of(archive, "README.md")
    assert qb.verify_archive(archive).agrees


def test_a_continued_plan_goes_along(tmp_path: Path) -> None:
    folder = tmp_path / "lots"
    shutil.copytree(ROOT / "data" / "two_lots", folder)
    qb.next_study(folder, 1, aim="same", seed=3)
    archive = qb.write_archive(folder)
    assert "study/plan/continuation_1.csv" in files_of(archive)
    assert qb.verify_archive(archive).agrees


def test_supporters_get_no_archive_of_their_own(coated_bars_folder: Path) -> None:
    from quenchbook.archive_steps import write_archive_edition

    study = qb.read_study(coated_bars_folder)
    reports = coated_bars_folder / "reports"
    document: Any = None
    assert write_archive_edition(Edition("supporters", study, document, reports)) == []
    assert not reports.exists()
    for to in (["archive"], ["archive", "html"]):
        with pytest.raises(ReportError, match="comes with the public edition"):
            qb.report_study(coated_bars_folder, editions=["supporters"], to=to)
    assert not reports.exists()


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("notes.txt", "is no name of a zip archive"),
        ("photos.zip", "is no archive of open data"),
        ("folder.zip", "is no archive of open data"),
    ],
)
def test_a_file_of_somebody_else_is_not_replaced(
    name: str, told: str, coated_bars_folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    (tmp_path / "folder.zip").mkdir()
    with zipfile.ZipFile(tmp_path / "photos.zip", "w") as archive:
        archive.writestr("a.jpg", b"mine")
    before = {path: path.read_bytes() for path in tmp_path.glob("*.*") if path.is_file()}
    with pytest.raises(ReportError, match=told):
        qb.write_archive(coated_bars_folder, tmp_path / name)
    assert {path: path.read_bytes() for path in before} == before


def test_an_archive_is_replaced_and_its_folders_are_made(
    coated_bars_folder: Path, tmp_path: Path
) -> None:
    path = tmp_path / "new" / "deep" / "x.zip"
    first = qb.write_archive(coated_bars_folder, path).read_bytes()
    assert qb.write_archive(coated_bars_folder, path).read_bytes() == first


def test_a_place_that_cannot_be_written_is_told(coated_bars_folder: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a file", encoding="utf-8")
    with pytest.raises(ReportError, match="cannot be written"):
        qb.write_archive(coated_bars_folder, tmp_path / "file" / "x.zip")


def test_records_that_are_workbooks_go_along_with_a_warning(coated_bars_folder: Path) -> None:
    records = coated_bars_folder / "records"
    book = xlsxwriter.Workbook(records / "resistance.xlsx")
    sheet = book.add_worksheet("resistance")
    lines = (records / "resistance.csv").read_text("utf-8").splitlines()
    for number, row in enumerate(csv.reader(lines[1:])):  # the first names the plan
        sheet.write_row(number, 0, [float(cell) if cell.isdigit() else cell for cell in row])
    book.close()
    (records / "resistance.csv").unlink()
    with pytest.warns(
        QuenchbookWarning, match=r"resistance\.xlsx: a workbook goes .* byte for byte"
    ):
        archive = qb.write_archive(coated_bars_folder)
    told = "- `study/records/resistance.xlsx`: workbooks, byte for byte"
    assert told in text_of(archive, "README.md")
    assert qb.verify_archive(archive).agrees


# --- papers ---------------------------------------------------------------------------------------


def test_citation_follows_the_schema_of_the_format(example: Path) -> None:
    # Citation File Format 1.2.0, schema.json: required fields, no others than these, an entity has
    # a name, the date is year-month-day; read in the repository of the format on 2026-11-26
    own = yaml.safe_load(text_of(example, "CITATION.cff"))
    assert {"authors", "cff-version", "message", "title"} <= set(own)
    assert set(own) <= {
        "abstract", "authors", "cff-version", "date-released", "keywords", "license", "message",
        "title", "type",
    }  # fmt: skip
    assert own["cff-version"] == "1.2.0"
    assert own["type"] == "dataset"
    assert all(set(author) == {"name"} and author["name"] for author in own["authors"])
    assert re.fullmatch(r"[0-9]{4}-(0[1-9]|1[012])-(0[1-9]|[12][0-9]|3[01])", own["date-released"])
    assert own.get("license") in (None, "CC-BY-4.0", "CC0-1.0")
    assert len(own["keywords"]) == len(set(own["keywords"])) > 0


def test_readme_says_that_the_demonstration_is_invented(plane_irons_archive: Path) -> None:
    text = text_of(plane_irons_archive, "README.md")
    assert "**Invented demonstration: nothing here happened" in text
    assert "local codes and licensed practice come first" in text
    for path in files_of(plane_irons_archive):
        folder, _, name = path.rpartition("/")
        assert name in text or folder in text


def test_readme_tells_the_model_of_each_response_and_its_units(plane_irons_archive: Path) -> None:
    text = text_of(plane_irons_archive, "README.md")
    assert (
        "- `log(impact_j) ~ austenitize + cold_route + temper + delay + day`, random units "
        "`furnace_load + cold_batch + temper_batch + coupon`; austenitize_c as a quadratic curve"
    ) in text
    assert "- `hardness_hrc ~ austenitize + cold_route" in text


def test_limits_follow_from_the_recipe_of_the_readme(plane_irons_archive: Path) -> None:
    # "estimate plus and minus std_error times the quantile of Student's t with df": scipy.stats
    from scipy.stats import t

    assert "quantile of\nStudent's t with `df`" in text_of(plane_irons_archive, "README.md")
    rows = {row["key"]: row for row in rows_of(plane_irons_archive, "findings")}
    for key in ("freezer", "dry_ice", "temper", "cold_needs_heat"):
        row = {name: float(rows[key][name]) for name in
               ("estimate", "std_error", "df", "confidence", "conf_low", "conf_high")}  # fmt: skip
        half = row["std_error"] * t.ppf((1 + row["confidence"]) / 2, row["df"])
        assert row["conf_low"] == pytest.approx(row["estimate"] - half, rel=1e-9)
        assert row["conf_high"] == pytest.approx(row["estimate"] + half, rel=1e-9)


def test_environment_can_be_read_by_pip(plane_irons_archive: Path) -> None:
    from packaging.requirements import Requirement

    lines = text_of(plane_irons_archive, "environment.txt").splitlines()
    assert lines[0].startswith("# Python 3.")
    names = [Requirement(line).name for line in lines[1:]]
    assert {"quenchbook", "numpy", "pandas", "scipy"} <= set(names)


@pytest.mark.parametrize(
    ("licence", "words"),
    [
        ("CC-BY-4.0", "https://creativecommons.org/licenses/by/4.0/"),
        ("CC0-1.0", "https://creativecommons.org/publicdomain/zero/1.0/"),
        ("ask the author first", "    ask the author first"),
    ],
)
def test_licence_is_named_or_quoted(licence: str, words: str, coated_bars_folder: Path) -> None:
    _edit(
        coated_bars_folder, lambda text: re.sub(r'licence = ".*"', f'licence = "{licence}"', text)
    )
    archive = qb.write_archive(coated_bars_folder)
    assert words in text_of(archive, "LICENSE.txt")
    package = json.loads(text_of(archive, "datapackage.json"))
    assert ("name" in package["licenses"][0]) == licence.startswith("CC")
    assert frictionless.validate(str(archive), type="package").valid


def test_hostile_words_are_shown_as_they_are(coated_bars_folder: Path) -> None:
    words = "=cmd|' /C calc'!A0 <script>alert(1)</script> [x](http://x) \\u0085 \\u202e: #"
    _edit(
        coated_bars_folder, lambda t: re.sub(r'author = ".*"', lambda _: f'author = "{words}"', t)
    )
    archive = qb.write_archive(coated_bars_folder)
    study = qb.read_study(coated_bars_folder)
    own = yaml.safe_load(text_of(archive, "CITATION.cff"))
    assert own["authors"][0]["name"] == study.author
    text = text_of(archive, "README.md")
    assert "<script" not in text.replace("\\<", "")
    assert "[x](" not in text
    assert "\u202e" not in text
    assert qb.verify_archive(archive).agrees


def test_a_note_that_is_a_formula_is_guarded_and_kept_exactly(coated_bars_folder: Path) -> None:
    note = "=1+1;=HYPERLINK(x)"
    (coated_bars_folder / "records" / "deviations.csv").write_text(
        f'what,which,item,actual,note\nfurnace_load,1,note,,"{note}"\n', encoding="utf-8"
    )
    archive = qb.write_archive(coated_bars_folder)
    assert rows_of(archive, "deviations")[0]["note"] == "'=1+1;'=HYPERLINK(x)"
    assert json.loads(text_of(archive, "exact/deviations.jsonl"))["note"] == note
    guarded = {(r["table"], r["column"]): r["guarded"] for r in rows_of(archive, "dictionary")}
    assert guarded["deviations", "note"] == "true"
    assert guarded["deviations", "row"] == "false"
    assert qb.verify_archive(archive).agrees


def test_a_file_name_that_no_archive_should_hold_is_named(coated_bars_folder: Path) -> None:
    records = coated_bars_folder / "records"
    (records / "resistance.csv").rename(records / "resist\\ance.csv")
    with pytest.raises(ReportError, match="Rename the file"):
        qb.write_archive(coated_bars_folder)


def _tables(archive: Path) -> list[str]:
    return [Path(p).stem for p in files_of(archive) if p.startswith("data/")]


def _head(archive: Path, path: str) -> list[str]:
    return text_of(archive, path).split("\n", 1)[0].split(",")


def _edit(folder: Path, change: Callable[[str], str]) -> None:
    path = folder / "study.toml"
    text = path.read_text("utf-8")
    assert change(text) != text
    path.write_text(change(text), encoding="utf-8")
