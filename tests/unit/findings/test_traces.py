"""Where a sentence comes from, in a footnote."""

from __future__ import annotations

import csv
import dataclasses
import shutil
from pathlib import Path

import pytest
from tests.conftest import ROOT

from quenchbook.findings.answers import Analysis
from quenchbook.findings.traces import TABLE, trace_note
from quenchbook.steps import analyse_study


@pytest.fixture(scope="module")
def irons(plane_irons_analysis: Analysis) -> Analysis:
    return plane_irons_analysis


def note(analysis: Analysis, key: str) -> str:
    return trace_note(analysis, analysis.finding(key)).replace("\u00a0", " ")


def test_a_comparison_names_test_df_noise_counts_confidence_and_row(irons: Analysis) -> None:
    assert note(irons, "dry_ice") == (
        "Difference of means, t with 15.8 df; noise of cold batches; 95 coupons "
        "in 12 furnace loads; 95 % confidence. findings.csv, row dry_ice."
    )


def test_an_equivalence_names_its_two_tests(irons: Analysis) -> None:
    assert "two one-sided t tests with 30 df, sizes ruled out rounded up" in note(irons, "tough")
    assert "48 coupons in 12 furnace loads" in note(irons, "tough")


def test_a_term_names_its_stratum(coated_bars_analysis: Analysis) -> None:
    bars = coated_bars_analysis
    assert note(bars, "coating") == (
        "F test, 3 and 9 df; noise of bars; 24 bars in 6 furnace heats; 95 % confidence. "
        "findings.csv, row coating."
    )


def test_shared_confidence_is_that_of_one_question(irons: Analysis) -> None:
    own = dataclasses.replace(irons.finding("dry_ice"), confidence=1 - 0.05 / 21)
    assert "99.76\u00a0% confidence" in trace_note(irons, own)


def test_every_note_leads_to_a_row_of_the_table_that_the_analysis_writes(tmp_path: Path) -> None:
    folder = tmp_path / "bars"
    shutil.copytree(ROOT / "data" / "coated_bars", folder)
    analysis, paths = analyse_study(folder)
    (path,) = (own for own in paths if own.name == TABLE)
    with path.open(encoding="utf-8", newline="") as file:
        rows = {row["key"]: row for row in csv.DictReader(file)}
    for own in analysis.findings:
        words = trace_note(analysis, own)
        assert words.endswith(f"{TABLE}, row {own.key}.")
        assert rows[own.key]["sentence"] == own.sentence
