"""Folders of files written by us: old ones go, those of anybody else stay."""

from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook.errors import ReportError
from quenchbook.report.own_folder import WRITTEN, write_own_folder


def _names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_a_file_of_an_earlier_run_goes_and_a_file_of_somebody_else_stays(tmp_path: Path) -> None:
    folder = tmp_path / "own"
    write_own_folder(folder, {"a.svg": b"1", "b.svg": b"2"})
    (folder / "mine.txt").write_text("keep")
    write_own_folder(folder, {"a.svg": b"3"})
    assert _names(folder) == {"a.svg", "mine.txt", WRITTEN}
    assert (folder / "a.svg").read_bytes() == b"3"


def test_a_file_that_somebody_changed_is_not_taken_out(tmp_path: Path) -> None:
    folder = tmp_path / "own"
    write_own_folder(folder, {"a.svg": b"1", "b.svg": b"2"})
    (folder / "b.svg").write_bytes(b"drawn over by hand")
    write_own_folder(folder, {"a.svg": b"1"})
    assert (folder / "b.svg").read_bytes() == b"drawn over by hand"


@pytest.mark.parametrize("name", ["../out.txt", "..", "sub/out.txt", "\\out.txt", "C:out.txt", ""])
def test_a_list_that_names_other_places_takes_out_nothing_there(tmp_path: Path, name: str) -> None:
    from hashlib import sha256

    folder = tmp_path / "own"
    (folder / "sub").mkdir(parents=True)
    for path in (tmp_path / "out.txt", folder / "sub" / "out.txt"):
        path.write_bytes(b"x")
    (folder / WRITTEN).write_text(f"file,sha256\n{name},{sha256(b'x').hexdigest()}\n")
    write_own_folder(folder, {"a.svg": b"1"})
    assert (tmp_path / "out.txt").exists()
    assert (folder / "sub" / "out.txt").exists()


def test_a_list_that_cannot_be_read_takes_out_nothing(tmp_path: Path) -> None:
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / WRITTEN).write_bytes(b"\xff\xfe\x00")
    (folder / "b.svg").write_bytes(b"2")
    write_own_folder(folder, {"a.svg": b"1"})
    assert _names(folder) == {"a.svg", "b.svg", WRITTEN}


def test_a_file_or_a_link_in_place_of_the_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "own").write_text("a file")
    other = tmp_path / "other"
    other.mkdir()
    (tmp_path / "link").symlink_to(other)
    for name in ("own", "link"):
        with pytest.raises(ReportError, match="no folder of its own"):
            write_own_folder(tmp_path / name, {"a.svg": b"1"})
    assert not list(other.iterdir())
