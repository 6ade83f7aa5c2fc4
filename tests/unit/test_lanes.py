"""The gate names folders, so that a slow lane collects only its own; no marked test lies elsewhere."""

from __future__ import annotations

import pytest
from tests.conftest import ROOT

FOLDERS = {"browser": {"browser"}, "walk": {"browser"}, "simulation": {"simulation", "property"}}
"""Folders of tests that .ci/run names for a lane."""


@pytest.mark.parametrize("lane", FOLDERS)
def test_the_marked_tests_of_a_slow_lane_lie_in_its_folders(lane: str) -> None:
    mark = ".".join(("mark", lane))
    files = [*(ROOT / "tests").rglob("test_*.py"), *(ROOT / "src").rglob("*.py")]
    marked = [path for path in files if mark in path.read_text(encoding="utf-8")]
    assert marked
    assert {path.parent.name for path in marked} <= FOLDERS[lane]
