"""The guide for new methods names files that are there."""

from __future__ import annotations

import re

import pytest
from tests.conftest import ROOT

SOURCE = ROOT / "src" / "quenchbook"
TEXT = (SOURCE / "handbook" / "pages" / "new_methods.md").read_text(encoding="utf-8")
FILES = sorted(set(re.findall(r"`([\w./]+(?:\.py|\.md|\.toml|\.json|/))`", TEXT)))


CHECKLISTS = [part for part in TEXT.split("\n## ") if part.startswith("Checklist")]


@pytest.mark.parametrize("text", CHECKLISTS, ids=lambda text: text.partition("\n")[0])
def test_each_checklist_says_in_which_files_to_look(text: str) -> None:
    assert any(f"`{name}`" in text for name in FILES)


@pytest.mark.parametrize("name", sorted(set(FILES) - {"PROVENANCE.toml", "src/quenchbook/"}))
def test_a_file_that_is_named_is_there(name: str) -> None:
    assert (SOURCE / name).exists() or (ROOT / name).exists()


@pytest.mark.parametrize(
    ("name", "file"),
    [
        ("ASKS", "study/trade_questions.py"),
        ("WRITERS", "publishing_steps.py"),
        ("GLOSSARY", "columns.py"),
        ("COLUMN_ENDINGS", "study/factors.py"),
        ("UNIT_WORDS", "study/factors.py"),
        ("UNIT_COLUMNS", "plan/matrix.py"),
        ("ResponseKind", "study/definition.py"),
        ("Printed", "both_units.py"),
        ("_HOME", "__init__.py"),
    ],
)
def test_a_name_that_is_told_with_its_file_stands_there(name: str, file: str) -> None:
    assert f"`{name}`" in TEXT
    text = (SOURCE / file).read_text(encoding="utf-8")
    assert re.search(rf"^(?:class )?{name}\b", text, re.MULTILINE)
