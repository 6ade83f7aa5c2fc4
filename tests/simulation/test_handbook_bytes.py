"""The handbook comes out with the same bytes from another process with other hashes, elsewhere."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.simulation

COMMAND = "import sys; from quenchbook.cli import main; sys.exit(main(sys.argv[1:]))"


def written(folder: Path, seed: str, columns: str) -> dict[str, bytes]:
    folder.mkdir()
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "handbook", "book", "--without-running"],
        cwd=folder,
        env={**os.environ, "PYTHONHASHSEED": seed, "COLUMNS": columns},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return {path.name: path.read_bytes() for path in (folder / "book").iterdir()}


def test_another_process_elsewhere_writes_the_same_handbook(tmp_path: Path) -> None:
    one = written(tmp_path / "one", "1", "60")
    other = written(tmp_path / "another", "2", "200")
    assert len(one) > 20
    assert [name for name in sorted(one | other) if one.get(name) != other.get(name)] == []
