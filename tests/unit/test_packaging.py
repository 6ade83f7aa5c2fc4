"""What a package index, a packager and a citation tool read of the project."""

from __future__ import annotations

import re
import tomllib
from typing import Any

import pytest
import yaml
from tests.conftest import ROOT

import quenchbook

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
CHANGES = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
CITATION = yaml.safe_load((ROOT / "CITATION.cff").read_text(encoding="utf-8"))
REQUIREMENTS = [
    *PROJECT["build-system"]["requires"],
    *PROJECT["project"]["dependencies"],
    *(one for extra in PROJECT["project"]["optional-dependencies"].values() for one in extra),
]


def heading(line: str) -> tuple[tuple[int, ...], str]:
    """Version and date, or "", of a heading of the changelog."""
    found = re.fullmatch(r"## (\d+(?:\.\d+)+) (?:\(not released\)|(\d{4}-\d{2}-\d{2}))", line)
    assert found, f"{line!r}: expected '## VERSION (not released)' or '## VERSION YYYY-MM-DD'"
    return tuple(int(part) for part in found[1].split(".")), found[2] or ""


HEADINGS = [heading(line) for line in CHANGES.splitlines() if line.startswith("## ")]


@pytest.mark.parametrize("requirement", REQUIREMENTS)
def test_every_dependency_has_a_lower_and_an_upper_bound(requirement: str) -> None:
    told = requirement.partition(";")[0]
    assert ">=" in told
    assert "<" in told


def test_the_changelog_has_the_newest_version_first_and_it_is_this_one() -> None:
    versions = [version for version, _ in HEADINGS]
    assert versions == sorted(set(versions), reverse=True)
    own = ".".join(str(part) for part in versions[0])
    assert own == PROJECT["project"]["version"] == quenchbook.__version__
    assert all(date for _, date in HEADINGS[1:]), "only the newest version may lack its date"
    assert CHANGES.startswith("# Changelog\n")


def test_the_citation_file_follows_version_1_2_0_of_its_format() -> None:
    # Required keys and the allowed ones used here: Citation File Format 1.2.0,
    # schema.json, "required" and "properties" (DOI 10.5281/zenodo.5171937); written from memory.
    required = {"authors", "cff-version", "message", "title"}
    allowed = required | {"abstract", "date-released", "keywords", "license", "type", "version"}
    assert required <= set(CITATION) <= allowed
    assert CITATION["cff-version"] == "1.2.0"
    assert CITATION["type"] == "software"
    assert all(isinstance(CITATION[key], str) for key in allowed & set(CITATION) - {"authors", "keywords", "date-released"})  # fmt: skip
    assert all(set(author) == {"name"} for author in CITATION["authors"])  # entities, no persons


def test_the_citation_file_says_the_same_as_the_project_and_the_changelog() -> None:
    project: dict[str, Any] = PROJECT["project"]
    assert CITATION["title"] == project["name"]
    assert CITATION["version"] == project["version"]
    assert CITATION["license"] == project["license"]
    assert CITATION["authors"] == project["authors"]
    assert CITATION["keywords"] == project["keywords"]
    assert CITATION["abstract"].rstrip(".") == project["description"]
    assert str(CITATION.get("date-released", "")) == HEADINGS[0][1]
