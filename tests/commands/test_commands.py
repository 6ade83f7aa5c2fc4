from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from quenchbook.cli import main
from quenchbook.steps import copy_example


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
    assert (folder / "bench" / "bench_sheets.pdf").read_bytes().startswith(b"%PDF")


def test_new_overwrites_nothing(demo: Path, capsys) -> None:
    assert run("new", demo) == 2
    assert "is not empty. Name a new folder; nothing is overwritten." in capsys.readouterr().err


def test_another_seed_does_not_replace_a_plan(demo: Path, capsys) -> None:
    before = (demo / "plan" / "coupon_matrix.csv").read_bytes()
    assert run("plan", demo, "--seed", 3) == 2
    assert "Coupons may already carry its codes" in capsys.readouterr().err
    assert (demo / "plan" / "coupon_matrix.csv").read_bytes() == before


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
    assert "F(3, 9) 11.48" in text
    assert "F(2, 3) 2.75" in text
    assert "F(6, 9) 4.38" in text
    assert "all three verdicts would have been reversed" in text
    assert (folder / "reports" / "coated_bars.pdf").read_bytes().startswith(b"%PDF")
