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
