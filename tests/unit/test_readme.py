"""The README does what it shows."""

from __future__ import annotations

import contextlib
import io
import re
from typing import Any

import pytest
from tests.conftest import ROOT

import quenchbook

TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```python\n(.*?)```(?:\s*```text\n(.*?)```)?", TEXT, re.DOTALL)


def test_every_python_block_runs_and_prints_what_stands_below_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(ROOT)
    names: dict[str, Any] = {}
    assert len(BLOCKS) == 3
    for code, output in BLOCKS:
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            exec(code, names)  # our own README
        assert output
        assert (
            printed.getvalue().replace("\u00a0", " ").split()
            == output.replace("\u00a0", " ").split()
        )


def test_every_public_name_stands_in_the_table_by_step() -> None:
    table = TEXT[TEXT.index("| step | names |") : TEXT.index("## What the words mean")]
    told = set(re.findall(r"`(\w+)`", table))
    assert told == set(quenchbook.__all__) - {"__version__"}
