"""A new study stays where it was asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook.errors import StudyError
from quenchbook.study_place import folder_name, place_for_studies, study_place


@pytest.mark.parametrize("name", ["o1_freezer", "A2 2026-11", "größe", "x", "v1.2"])
def test_usual_names_are_taken(tmp_path: Path, name: str) -> None:
    assert study_place(tmp_path, "", f" {name} ") == tmp_path.resolve() / name


@pytest.mark.parametrize(
    "name",
    ["", " ", ".", "..", "../x", "a/b", "a\\b", "/x", "C:x", ".hidden", "x.", "con", "NUL.txt",
     "a\nb", "a\0b", "a*b", "a<b>", "~", "-x", "x" * 101],
)  # fmt: skip
def test_a_name_that_is_no_name_of_one_folder_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(StudyError, match="Write"):
        folder_name(name)


@pytest.mark.parametrize("folder", ["..", "a/../..", "../x", "nowhere", ".secret", "file"])
def test_a_folder_outside_or_hidden_or_not_there_is_refused(tmp_path: Path, folder: str) -> None:
    root = tmp_path / "root"
    (root / "a").mkdir(parents=True)
    (root / ".secret").mkdir()
    (root / "file").touch()
    (tmp_path / "x").mkdir()
    with pytest.raises(StudyError, match="There is no folder"):
        study_place(root, folder, "mine")


def test_a_link_out_of_the_root_is_no_way_out(tmp_path: Path) -> None:
    (tmp_path / "root").mkdir()
    (tmp_path / "else").mkdir()
    (tmp_path / "root" / "link").symlink_to(tmp_path / "else")
    with pytest.raises(StudyError, match="There is no folder"):
        study_place(tmp_path / "root", "link", "mine")


def test_a_link_to_a_hidden_folder_of_the_root_is_no_way_in(tmp_path: Path) -> None:
    (tmp_path / ".secret" / "deep").mkdir(parents=True)
    (tmp_path / "link").symlink_to(tmp_path / ".secret" / "deep")
    with pytest.raises(StudyError, match="There is no folder"):
        study_place(tmp_path, "link", "mine")


@pytest.mark.parametrize("folder", ["a/demo", "a/demo/notebooks", "a/demo/inner/deep"])
def test_a_study_asked_for_in_a_study_is_made_beside_it(tmp_path: Path, folder: str) -> None:
    (tmp_path / "a" / "demo" / "inner" / "deep").mkdir(parents=True)
    (tmp_path / "a" / "demo" / "notebooks").mkdir()
    (tmp_path / "a" / "demo" / "study.toml").touch()
    (tmp_path / "a" / "demo" / "inner" / "study.toml").touch()  # a study in a study
    assert place_for_studies(tmp_path, folder) == (tmp_path / "a").resolve()
    assert study_place(tmp_path, folder, "mine") == (tmp_path / "a" / "mine").resolve()


@pytest.mark.parametrize("study", [".", "root"])
def test_no_study_is_made_above_the_root_or_inside_a_study(tmp_path: Path, study: str) -> None:
    (tmp_path / "root" / "notebooks").mkdir(parents=True)
    (tmp_path / study / "study.toml").touch()
    with pytest.raises(StudyError, match="was started in the study") as told:
        study_place(tmp_path / "root", "notebooks", "mine")
    assert str(tmp_path) not in str(told.value)


def test_a_name_that_is_taken_is_told_without_the_path_of_the_server(tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "x").touch()
    (tmp_path / "free").mkdir()
    with pytest.raises(StudyError, match="'mine' is there already") as told:
        study_place(tmp_path, "", "mine")
    assert str(tmp_path) not in str(told.value)
    assert study_place(tmp_path, "", "free").name == "free"
