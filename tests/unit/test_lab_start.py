"""What quenchbook lab says and starts, without starting it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from quenchbook.cli import main
from quenchbook.errors import StudyError
from quenchbook.lab import check_lab_folder, lab_command, lab_page, lab_root
from quenchbook.steps import NOTEBOOKS, new_study


@pytest.fixture
def mine(tmp_path: Path) -> Path:
    new_study(tmp_path / "mine")
    return tmp_path / "mine"


def test_a_study_opens_at_its_start_page(mine: Path) -> None:
    assert lab_page(mine) == "/lab/tree/mine/notebooks/00_start.ipynb"
    said: list[str] = []
    check_lab_folder(mine, said.append)
    assert said == []


def test_a_folder_of_studies_opens_the_launcher_and_says_what_it_is_for(tmp_path: Path) -> None:
    said: list[str] = []
    check_lab_folder(tmp_path, said.append)
    assert "New heat-treatment study" in said[0]
    assert lab_page(tmp_path) == "/lab"


def test_the_folder_above_a_study_is_shown_so_that_others_are_made_beside_it(
    mine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(mine)
    assert lab_root(".") == lab_root(mine) == mine.parent.resolve()
    assert lab_root(mine.parent) == mine.parent.resolve()  # holds studies, is none


def test_a_study_is_shown_alone_where_the_folder_above_cannot_be_written_in(
    mine: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # os.access lets root write everywhere, so the answer of the system is given here
    monkeypatch.setattr("os.access", lambda place, _mode: Path(place) != mine.parent.resolve())
    assert lab_root(mine) == mine.resolve()
    assert lab_page(mine) == "/lab/tree/notebooks/00_start.ipynb"


def test_a_hidden_study_is_its_own_root_and_blanks_are_written_for_an_address(
    tmp_path: Path,
) -> None:
    for name in (".hidden", "my study"):
        new_study(tmp_path / name)
    assert lab_root(tmp_path / ".hidden") == (tmp_path / ".hidden").resolve()
    assert lab_page(tmp_path / "my study") == "/lab/tree/my%20study/notebooks/00_start.ipynb"


def test_the_folder_where_it_is_started_is_told_by_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    said: list[str] = []
    check_lab_folder(".", said.append)
    assert said[0].startswith(f"{tmp_path.name} is no study")


def test_a_folder_that_is_not_there_is_told(tmp_path: Path, capsys) -> None:
    assert main(["lab", str(tmp_path / "nowhere")]) == 2
    assert "there is no such folder" in capsys.readouterr().err


def test_a_study_without_notebooks_is_told_what_to_do(mine: Path) -> None:
    shutil.rmtree(mine / "notebooks")
    with pytest.raises(StudyError, match="--add-notebooks"):
        check_lab_folder(mine, print)
    said: list[str] = []
    check_lab_folder(mine, said.append, add_notebooks=lambda: True)
    assert len(said) == len(NOTEBOOKS)
    assert lab_page(mine).endswith("00_start.ipynb")


def test_an_older_study_opens_its_notebooks_without_the_start_page(mine: Path) -> None:
    (mine / "notebooks" / "00_start.ipynb").unlink()
    said: list[str] = []
    check_lab_folder(mine, said.append)
    assert "--add-notebooks copies it" in said[0]
    assert lab_page(mine) == "/lab/tree/mine/notebooks"


def test_options_are_passed_on_and_the_token_of_jupyter_stays(mine: Path) -> None:
    command = lab_command(mine, port=9123, browser=False)
    assert {"--ServerApp.port=9123", "--ServerApp.open_browser=False"} <= set(command)
    assert f"--ServerApp.root_dir={mine.parent.resolve()}" in command
    text = " ".join(command).lower()
    assert not any(word in text for word in ("token", "password", "xsrf", "allow-root", "--ip"))


def test_new_without_a_folder_needs_a_terminal(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["new"]) == 2
    assert "Name the folder" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("end", [KeyboardInterrupt, EOFError])
def test_ending_the_questions_of_new_writes_nothing(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch, end: type[BaseException]
) -> None:
    def typed(_prompt: str) -> str:
        raise end

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", typed)
    assert main(["new"]) == 130
    assert "nothing was written" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_new_without_a_folder_makes_the_study_that_was_answered(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["o1", "", "none, dry ice", "", "", "12", "", "", "", ""])
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _prompt: next(answers))
    assert main(["new"]) == 0
    assert "48 coupons of O1" in capsys.readouterr().out
    assert main(["plan", "o1", "--draft"]) == 0
    assert "12 furnace loads" in capsys.readouterr().out
    assert (tmp_path / "o1" / "notebooks" / "00_start.ipynb").exists()


def test_new_shows_the_sum_of_coupons_and_writes_nothing_without_a_yes(
    tmp_path: Path, capsys, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["o1", "", "", "", "", "48", "10", "", "", "perhaps", "no"])
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda _prompt: next(answers))
    assert main(["new"]) == 0
    out = capsys.readouterr().out
    assert "480 coupons of O1: 48 furnace loads of 10." in out
    assert out.endswith("Write yes or no.\nNothing was written.\n")
    assert list(tmp_path.iterdir()) == []
