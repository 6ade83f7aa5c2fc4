"""A new study stays where it was asked for."""

from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook.errors import StudyError
from quenchbook.study_place import folder_name, study_place


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


@pytest.mark.parametrize(
    ("study", "remedy"),
    [("root", "Start quenchbook lab in the folder above"), ("root/a", "Go to the folder above")],
)
def test_no_study_is_made_inside_a_study(tmp_path: Path, study: str, remedy: str) -> None:
    (tmp_path / "root" / "a" / "notebooks").mkdir(parents=True)
    (tmp_path / study / "study.toml").touch()
    with pytest.raises(StudyError, match=remedy):
        study_place(tmp_path / "root", "a/notebooks", "mine")
