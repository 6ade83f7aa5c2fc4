"""Numbers of words are found in outputs, and only if the outputs show them."""

from __future__ import annotations

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output
from tests.notebooks.told_numbers import (
    findings_of,
    not_shown,
    shown_text,
    told_numbers,
)


def missing(told: str, shown: str) -> list[str]:
    return [own.sign + own.digits for own in not_shown(told_numbers(told), told_numbers(shown))]


@pytest.mark.parametrize(
    ("told", "shown"),
    [
        ("a gain of 0.63 HRC", "| 0.6308 |"),
        ("+0.63 HRC (0.47 to 0.79)", "+0.63 HRC (95 % interval 0.47 to 0.79)"),
        ("from −0.12 to +0.14", "−0.12 to +0.14"),
        ("F(1, 6) 27.88", "F(1, 6) = 27.88"),
        ("from 982 °C", "981.68"),
        ("85 minutes", "Delay was 85 min"),
        ("0.12 or 0.13", "0.125"),
    ],
)
def test_a_number_that_is_shown_is_found(told: str, shown: str) -> None:
    assert missing(told, shown) == []


@pytest.mark.parametrize(
    ("told", "shown", "left"),
    [
        ("a gain of 0.64 HRC", "| 0.6308 |", ["0.64"]),
        ("a gain of 0.63 HRC", "| 0.6 |", ["0.63"]),
        ("−0.26 inches", "0.260", ["−0.26"]),
        ("+0.26 inches", "−0.260", ["+0.26"]),
        ("12 loads", "12 coupons", ["12"]),
        ("63 HRC", "63 °C", ["63"]),
        ("0.5 HRC", "0.48", ["0.5"]),
        ("6 hours", "5.8", ["6"]),
    ],
)
def test_a_number_that_is_not_shown_is_left_over(told: str, shown: str, left: list[str]) -> None:
    assert missing(told, shown) == left


def test_codes_and_names_hold_no_numbers() -> None:
    assert told_numbers("Coupon JCY9 of A2, batch_4, in `data/two_lots/7.toml`") == []


def test_a_range_between_two_hyphens_has_no_minus() -> None:
    assert [own.sign for own in told_numbers("batch 1-4, 10 to 20")] == ["", "", "", ""]


def test_what_is_shown_is_words_of_outputs_without_marks_styles_and_pictures() -> None:
    html = '<style>p {top: 9px}</style><td>0.6<b>3</b></td><img src="data:1.5" alt="7">'
    cell = new_code_cell("1 + 41", outputs=[new_output("display_data", {"text/html": html})])
    assert shown_text(new_notebook(cells=[cell])).split() == ["0.6", "3"]


def test_the_short_answer_and_the_finding_are_the_words_that_count() -> None:
    first = "# A?\n\n**Short answer.** Yes, 5.\n\nThe truth is 6."
    finding = "## The finding on the demonstration, in words\n\nIt is 5."
    cells = [new_markdown_cell(own) for own in (first, "## On the way\n\n7", finding)]
    assert findings_of(new_notebook(cells=cells)) == ["**Short answer.** Yes, 5.", finding]
