from __future__ import annotations

import os
from pathlib import Path

import pytest

from quenchbook.errors import ReportError
from quenchbook.handbook import site_folder
from quenchbook.handbook.site_folder import check_free, write_site

FIRST = {"index.html": b"one", "old.html": b"old"}
SECOND = {"index.html": b"two", "new.html": b"new"}


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_handbook_takes_the_place_of_an_earlier_one(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "book"
    write_site(folder, FIRST)
    paths = write_site(folder, SECOND)
    assert paths[0] == folder / "index.html"
    assert names(folder) == ["index.html", "new.html", "written_files.csv"]
    assert (folder / "index.html").read_bytes() == b"two"
    assert names(folder.parent) == ["book"]


def test_an_empty_folder_may_be_filled(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    folder.mkdir()
    write_site(folder, FIRST)
    assert "index.html" in names(folder)


@pytest.mark.parametrize("name", ["index.html", "notes.txt", "written_files.csv"])
def test_a_folder_that_holds_anything_else_is_refused_and_stays(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "book"
    write_site(folder, FIRST)
    (folder / name).write_text("mine", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    with pytest.raises(ReportError):
        write_site(folder, SECOND)
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


def test_a_file_and_a_link_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "book"
    path.write_text("mine", encoding="utf-8")
    with pytest.raises(ReportError, match="no folder of its own"):
        check_free(path)
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    with pytest.raises(ReportError, match="no folder of its own"):
        check_free(tmp_path / "link")


def test_a_failure_leaves_the_earlier_handbook_and_nothing_beside_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "book"
    write_site(folder, FIRST)
    rename, calls = os.rename, []

    def fails_second(source: Path, target: Path) -> None:
        calls.append(source)
        if len(calls) == 2:
            raise OSError("the disk is full")
        rename(source, target)

    monkeypatch.setattr(site_folder.os, "rename", fails_second)
    with pytest.raises(OSError, match="disk is full"):
        write_site(folder, SECOND)
    assert (folder / "index.html").read_bytes() == b"one"
    assert names(tmp_path) == ["book"]


def test_a_failure_of_both_renames_keeps_the_earlier_handbook_somewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "book"
    write_site(folder, FIRST)
    rename, calls = os.rename, []

    def fails_from_the_second_on(source: Path, target: Path) -> None:
        calls.append(source)
        if len(calls) > 1:
            raise OSError("the disk went away")
        rename(source, target)

    monkeypatch.setattr(site_folder.os, "rename", fails_from_the_second_on)
    with pytest.raises(OSError, match="went away"):
        write_site(folder, SECOND)
    (left,) = tmp_path.iterdir()
    assert (left / "index.html").read_bytes() == b"one"


def test_a_file_of_somebody_else_is_not_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "book"
    write_site(folder, FIRST)
    (folder / "film.mp4").write_bytes(b"long")
    read, seen = Path.read_bytes, []
    monkeypatch.setattr(Path, "read_bytes", lambda path: seen.append(path.name) or read(path))
    with pytest.raises(ReportError, match=r"film\.mp4"):
        check_free(folder)
    assert "film.mp4" not in seen
