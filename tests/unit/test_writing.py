from __future__ import annotations

from pathlib import Path

import pytest

from quenchbook import writing


def test_a_file_is_replaced_whole_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "plan.json"
    path.write_text("old")
    assert writing.write_text(path, "über\n") == path
    assert path.read_bytes() == "über\n".encode()
    assert [file.name for file in tmp_path.iterdir()] == ["plan.json"]


def test_a_write_that_fails_leaves_the_old_file_and_no_part(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "plan.json"
    path.write_text("old")

    def fails(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr(writing.os, "replace", fails)
    with pytest.raises(OSError, match="disk full"):
        writing.write_bytes(path, b"new")
    assert path.read_text() == "old"
    assert [file.name for file in tmp_path.iterdir()] == ["plan.json"]


def test_two_writers_never_share_a_part(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    parts: list[str] = []
    replace = writing.os.replace
    monkeypatch.setattr(
        writing.os, "replace", lambda part, path: (parts.append(str(part)), replace(part, path))
    )
    for _ in range(20):
        writing.write_bytes(tmp_path / "a", b"x")
    assert len(set(parts)) == 20


def test_a_new_file_never_replaces_one(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    assert writing.write_new_bytes(path, b"first") == path
    with pytest.raises(FileExistsError):
        writing.write_new_bytes(path, b"second")
    assert path.read_bytes() == b"first"
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]


def test_a_new_file_is_written_where_the_disk_knows_no_links(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(writing.os, "link", no_links)
    path = writing.write_new_bytes(tmp_path / "a.csv", b"first")
    with pytest.raises(FileExistsError):
        writing.write_new_bytes(path, b"second")
    assert path.read_bytes() == b"first"
    assert [file.name for file in tmp_path.iterdir()] == ["a.csv"]


def test_a_file_beside_another_gets_a_number_and_the_same_bytes_none(tmp_path: Path) -> None:
    names = [writing.write_beside(tmp_path / "a.csv", data).name for data in (b"1", b"2", b"1")]
    assert names == ["a.csv", "a_2.csv", "a.csv"]
    assert sorted(file.name for file in tmp_path.iterdir()) == ["a.csv", "a_2.csv"]


def test_a_file_is_written_over_only_while_it_holds_what_is_known_of_it(tmp_path: Path) -> None:
    path = tmp_path / "study.toml"
    path.write_bytes(b"old")
    assert writing.write_if_unchanged(path, b"new", before=b"old")
    assert not writing.write_if_unchanged(path, b"newer", before=b"old")
    assert path.read_bytes() == b"new"
    path.unlink()
    assert not writing.write_if_unchanged(path, b"newer", before=b"new")
    assert list(tmp_path.iterdir()) == []
