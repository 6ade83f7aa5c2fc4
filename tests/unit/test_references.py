"""What is cited: a source for each method, or the word that it needs none."""

from __future__ import annotations

import re

import pytest

import quenchbook as qb
from quenchbook.cited_sources import ARITHMETIC, METHODS, SOURCES, Source
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


def _fields(key: str) -> dict[str, str]:
    return dict(re.findall(r"^  ([a-z]+) = \{(.*)\},?$", SOURCES[key].bibtex(), re.M))


def test_bibtex_of_an_article_has_volume_number_and_pages_apart() -> None:
    own = _fields("halekoh2014")
    assert (own["journal"], own["volume"], own["number"]) == (
        "Journal of Statistical Software", "59", "9",
    )  # fmt: skip
    assert _fields("viechtbauer2005")["pages"] == "261--293"


def test_bibtex_names_others_as_bibtex_does() -> None:
    assert _fields("guggenberger2012")["author"] == "Guggenberger and others"


@pytest.mark.parametrize("key", SOURCES)
def test_no_journal_is_told_by_its_initials(key: str) -> None:
    assert not re.match(r"[A-Z]{3,5} \d", SOURCES[key].where)


def test_signs_that_tex_takes_for_commands_are_escaped() -> None:
    own = Source("k", "A & B", "2020", "C# 1:2", title="50 % of $ and x_1")
    assert r"A \& B" in own.bibtex()
    assert r"C\#" in own.bibtex()
    assert r"50 \% of \$ and x\_1" in own.bibtex()


def test_nehrenberg_is_cited_as_published_reference_lists_do() -> None:
    assert SOURCES["nehrenberg1946"].where == "Trans. AIME 167:494-498"


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
