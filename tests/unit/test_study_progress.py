"""Where a study stands, told from its folder."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook.planning_steps import plan_study
from quenchbook.steps import analyse_study, copy_example, new_study
from quenchbook.study.files import read_study
from quenchbook.study.left_from_template import template_words
from quenchbook.study_inputs import (
    ANSWERED_FROM,
    REPORTED_FROM,
    input_digests,
    write_input_list,
)
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
    assert progress.notes[1] == (
        "The title, the question and the levels of austenitize, cold route and temper are the "
        "example of the template until you change them in study.toml."
    )
    assert progress.notes[1] in read_study(tmp_path / "mine").shown().notes


def test_what_is_changed_is_no_longer_called_the_example_of_the_template(tmp_path: Path) -> None:
    new_study(tmp_path / "mine")
    path = tmp_path / "mine" / "study.toml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("Freezer after the quench for O1 knives", "My chisels")
    text = text.replace("805 degC", "800 degC")
    path.write_text(text, encoding="utf-8")
    words = template_words(read_study(path))[-1]
    assert words.startswith("The question and the levels of cold route and temper are the example")
    path.write_text(text.replace("Does a night in", "Does"), encoding="utf-8")
    assert "example" not in " ".join(template_words(read_study(path)))


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


def written_findings(demo: Path, text: str) -> Path:
    (demo / "reports").mkdir()
    path = demo / "reports" / "findings.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_question_that_is_undecided_is_not_counted_as_answered(demo: Path) -> None:
    path = written_findings(demo, "key,verdict\na,exceeds\nb,undecided\nc,exceeds\nd,slight\n")
    words = study_progress(demo).step("answers").words
    assert words == "3 of 4 questions answered (2 exceeds, 1 slight), 1 undecided"
    path.with_name("unanswered.csv").write_text("key,question,reason\ne,E?,none\n", "utf-8")
    words = study_progress(demo).step("answers").words
    assert words.startswith("3 of 5 questions answered")
    assert words.endswith("1 undecided, 1 that cannot be answered")


def test_words_that_are_no_verdict_are_counted_and_not_repeated(demo: Path) -> None:
    written_findings(demo, "key,verdict\na,equivalent\nb,splendid\nc,\n")
    words = study_progress(demo).step("answers").words
    assert words == "1 of 3 questions answered (1 equivalent), 2 without a verdict"


@pytest.mark.parametrize("kind", ["not UTF-8", "long", "folder", "pipe", "link", "circle"])
def test_a_damaged_or_hostile_table_of_findings_is_told_and_no_error(demo: Path, kind: str) -> None:
    path = written_findings(demo, "")
    path.unlink()
    if kind == "not UTF-8":
        path.write_bytes(b"verdict\n\xff\xfe\n")
    elif kind == "long":
        path.write_text(f'verdict\n"{"x" * 200_000}"\n', encoding="utf-8")
    elif kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    else:
        path.symlink_to("/etc/passwd" if kind == "link" else path)
    answers = study_progress(demo).step("answers")
    assert answers.state == "look again"
    assert answers.words.startswith("findings.csv: ")
    assert answers.papers == ()


@pytest.mark.parametrize("name", ["study.toml", "plan/plan.json", "evidence.csv"])
def test_answers_older_than_study_or_plan_are_to_be_looked_at_again(demo: Path, name: str) -> None:
    path = written_findings(demo, "key,verdict\na,exceeds\n")
    assert study_progress(demo).step("answers").state == "done"
    later = path.stat().st_mtime + 5
    os.utime(demo / name, (later, later))
    answers = study_progress(demo).step("answers")
    assert answers.state == "look again"
    assert answers.words.endswith(f"; {name} changed afterwards")


def listed(demo: Path) -> None:
    """Answers and a report as they are written, with their lists, all long ago."""
    written_findings(demo, "key,verdict\na,exceeds\n")
    page = demo / "reports" / "plane_irons.html"
    page.touch()
    for name in (ANSWERED_FROM, REPORTED_FROM):
        write_input_list(demo / "reports" / name, input_digests(demo))
    for path in (demo / "reports").iterdir():
        os.utime(path, (0, 0))


def test_a_copy_with_other_dates_makes_nothing_stale(demo: Path) -> None:
    listed(demo)
    progress = study_progress(demo)
    assert [progress.step(own).state for own in ("answers", "report")] == ["done", "done"]


def test_a_margin_that_was_changed_makes_answers_and_report_stale_whatever_the_dates(
    demo: Path,
) -> None:
    listed(demo)
    path = demo / "study.toml"
    text = path.read_text(encoding="utf-8")
    changed = text.replace('equivalence_margin = "0.5 HRC"', 'equivalence_margin = "0.2 HRC"', 1)
    assert changed != text
    path.write_text(changed, encoding="utf-8")
    os.utime(path, (0, 0))
    progress = study_progress(demo)
    for name in ("answers", "report"):
        assert progress.step(name).state == "look again"
        assert progress.step(name).words.endswith("study.toml changed afterwards")
    assert "has changed" in progress.comes_next


def test_a_file_that_came_and_one_that_went_are_named(demo: Path) -> None:
    listed(demo)
    (demo / "records" / "impact_checks.csv").rename(demo / "records" / "new.csv")
    words = study_progress(demo).step("report").words
    assert words == "records/impact_checks.csv, records/new.csv changed afterwards"


def test_a_damaged_list_is_as_good_as_none(demo: Path) -> None:
    listed(demo)
    for name in (ANSWERED_FROM, REPORTED_FROM):
        (demo / "reports" / name).write_bytes(b"\xff")
    progress = study_progress(demo)
    assert progress.step("answers").state == "look again"  # by the dates, which are old here


def test_what_was_analysed_is_listed_and_stays_current_in_a_copy(tmp_path: Path) -> None:
    folder = copy_example("coated_bars", tmp_path / "bars")
    _, paths = analyse_study(folder)
    assert paths[-1].name == ANSWERED_FROM
    later = tmp_path / "copied"
    shutil.copytree(folder, later, copy_function=shutil.copyfile)  # with the dates of today
    os.utime(later / "reports" / "findings.csv", (0, 0))
    assert study_progress(later).step("answers").state == "done"


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
    assert '<table><caption style="text-align:left">Steps of the study' in page


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
