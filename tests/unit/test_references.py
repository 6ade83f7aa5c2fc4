"""What is cited: a source for each method, or the word that it needs none."""

from __future__ import annotations

import re

import pytest

import quenchbook as qb
from quenchbook.cited_sources import ARITHMETIC, METHODS, SOURCES
from quenchbook.errors import QuenchbookError
from quenchbook.findings.answers import Analysis

WRITES_OR_DRAWS = re.compile(r"(write|report|figure)_")
STEPS = {
    "new_study", "plan_study", "bench_study", "analyse_study", "next_study", "verify_archive",
}  # fmt: skip
OTHER = STEPS | {"table", "show", "cautions_table", "files_table"}


def test_every_public_function_has_a_source_or_needs_none() -> None:
    known = {*METHODS, *ARITHMETIC}
    own = [name for name in qb._HOME if not isinstance(getattr(qb, name), type)]
    computing = [name for name in own if not WRITES_OR_DRAWS.match(name) and name not in OTHER]
    assert len(computing) > 60
    assert [name for name in computing if name not in known] == []


def test_no_method_names_a_source_that_is_not_there() -> None:
    named = {key for keys in METHODS.values() for key in keys}
    assert named == set(SOURCES)
    assert not set(METHODS) & set(ARITHMETIC)


@pytest.mark.parametrize("key", SOURCES)
def test_bibtex_entry_is_well_formed(key: str) -> None:
    text = SOURCES[key].bibtex()
    assert re.fullmatch(r"@[a-z]+\{[a-z0-9_]+,\n(  [a-z]+ = \{.*\},?\n)+\}", text)
    assert text.count("{") == text.count("}")
    assert ("quoted from memory" in text) == SOURCES[key].from_memory


def test_model_cites_the_methods_it_used(plane_irons_analysis: Analysis) -> None:
    words = str(plane_irons_analysis.models["hardness_hrc"].cite())
    assert "Satterthwaite (1946)" in words
    assert "Harville (1977)" in words
    assert "Kenward" not in words


def test_quenchbook_is_cited_from_its_own_metadata() -> None:
    own = qb.cite()
    assert f"version {qb.__version__}" in str(own)
    assert own.bibtex().startswith("@software{quenchbook,")


def test_function_and_its_name_cite_the_same() -> None:
    assert str(qb.cite(qb.peak_place)) == str(qb.cite("peak_place"))


def test_arithmetic_says_that_it_needs_no_source() -> None:
    assert str(qb.cite("plan_cost")) == "Arithmetic, no source needed."


def test_unknown_method_says_what_comes_nearest() -> None:
    with pytest.raises(QuenchbookError, match=r"Did you mean peak_place\?"):
        qb.cite("peak_plcae")


def test_finding_about_a_curve_cites_the_curve(plane_irons_analysis: Analysis) -> None:
    own = next(f for f in plane_irons_analysis.findings if getattr(f, "asks", "") == "peak_shift")
    assert "Fieller (1954)" in str(own.cite())
