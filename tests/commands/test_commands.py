from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from quenchbook.cli import _plain_warning, main
from quenchbook.errors import QuenchbookWarning
from quenchbook.steps import copy_example
from quenchbook.study.files import read_study
from quenchbook.sweep_steps import difference_told


def run(*arguments: str | Path) -> int:
    return main([str(argument) for argument in arguments])


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    return copy_example("plane_irons", tmp_path / "demo")


def test_importing_the_package_loads_nothing_heavy() -> None:
    code = (
        "import sys, quenchbook; heavy = {'pandas', 'numpy', 'scipy', 'matplotlib', 'pint', "
        "'seaborn', 'statsmodels', 'nbconvert', 'typst'}; print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_help_loads_nothing_heavy() -> None:
    code = (
        "import sys; from quenchbook.cli import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "print('heavy', sorted({'pandas', 'numpy', 'tqdm', 'jupyterlab'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip().endswith("heavy []")
    assert "local codes and licensed practice come first" in " ".join(done.stdout.split())


def test_every_public_name_can_be_loaded() -> None:
    import quenchbook

    for name in quenchbook.__all__:
        assert getattr(quenchbook, name) is not None
    assert set(quenchbook.__all__) <= set(dir(quenchbook))


def test_a_new_study_can_be_planned_and_benched(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "mine"
    assert run("new", folder) == 0
    assert run("plan", folder, "--seed", 7) == 0
    assert (
        "Hardness will be judged: austenitize on furnace loads (4 error df)"
        in capsys.readouterr().out
    )
    assert run("bench", folder) == 0
    assert (folder / "bench" / "booklet.pdf").read_bytes().startswith(b"%PDF")


def test_new_overwrites_nothing(demo: Path, capsys) -> None:
    assert run("new", demo) == 2
    assert "is not empty. Name a new folder; nothing is overwritten." in capsys.readouterr().err


def test_another_seed_does_not_replace_a_plan(demo: Path, capsys) -> None:
    before = (demo / "plan" / "coupon_matrix.csv").read_bytes()
    assert run("plan", demo, "--seed", 3) == 2
    assert "Coupons may already carry its codes" in capsys.readouterr().err
    assert (demo / "plan" / "coupon_matrix.csv").read_bytes() == before


def said(capsys) -> str:
    return capsys.readouterr().out.replace("\u00a0", " ")


def test_planning_again_says_that_the_plan_was_left(demo: Path, capsys) -> None:
    assert run("plan", demo) == 0
    assert said(capsys).startswith("A plan exists (3db02e10) and was left as it is.\n")


def test_a_plan_tells_of_every_declared_question_and_next_names_an_undecided_curve(
    demo: Path, capsys
) -> None:
    assert run("plan", demo, "--draft") == 0
    told = said(capsys)
    for question in read_study(demo).trade_questions:
        assert f"\n{question.words} " in told
    assert "Not told" not in told
    assert run("next", demo) == 0
    needs = said(capsys)
    assert "How long until half of what liquid nitrogen adds is lost? Undecided. " in needs
    assert "No question is undecided" not in needs


def test_planning_again_after_a_change_of_the_layout_is_not_a_success(demo: Path, capsys) -> None:
    damage(demo / "study.toml", "furnace_loads = 12", "furnace_loads = 9")
    before = {path: path.read_bytes() for path in (demo / "plan").iterdir()}
    assert run("plan", demo) == 2
    assert capsys.readouterr().err == (
        "A plan exists (3db02e10, 12 furnace loads) and was left as it is; study.toml now asks "
        "for 9 furnace loads, the plan has 12. To plan anew before anything is cut, move "
        f"{demo / 'plan'} away.\n"
    )
    assert {path: path.read_bytes() for path in (demo / "plan").iterdir()} == before


@pytest.mark.parametrize("verb", ["plan", "bench", "check", "analyse", "report"])
def test_a_changed_level_is_one_message_for_all_coupons(demo: Path, capsys, verb: str) -> None:
    damage(demo / "study.toml", '["150 degC", "175 degC"]', '["150 degC", "200 degC"]')
    damage(
        demo / "study.toml",
        '{ temper = ["175 degC", "150 degC"] }',
        '{ temper = ["200 degC", "150 degC"] }',
    )
    damage(
        demo / "study.toml",
        '{ temper = ["175 degC", "150 degC"] }',
        '{ temper = ["200 degC", "150 degC"] }',
    )
    assert run(verb, demo) == 2
    error = capsys.readouterr().err
    assert len(error.splitlines()) == 1
    assert "was made for other factors: temper was" in error


def test_a_margin_changed_after_the_plan_is_exploratory_in_plan_and_analysis(
    demo: Path, capsys
) -> None:
    damage(demo / "study.toml", '"0.5 HRC"', '"0.1 HRC"')
    change = "Margin of hardness was 0.5 HRC when the plan was made, now 0.1 HRC: exploratory."
    assert run("plan", demo) == 0
    out = said(capsys)
    assert change in out
    assert f"To declare it anew before anything is cut, move {demo / 'plan'} away" in out
    assert run("analyse", demo) == 0
    out = said(capsys)
    assert "4 questions declared before the data, 17 after; 1 not answered." in out
    assert out.count("[exploratory]") == 17
    table = (demo / "reports" / "findings.csv").read_text(encoding="utf-8").replace("\u00a0", " ")
    assert table.count(change) == 17


@pytest.mark.parametrize("verb", ["check", "analyse"])
def test_a_tester_that_is_out_is_told_with_the_records(demo: Path, capsys, verb: str) -> None:
    assert run(verb, demo) == 0
    assert "A tester check is out" not in said(capsys)
    rows = "session,when,block_value_hrc,hardness_hrc_1\n77,before,62.4,64.0\n"
    (demo / "records" / "another_block.csv").write_text(rows, encoding="utf-8")
    assert run(verb, demo) == 0
    assert "A tester check is out of its limit (error, session 77 before" in said(capsys)


@pytest.mark.parametrize("verb", ["analyse", "analyze"])
def test_analyse_says_what_was_read_then_the_answers_then_the_tests(
    demo: Path, capsys, verb: str
) -> None:
    assert run(verb, demo) == 0
    out = said(capsys)
    parts = [
        "475 readings of hardness on 95 coupons in 12 furnace loads",
        "21 questions declared before the data; 1 not answered.",
        "Does dry ice make it harder? exceeds:",
        "Tests for hardness: each term against the noise of its own unit.",
        "  term                       judged on     df  error df  F",
        "reports/columns.csv",
    ]
    places = [out.index(part) for part in parts]
    assert places == sorted(places)
    assert "df_error" not in out
    columns = (demo / "reports" / "columns.csv").read_text(encoding="utf-8").splitlines()
    assert columns[0] == "column,meaning,unit"
    assert not [line for line in columns if ",," in line.removesuffix(",")]


def test_without_a_verb_the_help_is_printed(capsys) -> None:
    assert run() == 0
    assert "verbs, in the order of the work" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "usage", "words"),
    [
        (["pln"], "quenchbook [-h]", "'pln' is not a verb: demo, new, plan,"),
        (["pln"], "quenchbook [-h]", "Did you mean plan?"),
        (["plan", "--drft"], "quenchbook plan", "'--drft' is not known here. Did you mean --draft?"),
        (["plan", "here", "there"], "quenchbook plan", "'there' is not known here.\n"),
        (["--versoin"], "quenchbook [-h]", "'--versoin' is not known here. Did you mean --version?"),
        (["next", "--aim", "peek"], "quenchbook next", "same, peak, verdicts. Did you mean peak?"),
    ],
)  # fmt: skip
def test_a_slip_in_a_verb_or_an_option_is_told_with_the_usage_of_its_verb(
    capsys, arguments: list[str], usage: str, words: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(arguments)
    assert ended.value.code == 2
    err = capsys.readouterr().err
    assert err.startswith(f"usage: {usage}")
    assert words in err


def test_a_folder_that_is_not_there_and_a_folder_for_an_archive_are_told(
    tmp_path: Path, capsys
) -> None:
    assert run("plan", tmp_path / "nowhere") == 2
    assert "nowhere: there is no such folder. Make one" in capsys.readouterr().err
    assert run("verify", tmp_path) == 2
    assert "is a folder, expected a file. Name an archive" in capsys.readouterr().err


def test_an_output_that_is_no_longer_read_ends_silently() -> None:
    gone, end = os.pipe()
    os.close(gone)
    done = subprocess.run(
        [sys.executable, "-m", "quenchbook.cli", "doctor"],
        stdout=end, stderr=subprocess.PIPE, text=True, check=False,
    )  # fmt: skip
    os.close(end)
    assert (done.returncode, done.stderr) == (141, "")


def test_plan_names_what_still_stands_as_in_the_template(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "mine"
    run("new", folder)
    assert run("plan", folder) == 0
    out = said(capsys)
    assert "In study.toml the author is still 'your name' and the date is still '" in out
    assert "(error df: spare units to judge by; below 3 the judgement is very coarse)" in out
    damage(folder / "study.toml", "your name", "A. Smith")
    assert run("plan", folder) == 0
    out = said(capsys)
    assert "your name" not in out
    assert "In study.toml the date is still '" in out


def test_a_plan_that_cannot_answer_anything_does_not_go_on_to_the_bench(
    tmp_path: Path, capsys
) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "study.toml").write_text(ONE_LOAD_EACH, encoding="utf-8")
    assert run("plan", folder, "--seed", 1) == 0
    out = said(capsys)
    assert out.endswith("This plan cannot answer anything; add furnace loads first.\n")
    assert "Next:" not in out


def test_a_plan_that_answers_some_questions_names_those_it_does_not(tmp_path: Path, capsys) -> None:
    folder = tmp_path / "mine"
    folder.mkdir()
    text = ONE_LOAD_EACH + FREEZER
    (folder / "study.toml").write_text(text, encoding="utf-8")
    assert run("plan", folder, "--seed", 1) == 0
    out = said(capsys)
    assert "This plan cannot answer: Is 820 harder than 790?" in out
    assert "cannot answer: Does the freezer" not in out
    assert "Next: quenchbook bench" in out


ONE_LOAD_EACH = """
format = 1
key = "small"
title = "Two loads"
question = "Is hotter harder?"
author = "A. Smith"
date = 2026-02-02
licence = "CC0"

[factors.austenitize]
levels = ["790 degC", "820 degC"]
set_for = "furnace_load"

[factors.cold_route]
levels = ["none", "freezer"]
set_for = "coupon"

[responses.hardness]
unit = "HRC"
readings = 3
equivalence_margin = "0.5 HRC"

[layout]
furnace_loads = 2
coupons_per_load = 8

[[questions]]
key = "hotter"
words = "Is 820 harder than 790?"
response = "hardness"
compare = { austenitize = ["820 degC", "790 degC"] }
"""
FREEZER = """
[[questions]]
key = "cold"
words = "Does the freezer make it harder?"
response = "hardness"
compare = { cold_route = ["freezer", "none"] }
"""


def test_the_running_head_is_a_title_that_is_never_cut(plane_irons) -> None:
    import dataclasses

    from quenchbook.report.edition import _short_title

    assert _short_title(plane_irons) == "Plane irons of A2"
    assert _short_title(dataclasses.replace(plane_irons, title="Knives")) == "Knives"
    assert _short_title(dataclasses.replace(plane_irons, title="x" * 80)) == "plane irons"


def damage(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8-sig")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.parametrize(
    ("file", "old", "new", "message"),
    [
        ("study.toml", '"150 degC"', '"150"', "has no unit"),
        ("study.toml", 'unit = "HRC"', "", "hardness has no unit"),
        ("study.toml", '["dry_ice", "none"]', '["dry_icee", "none"]', "Did you mean dry_ice?"),
        ("plan/coupon_matrix.csv", ",970,", ",940,", "set once for a furnace load"),
        ("plan/coupon_matrix.csv", ",none,175,,", ",none,175,60,", "has no meaning with no cold step"),
        ("plan/coupon_matrix.csv", "R9HH,1,1,1", "R9HH,1,1,9", "was changed after the plan was made"),
        ("records/impact.csv", "\n1,", "\n1,ZZZZ,12.0\n1,", "not in this plan"),
    ],
)  # fmt: skip
def test_bad_input_is_one_clear_message_and_exit_code_2(
    demo: Path, capsys, file: str, old: str, new: str, message: str
) -> None:
    damage(demo / file, old, new)
    before = {path: path.read_bytes() for path in demo.rglob("*") if path.is_file()}
    assert run("check", demo) == 2
    captured = capsys.readouterr()
    assert message in captured.err
    assert "Traceback" not in captured.err
    assert {path: path.read_bytes() for path in demo.rglob("*") if path.is_file()} == before


def test_an_impossible_hardness_and_a_coupon_twice_are_named_with_file_and_row(
    demo, capsys
) -> None:
    path = demo / "records" / "hardness_session_1.csv"
    lines = path.read_text().splitlines()
    cells = lines[2].split(",")
    cells[2] = "612"
    path.write_text("\n".join([*lines[:2], ",".join(cells), *lines[3:], lines[5]]) + "\n")
    assert run("check", demo) == 2
    error = capsys.readouterr().err
    assert "hardness_hrc is 612, expected 0 to 70" in error
    assert "Was the decimal point lost (61.2)?" in error
    assert lines[5].split(",")[1] in error


def test_an_empty_file_is_named(demo: Path, capsys) -> None:
    (demo / "records" / "more.csv").write_text("")
    assert run("check", demo) == 2
    assert "more.csv" in capsys.readouterr().err


def test_a_missing_study_says_how_to_start(tmp_path: Path, capsys) -> None:
    assert run("plan", tmp_path / "nowhere") == 2
    assert "quenchbook new" in capsys.readouterr().err


def test_doctor_says_that_everything_is_there(capsys) -> None:
    assert run("doctor") == 0
    assert "PDF reports: yes" in capsys.readouterr().out


def test_the_published_study_goes_through_the_same_commands(tmp_path: Path, capsys) -> None:
    folder = copy_example("coated_bars", tmp_path / "bars")
    for verb in ("plan", "bench", "check", "analyse", "report"):
        assert run(verb, folder) == 0, capsys.readouterr().err
    text = (
        (folder / "reports" / "coated_bars.html").read_text(encoding="utf-8").replace("\u00a0", " ")
    )
    assert "F(3, 9) = 11.48" in text
    assert "F(2, 3) = 2.75" in text
    assert "F(6, 9) = 4.38" in text
    assert "all three verdicts would have been reversed" in text
    assert (folder / "reports" / "coated_bars.pdf").read_bytes().startswith(b"%PDF")


def test_check_accepts_records_once_and_asks_about_changes(demo: Path, capsys) -> None:
    assert run("check", demo, "--accept") == 0
    assert "Accepted: 523 readings, " in capsys.readouterr().out
    assert run("check", demo, "--accept") == 0
    assert "Everything in these records was accepted before." in capsys.readouterr().out
    impact = demo / "records" / "impact.csv"
    impact.write_text(impact.read_text(encoding="utf-8").replace("1,PCRF,15.5", "1,PCRF,16.5"))
    assert run("check", demo, "--accept") == 2
    message = capsys.readouterr().err
    assert "coupon PCRF: impact_j reading 1 was accepted as 15.5 J and is 16.5 J now" in message
    assert run("check", demo) == 0
    assert "Since it was accepted: 0 readings, 0 deviations, 1 change, 1 file." in (
        capsys.readouterr().out
    )
    assert run("check", demo, "--accept", "--reason", "read again from the dial") == 0
    assert "Reason: read again from the dial." in capsys.readouterr().out
    assert len(list((demo / "records" / "kept").glob("entries_*.csv"))) == 2


def test_check_and_analyse_read_what_others_found(demo: Path, capsys) -> None:
    assert run("check", demo) == 0
    assert "evidence.csv: 8 published studies, 1 comparison" in capsys.readouterr().out
    path = demo / "evidence.csv"
    path.write_text(path.read_text("utf-8").replace(",J,", ",kJ,", 1), encoding="utf-8")
    readings = demo / "records" / "impact.csv"
    readings.write_text(readings.read_text("utf-8") + "Z99,1\n", encoding="utf-8")
    for arguments in (("check",), ("analyse",), ("check", "--mark")):
        assert run(arguments[0], demo, *arguments[1:]) == 2
        told = capsys.readouterr().err
        assert "impact.csv" in told
        assert "the unit 'kJ' of impact energy is not known" in told


def test_check_marks_the_mistakes_in_a_copy(demo: Path, capsys) -> None:
    impact = demo / "records" / "impact.csv"
    wrong = impact.read_text(encoding="utf-8").replace("1,PCRF,15.5", "1,PCRF,-15.5")
    impact.write_text(wrong)
    assert run("check", demo, "--mark") == 2
    told = capsys.readouterr()
    assert "1 mistake in 1 file" in told.err
    marked = demo / "records" / "marked" / "impact.csv"
    assert str(marked) in told.out
    assert '1,PCRF,-15.5,"impact_j is -15.5' in marked.read_text(encoding="utf-8-sig")
    assert impact.read_text(encoding="utf-8") == wrong


def test_a_warning_of_quenchbook_is_said_once_as_a_sentence_and_others_keep_their_place() -> None:
    text = _plain_warning(lambda message, _, file, line: f"{file}:{line}: {message}\n")
    assert text("A sentence.", QuenchbookWarning, "html.py", 3) == "A sentence.\n"
    assert text("A sentence.", QuenchbookWarning, "typst.py", 9) == ""
    assert text("Another.", QuenchbookWarning, "typst.py", 9) == "Another.\n"
    other = "a.py:3: Old.\n"
    assert [text("Old.", UserWarning, "a.py", 3) for _ in range(2)] == [other, other]


SWEEP = ("--loads", 8, "--studies", 120, "--question", "dry_ice")


def test_the_same_sweep_again_goes_on_and_another_one_gets_its_own_files(
    demo: Path, capsys
) -> None:
    assert run("sweep", demo, *SWEEP) == 0
    said = capsys.readouterr().out
    assert said.startswith("At the noise of the study none of the sizes here finds")
    table, kept = demo / "sweep" / "sweep.csv", demo / "sweep" / "sweep.jsonl"
    before, lines = table.read_bytes(), kept.read_bytes().splitlines(keepends=True)
    assert table.read_text().splitlines()[1].startswith("dry_ice,8,8,5,64,")
    kept.write_bytes(b"".join(lines[:2]) + lines[2][:9])  # killed while it wrote
    table.unlink()
    assert run("sweep", demo, *SWEEP) == 0
    assert "2 of 2 items done" in capsys.readouterr().out
    assert (table.read_bytes(), kept.read_bytes()) == (before, b"".join(lines))
    assert run("sweep", demo, *SWEEP, "--seed", 2) == 0
    assert run("sweep", demo, *SWEEP, "--seed", 2) == 0
    names = sorted(path.name for path in (demo / "sweep").iterdir())
    assert names == ["sweep.csv", "sweep.jsonl", "sweep_2.csv", "sweep_2.jsonl"]
    assert (table.read_bytes(), kept.read_bytes()) == (before, b"".join(lines))


def test_a_sweep_never_replaces_a_table_whose_sweep_is_not_known(demo: Path) -> None:
    (demo / "sweep").mkdir()
    (demo / "sweep" / "sweep.csv").write_text("mine")
    assert run("sweep", demo, *SWEEP) == 0
    assert (demo / "sweep" / "sweep.csv").read_text() == "mine"
    assert (demo / "sweep" / "sweep_2.csv").is_file()


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--noise", "1", "coupon=2"), "not both at once"),
        (("--noise", "furnace=2"), "'furnace' has no noise of its own"),
        (("--noise", "x"), "noise: 'x' is not a number"),
        (("--effects", "0.5 mm"), "effects: '0.5 mm' is not a number"),
        (("--question", "tough", "--effects", "0.1"), "write per cent, such as 15%"),
        (("--question", "tough", "--effects=-100%"), "leaves nothing"),
        (("--question", "nothing"), "There is no question 'nothing'"),
    ],
)
def test_a_sweep_that_is_told_wrongly_writes_nothing(
    demo: Path, capsys, options: tuple[str, ...], words: str
) -> None:
    assert run("sweep", demo, "--loads", 8, "--studies", 10, *options) == 2
    assert words in capsys.readouterr().err
    assert not (demo / "sweep").exists()


@pytest.mark.parametrize(
    ("question", "text", "value"),
    [("dry_ice", "0.5", 0.5), ("dry_ice", "0,5 HRC", 0.5), ("tough", "15 %", 0.1397619424),
     ("tough", "-15%", -0.1625189295), ("tough", "0", 0.0)],
)  # fmt: skip
def test_true_differences_are_told_as_they_are_analysed(
    demo: Path, question: str, text: str, value: float
) -> None:
    study = read_study(demo)
    response = study.response(study.question_of(question).response)
    assert difference_told(text, response) == pytest.approx(value, abs=1e-9)
