"""What the checkup says about packages that are optional."""

from __future__ import annotations

import importlib.metadata

import pytest

from quenchbook import doctor


def test_a_missing_optional_package_is_named_with_its_extra_and_does_no_harm(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    known = importlib.metadata.version

    def version(name: str) -> str:
        if name == "ortools":
            raise importlib.metadata.PackageNotFoundError(name)
        return known(name)

    monkeypatch.setattr(importlib.metadata, "version", version)
    lines, healthy = doctor.checkup()
    (own,) = [line for line in lines if "ortools" in line]
    assert own.endswith('pip install "quenchbook[timetable]" (optional, to search for timetables)')
    assert healthy
