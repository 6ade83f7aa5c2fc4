"""First words to readers: yes and no only where the author said which way the question asks."""

from __future__ import annotations

import dataclasses

import pytest

from quenchbook.findings.answers import Analysis
from quenchbook.findings.first_words import first_words


@pytest.mark.parametrize(
    ("key", "yes_if", "words"),
    [
        ("dry_ice", "different", "Yes, by more than 0.5 HRC."),
        ("dry_ice", "higher", "Yes, by more than 0.5 HRC."),
        ("dry_ice", "lower", "No, higher."),
        ("dry_ice", "alike", "No, they differ by more than 0.5 HRC."),
        ("dry_ice", "", "A difference of more than 0.5 HRC."),
        ("nitrogen", "different", "No, not by more than 0.5 HRC."),
        ("nitrogen", "higher", "No, not by more than 0.5 HRC."),
        ("nitrogen", "alike", "Yes, within 0.5 HRC."),
        ("nitrogen", "", "No difference of more than 0.5 HRC."),
        ("freezer", "different", "Yes; whether by more than 0.5 HRC is not settled."),
        ("freezer", "alike", "They differ; whether by more than 0.5 HRC is not settled."),
        ("freezer", "", "A real difference."),
        ("decade", "different", "Yes, but by less than 0.5 HRC."),
        ("decade", "alike", "Yes, within 0.5 HRC, though not equal."),
        ("tough_equal_nitrogen", "different", "Not settled."),
        ("half_loss_nitrogen", "higher", "Not settled."),
        ("peak_dry_ice", "different", ""),
        ("peak_moves", "different", "Yes, by more than 10 °C."),
    ],
)  # fmt: skip
def test_the_first_word_goes_as_far_as_the_verdict(
    plane_irons_analysis: Analysis, key: str, yes_if: str, words: str
) -> None:
    own = plane_irons_analysis.finding(key)
    assert first_words(own, yes_if).replace("\u00a0", " ") == words


def test_without_a_margin_yes_says_no_size(plane_irons_analysis: Analysis) -> None:
    own = dataclasses.replace(
        plane_irons_analysis.finding("dry_ice"), margin=None, verdict="differs"
    )
    assert first_words(own, "different") == "Yes."
    assert first_words(own, "alike") == "No, they differ."
