"""An archive is recomputed: every change is found, and nothing in it is executed."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from tests.open_data import changed, files_of, replaced

import quenchbook as qb
from quenchbook import archive_steps
from quenchbook.cli import main
from quenchbook.columns import meaning
from quenchbook.errors import ArchiveError
from quenchbook.report.archive import checksums, zip_bytes
from quenchbook.report.archive_comparison import page_text, printed_texts
from quenchbook.report.document import Document
from quenchbook.report.html import html_page
from quenchbook.report.verification import Verification


def places(done: Verification) -> set[tuple[str, str, str]]:
    return {(own.table, own.row, own.column) for own in done.differences}


def test_a_changed_reading_is_found_by_its_checksum(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"study/records/resistance.csv": replaced("67", "68")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one, seal=False))
    assert ("study/records/resistance.csv", "", "sha256") in places(done)


def test_a_changed_reading_with_mended_checksums_is_found_by_recomputing(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"study/records/resistance.csv": replaced("67", "68")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    found = [own for own in done.differences if own.table.partition("/")[2].startswith("readings")]
    assert [(own.archived, own.recomputed) for own in found] == [("67", "68")]
    assert ("data/findings.csv", "coating", "p_value") in places(done)
    assert ("data/findings.csv", "coating", "sentence") in places(done)
    assert "sha256" not in {column for _, _, column in places(done)}


def test_a_changed_reading_that_was_changed_everywhere_else_too_is_found_in_the_findings(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {
        "study/records/resistance.csv": replaced("67", "68"),
        "data/readings.csv": replaced(",67,", ",68,"),
        "exact/readings.jsonl": replaced('"value": 67', '"value": 68'),
    }
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert {table.partition("/")[2].partition(".")[0] for table, _, _ in places(done)} == {
        "findings", "tests", "variance_components",
    }  # fmt: skip


def test_a_changed_number_is_named_with_both_values(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"data/findings.csv": replaced("11.479759", "11.579759")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    (own,) = done.differences
    assert done.same == done.numbers - 1
    assert (own.table, own.row, own.column) == ("data/findings.csv", "coating", "statistic")
    assert float(own.archived) == pytest.approx(11.579759116761457)
    assert float(own.recomputed) == pytest.approx(11.479759116761457)


@pytest.mark.parametrize(("size", "count"), [(1 + 5e-7, 0), (1 + 2e-6, 1)])
def test_numbers_may_differ_by_a_millionth(
    size: float, count: int, coated_bars_archive: Path, tmp_path: Path
) -> None:
    text = files_of(coated_bars_archive)["data/variance_components.csv"].decode()
    number = re.search(r"1172\.\d+", text)
    assert number is not None
    own = {
        "data/variance_components.csv": replaced(number[0], repr(float(number[0]) * size)),
    }
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", own))
    assert len(done.differences) == count


def test_a_changed_sentence_is_found(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"data/findings.csv": replaced("was not shown", "was shown")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert {column for _, _, column in places(done)} == {"sentence"}


def test_a_changed_twin_is_found(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"exact/tests.jsonl": replaced("11.47", "12.47")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert {table for table, _, _ in places(done)} == {"exact/tests.jsonl"}


def test_a_changed_checksum_is_found(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"SHA256SUMS": lambda text: "0" * 64 + text[64:]}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one, seal=False))
    assert places(done) == {("CITATION.cff", "", "sha256")}


def test_a_row_that_is_left_out_is_found(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"data/readings.csv": lambda text: re.sub(r"resistance,H3C1.*\n", "", text)}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert places(done) == {
        ("data/readings.csv", "", "number of rows"), ("data/readings.csv", "resistance H3C1 1", ""),
    }  # fmt: skip


def test_files_that_are_not_listed_or_not_there_are_found(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    files = files_of(coated_bars_archive)
    files["data/more.csv"] = b"a\n1\n"
    del files["data/tests.csv"]
    path = tmp_path / "x.zip"
    path.write_bytes(zip_bytes(files))
    done = qb.verify_archive(path)
    assert {("data/more.csv", "", "sha256"), ("data/more.csv", "", ""),
            ("data/tests.csv", "", "sha256"), ("data/tests.csv", "", "")} <= places(done)  # fmt: skip


def test_a_changed_margin_is_found(plane_irons_archive: Path, tmp_path: Path) -> None:
    one = {"study/study.toml": replaced('"0.5 HRC"', '"0.9 HRC"')}
    done = qb.verify_archive(changed(plane_irons_archive, tmp_path / "x.zip", one))
    assert ("data/findings.csv", "dry_ice", "declared") in places(done)
    assert ("data/findings.csv", "dry_ice", "margin") in places(done)


def test_a_changed_plan_cannot_be_read(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"study/plan/coupon_matrix.csv": replaced("360", "370")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert not done.agrees
    assert done.numbers == 0
    assert "study cannot be recomputed: '" in done.summary()
    assert "recomputed ''" not in done.summary()
    assert "/tmp" not in done.summary()


@pytest.mark.parametrize("text", ['{"a": ' * 100_000, "[1]", '{"declared": 7}', "\x00"])
def test_a_plan_that_is_no_plan_is_a_difference(
    text: str, coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"study/plan/plan.json": lambda _: text}
    assert not qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one)).agrees


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("datapackage.json", replaced('"quenchbook:plan": "', '"quenchbook:plan": "0')),
        ("datapackage.json", replaced('"created"', '"made"')),
        ("README.md", replaced("Plan ", "Plan 0")),
        ("LICENSE.txt", replaced("Author: ", "Author: Brighella, ")),
        ("CITATION.cff", replaced("name: ", "name: B")),
    ],
)
def test_a_changed_paper_with_mended_checksums_is_found(
    path: str, change: Callable[[str], str], coated_bars_archive: Path, tmp_path: Path
) -> None:
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", {path: change}))
    assert {(own.table, own.column) for own in done.differences} == {(path, "line")}


def test_a_descriptor_with_the_checksum_of_another_table_is_found(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    files = files_of(coated_bars_archive)
    files["data/readings.csv"] = files["data/readings.csv"].replace(b"\n", b"\r\n")  # same cells
    files["SHA256SUMS"] = checksums(
        {path: data for path, data in files.items() if path != "SHA256SUMS"}
    ).encode()
    path = tmp_path / "x.zip"
    path.write_bytes(zip_bytes(files))
    done = qb.verify_archive(path)
    assert {(own.table, own.column) for own in done.differences} == {("datapackage.json", "line")}


def test_files_that_are_not_recomputed_are_named(coated_bars_archive: Path, tmp_path: Path) -> None:
    notebook = {"study/notebooks/05_report.ipynb": replaced("import quenchbook", "import os")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", notebook))
    assert done.not_compared == ("study/notebooks/05_report.ipynb",)
    assert "taken as given: study/notebooks/05_report.ipynb." in done.summary()
    assert "All that was compared agrees." in done.summary()
    assert qb.verify_archive(coated_bars_archive).not_compared == ()


def test_papers_of_another_version_are_named_as_not_compared(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"environment.txt": lambda text: re.sub("quenchbook==.*", "quenchbook==9.9", text)}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert {"CITATION.cff", "LICENSE.txt", "README.md", "datapackage.json"} <= set(
        done.not_compared
    )


def test_a_study_of_a_stranger_that_is_too_large_is_not_analysed(
    coated_bars_archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(archive_steps, "MOST_COUPONS", 5)
    monkeypatch.setattr("quenchbook.findings.answers.analyse", None)
    (own,) = qb.verify_archive(coated_bars_archive).differences
    assert re.search(r"it has \d+ coupons; an archive is recomputed up to 5", str(own))


def test_a_study_that_needs_too_much_memory_is_a_difference(
    coated_bars_archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def analyse(_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("quenchbook.findings.answers.analyse", analyse)
    assert not qb.verify_archive(coated_bars_archive).agrees


def test_other_versions_are_named(coated_bars_archive: Path, tmp_path: Path) -> None:
    one = {"environment.txt": lambda text: re.sub(r"numpy==.*", "numpy==1.0.0", text)}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    assert done.agrees
    assert "numpy 1.0.0 there, " in done.summary()


def test_nothing_of_the_archive_is_executed(coated_bars_archive: Path, tmp_path: Path) -> None:
    mark = tmp_path / "executed"

    def armed(text: str) -> str:
        notebook = json.loads(text)
        for cell in notebook["cells"]:
            cell["source"] = [f"open({str(mark)!r}, 'w')"]
        return json.dumps(notebook)

    one = {"study/notebooks/05_report.ipynb": armed}
    assert qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one)).agrees
    assert not mark.exists()


def test_what_differs_is_a_table_of_known_columns(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    one = {"data/findings.csv": replaced("11.479759", "11.579759")}
    done = qb.verify_archive(changed(coated_bars_archive, tmp_path / "x.zip", one))
    frame = done.to_frame()
    assert len(frame) == 1
    assert all(meaning(str(column))[0] for column in frame)


def test_an_archive_of_somebody_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.zip"
    path.write_bytes(zip_bytes({"SHA256SUMS": b"", "a.txt": b"a"}))
    with pytest.raises(ArchiveError, match="holds no study/study"):
        qb.verify_archive(path)


# --- the page beside the archive ------------------------------------------------------------------


@pytest.fixture
def published(coated_bars_archive: Path, tmp_path: Path) -> tuple[Path, Path]:
    """Archive with a page beside it that prints the answers as the report does."""
    from html import escape

    archive = Path(shutil.copy(coated_bars_archive, tmp_path))
    analysis = qb.analyse(qb.read_folder(coated_bars_archive.parent.parent)[2])
    words = "".join(f"<p>{escape(text)}</p>" for text in printed_texts(analysis).values())
    page = tmp_path / "coated_bars.html"
    page.write_text(f"<html><body>{words}</body></html>", encoding="utf-8")
    return archive, page


def test_answers_are_looked_for_in_the_page_beside(published: tuple[Path, Path]) -> None:
    done = qb.verify_archive(published[0])
    assert done.agrees
    assert done.page == "coated_bars.html"
    assert done.printed == 7  # the answer, and a row and a paragraph for each of three questions


@pytest.mark.parametrize("place", range(3))
def test_a_changed_sentence_of_the_page_is_found_wherever_it_stands(
    place: int, published: tuple[Path, Path]
) -> None:
    archive, page = published
    parts = page.read_text(encoding="utf-8").split("11.48")  # answer, row, paragraph of coating
    assert len(parts) == 4
    changed_page = "11.48".join(parts[: place + 1]) + "12.48" + "11.48".join(parts[place + 1 :])
    page.write_text(changed_page, encoding="utf-8")
    done = qb.verify_archive(archive)
    assert [own.table for own in done.differences] == ["coated_bars.html"]


def test_answers_stand_in_a_page_of_the_report_as_it_is_made(
    coated_bars_archive: Path, tmp_path: Path
) -> None:
    archive = Path(shutil.copy(coated_bars_archive, tmp_path))
    analysis = qb.analyse(qb.read_folder(coated_bars_archive.parent.parent)[2])
    blocks = (*qb.report_answer(analysis), *qb.report_questions(analysis))
    page = html_page(Document(analysis.study.question, blocks))
    (tmp_path / "coated_bars.html").write_text(page, encoding="utf-8")
    done = qb.verify_archive(archive)
    assert done.agrees, done.summary()
    assert done.printed == 7
    (tmp_path / "coated_bars.html").write_text(page.replace("2.75", "2.57"), encoding="utf-8")
    assert not qb.verify_archive(archive).agrees


def test_words_of_a_page_leave_out_pictures_and_note_marks() -> None:
    page = (
        "<style>a</style><p>It is <b>63</b>&nbsp;HRC<sup>1</sup>, <svg><text>64</text></svg>so.</p>"
    )
    assert page_text(page) == "Itis63HRC,so."


# --- command --------------------------------------------------------------------------------------


def test_command_ends_with_0_when_all_agrees(
    coated_bars_archive: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(coated_bars_archive)]) == 0
    said = capsys.readouterr().out
    assert "All of it agrees." in said
    assert "not who made it" in said


def test_command_ends_with_2_when_something_differs(
    coated_bars_archive: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one = {"data/findings.csv": replaced("11.479759", "11.579759")}
    assert main(["verify", str(changed(coated_bars_archive, tmp_path / "x.zip", one))]) == 2
    assert "data/findings.csv, row coating, statistic: archived" in capsys.readouterr().out


def test_command_names_a_file_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(tmp_path / "none.zip")]) == 2
    assert "there is no such file" in capsys.readouterr().err
