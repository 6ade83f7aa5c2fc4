"""Folders of files written by us: old ones go, those of anybody else stay."""

from __future__ import annotations

import csv
import functools
from pathlib import Path

import pytest

from quenchbook.errors import ReportError
from quenchbook.report import own_folder
from quenchbook.report.own_folder import WRITTEN, write_own_folder
from quenchbook.writing import write_bytes


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


@pytest.mark.parametrize(
    "data",
    [b"\xff\xfe\x00", b"", b"mine,too\n", b"file,sha256\n" + b"x" * 200_000 + b",1\n",
     b"file,sha256,more\na,b,c\n"],
)  # fmt: skip
@pytest.mark.parametrize("limit", [131_072, 10**9])  # other libraries move that of csv
def test_a_list_of_somebody_else_is_neither_read_nor_replaced(
    tmp_path: Path, data: bytes, limit: int, request: pytest.FixtureRequest
) -> None:
    request.addfinalizer(functools.partial(csv.field_size_limit, csv.field_size_limit(limit)))
    folder = tmp_path / "own"
    folder.mkdir()
    (folder / WRITTEN).write_bytes(data)
    (folder / "b.svg").write_bytes(b"2")
    with pytest.raises(ReportError, match="is no list of files that quenchbook wrote"):
        write_own_folder(folder, {"a.svg": b"1"})
    assert _names(folder) == {"b.svg", WRITTEN}
    assert (folder / WRITTEN).read_bytes() == data


def test_files_of_somebody_else_or_changed_by_hand_are_not_replaced(tmp_path: Path) -> None:
    folder = tmp_path / "own"
    write_own_folder(folder, {"a.svg": b"1", "b.svg": b"2", "c.svg": b"3"})
    (folder / "a.svg").write_bytes(b"drawn over by hand")
    (folder / "figures.csv").write_bytes(b"of somebody else")
    (folder / "d.svg").symlink_to(folder / "b.svg")
    (folder / "e.svg").mkdir()
    before = _names(folder)
    new = dict.fromkeys(("a.svg", "b.svg", "figures.csv", "d.svg", "e.svg"), b"new")
    with pytest.raises(ReportError) as error:
        write_own_folder(folder, new)
    assert {Path(own.where).name for own in error.value.problems} == {
        "a.svg", "figures.csv", "d.svg", "e.svg",
    }  # fmt: skip
    assert _names(folder) == before
    assert (folder / "a.svg").read_bytes() == b"drawn over by hand"
    assert (folder / "b.svg").read_bytes() == b"2"


def test_an_interrupted_run_can_be_done_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "own"
    write_own_folder(folder, {"a.svg": b"1", "b.svg": b"2"})

    def stopped(path: Path, data: bytes) -> Path:
        if path.name == "b.svg":
            raise KeyboardInterrupt
        return write_bytes(path, data)

    monkeypatch.setattr(own_folder, "write_bytes", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_own_folder(folder, {"a.svg": b"3", "b.svg": b"4"})
    monkeypatch.undo()
    write_own_folder(folder, {"a.svg": b"5", "b.svg": b"6"})
    assert [(folder / name).read_bytes() for name in ("a.svg", "b.svg")] == [b"5", b"6"]


def test_a_file_or_a_link_in_place_of_the_folder_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "own").write_text("a file")
    other = tmp_path / "other"
    other.mkdir()
    (tmp_path / "link").symlink_to(other)
    for name in ("own", "link"):
        with pytest.raises(ReportError, match="no folder of its own"):
            write_own_folder(tmp_path / name, {"a.svg": b"1"})
    assert not list(other.iterdir())
