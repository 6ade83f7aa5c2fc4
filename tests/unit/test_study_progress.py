"""Where a study stands, told from its folder."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook.planning_steps import plan_study
from quenchbook.steps import copy_example, new_study
from quenchbook.study_standing import study_progress


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return copy_example("plane_irons", tmp_path / "demo")


def test_a_new_study_is_told_to_begin_with_the_plan(tmp_path: Path) -> None:
    new_study(tmp_path / "mine")
    progress = study_progress(tmp_path / "mine")
    assert {step.state for step in progress.steps} == {"open"}
    assert progress.summary().startswith("Next: say in study.toml")
    assert "author is still 'your name'" in progress.notes[0]


def test_after_the_plan_comes_the_booklet_and_after_it_the_furnace(tmp_path: Path) -> None:
    folder = tmp_path / "mine"
    new_study(folder)
    plan_study(folder, seed=1)
    progress = study_progress(folder)
    assert progress.step("plan").state == "done"
    assert "36 coupons in 9 furnace loads" in progress.step("plan").words
    assert "02_bench" in progress.comes_next
    (folder / "bench" / "forms").mkdir(parents=True)
    (folder / "bench" / "booklet.html").touch()
    (folder / "bench" / "forms" / "hardness.csv").touch()
    progress = study_progress(folder)
    assert progress.step("bench").words == "booklet, and 1 form"
    assert progress.comes_next.startswith("work at the furnace")


def test_a_study_with_all_its_records_is_ready_for_its_answers(demo: Path) -> None:
    progress = study_progress(demo)
    records = progress.step("records")
    assert records.state == "done"
    assert "hardness of 95 of 96 (1 lost or blank), impact energy of 48 of 48" in records.words
    assert "04_analysis" in progress.comes_next


def test_records_of_a_part_of_the_coupons_are_in_part(demo: Path) -> None:
    (demo / "records" / "impact.csv").unlink()
    progress = study_progress(demo)
    assert progress.step("records").state == "in part"
    assert "impact energy of 0 of 48" in progress.step("records").words
    (demo / "bench").mkdir()
    (demo / "bench" / "booklet.html").touch()
    assert study_progress(demo).comes_next.startswith("the other readings")


def test_mistakes_in_the_records_are_named_and_come_first(demo: Path) -> None:
    path = demo / "records" / "impact.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([lines[0], *lines[2:], lines[2]]) + "\n", encoding="utf-8")
    progress = study_progress(demo)
    assert progress.step("records").state == "look again"
    assert "03_records" in progress.comes_next
    assert any("impact.csv" in note for note in progress.notes)


def test_a_report_older_than_the_records_is_to_be_written_again(demo: Path) -> None:
    (demo / "reports").mkdir()
    page = demo / "reports" / "plane_irons.html"
    page.touch()
    progress = study_progress(demo)
    assert progress.step("report").state == "done"
    assert progress.comes_next.startswith("read the report")
    os.utime(page, (0, 0))
    progress = study_progress(demo)
    assert progress.step("report").state == "look again"
    assert "05_report" in progress.comes_next


def test_the_verdicts_of_written_tables_are_counted(demo: Path) -> None:
    (demo / "reports").mkdir()
    path = demo / "reports" / "findings.csv"
    path.write_text("key,verdict\na,exceeds\nb,undecided\nc,exceeds\n", encoding="utf-8")
    words = study_progress(demo).step("answers").words
    assert words == "3 questions answered: 2 exceeds, 1 undecided"


def test_a_plan_that_does_not_fit_the_study_file_is_told(demo: Path) -> None:
    path = demo / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"970 degC"', '"975 degC"'), encoding="utf-8")
    progress = study_progress(demo)
    assert progress.step("plan").state == "look again"
    assert progress.comes_next.startswith("the plan and study.toml do not fit")
    assert progress.notes


def test_a_study_file_that_cannot_be_read_is_told_and_no_error(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text("format = = 1", encoding="utf-8")
    progress = study_progress(tmp_path)
    assert progress.comes_next == "put study.toml right; then look here again."
    assert "study.toml" in progress.notes[0]


def test_looking_writes_nothing(demo: Path) -> None:
    before = sorted(demo.rglob("*"))
    study_progress(demo)
    assert sorted(demo.rglob("*")) == before


def test_the_page_says_first_what_comes_next_and_links_only_what_is_there(demo: Path) -> None:
    (demo / "notebooks" / "06_next.ipynb").unlink()
    page = study_progress(demo)._repr_html_()
    assert page.startswith("<p ")
    assert page.index("<strong>Next: ") < 40
    assert '<a href="01_plan.ipynb">' in page
    assert '<a href="../plan/coupon_matrix.csv">' in page
    assert "06_next.ipynb is not here" in page
    assert "Cautions for the hazards of this study" in page


def test_words_of_a_study_are_no_markup_on_the_page(demo: Path) -> None:
    path = demo / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace('question = "', 'question = "<script>x</script> ', 1), encoding="utf-8"
    )
    page = study_progress(demo)._repr_html_()
    assert "&lt;script&gt;" in page
    assert "<script" not in page


def test_the_data_that_come_with_quenchbook_are_planned_and_recorded() -> None:
    for folder in (ROOT / "data" / "coated_bars", ROOT / "data" / "springs"):
        states = {step.name: step.state for step in study_progress(folder).steps}
        assert states["plan"] == states["records"] == "done"


def test_a_study_without_notebooks_gets_them_and_own_ones_stay(demo: Path) -> None:
    from quenchbook.steps import NOTEBOOKS, missing_notebooks, write_missing_notebooks

    shutil.rmtree(demo / "notebooks")
    (demo / "notebooks").mkdir()
    own = demo / "notebooks" / "05_report.ipynb"
    own.write_text("mine", encoding="utf-8")
    written = write_missing_notebooks(demo)
    assert [path.stem for path in written] == [name for name in NOTEBOOKS if name != own.stem]
    assert own.read_text(encoding="utf-8") == "mine"
    assert missing_notebooks(demo) == []
    assert write_missing_notebooks(demo) == []
