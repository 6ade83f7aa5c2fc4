"""What a coupon code promises, over every word of the code: misread, lost, swapped, turned round.

The bounds are those of any [4, 2] Reed-Solomon code: distance 3, so one error or two erasures are
made good (MacWilliams and Sloane, The Theory of Error-Correcting Codes, 1977, chapters 1 and 10;
citation from memory).
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from typing import Final

import pytest

from quenchbook.plan.labels import CHARACTERS, all_codes, codes_matching, nearest_codes

WORDS: Final = ("AAAA", *all_codes())
"""All words; a plan never uses the first one, which is the same from both ends."""

UPSIDE_DOWN: Final = {"H": "H", "N": "N", "X": "X"}
"""Characters that are one of the 17 when turned by half a turn; no other is (letters of print)."""

MIRRORED: Final = {character: character for character in CHARACTERS}
"""Reader who takes every turned or mirrored letter for that letter: C, D, E and K come near."""

LOOSE: Final[Mapping[str, str]] = {
    **dict.fromkeys(CHARACTERS, ""), **UPSIDE_DOWN, "A": "A", "C": "C", "D": "D", "E": "EF",
    "F": "FJ", "J": "JFR", "K": "K", "P": "D", "R": "R", "T": "T", "Y": "YH4", "4": "H4", "7": "J7",
    "9": "9",
}  # fmt: skip
"""What a hurried reader may take each turned letter for (our guess, not measured)."""


def turned(word: str, readings: Mapping[str, str]) -> set[str]:
    """Everything that a word may be read as from the other end."""
    own = [readings.get(character, "") for character in reversed(word)]
    return {"".join(letters) for letters in itertools.product(*own)}


def test_there_are_289_words_and_288_in_use() -> None:
    assert len(set(WORDS)) == 17**2 == 289
    assert len(CHARACTERS) == len(set(CHARACTERS)) == 17


def test_every_single_misread_of_every_word_leads_back_to_it_alone() -> None:
    words, tried = list(WORDS), 0
    for word, place, wrong in itertools.product(WORDS, range(4), CHARACTERS):
        if wrong != word[place]:
            misread = word[:place] + wrong + word[place + 1 :]
            tried += nearest_codes(misread, words) == [word] and misread not in words
    assert tried == 289 * 4 * 16 == 18_496


def test_every_two_lost_characters_of_every_word_are_restored() -> None:
    restored = 0
    for word, lost in itertools.product(WORDS, itertools.combinations(range(4), 2)):
        read = "".join("?" if place in lost else word[place] for place in range(4))
        restored += codes_matching(read, WORDS) == [word]
    assert restored == 289 * 6 == 1734


def test_no_swap_of_any_two_characters_goes_unseen() -> None:
    words, swaps, unseen = set(WORDS), 0, 0
    for word, (i, j) in itertools.product(WORDS, itertools.combinations(range(4), 2)):
        if word[i] != word[j]:
            letters = list(word)
            letters[i], letters[j] = letters[j], letters[i]
            swaps += 1
            unseen += "".join(letters) in words
    assert (swaps, unseen) == (1632, 0)


@pytest.mark.parametrize("readings", [UPSIDE_DOWN, MIRRORED])
def test_no_code_reads_as_a_code_from_the_other_end(readings: Mapping[str, str]) -> None:
    codes = set(all_codes())
    assert [code for code in codes if turned(code, readings) & codes] == []


def test_a_hurried_reader_of_a_turned_label_errs_for_three_codes_at_most() -> None:
    codes = set(all_codes())
    mistaken = {code for code in codes if (turned(code, LOOSE) & codes) - {code}}
    assert mistaken <= {"XY4Y", "NJFF", "FFFN"}  # why labels carry a line below the code


def test_no_code_stays_readable_when_it_is_truly_upside_down() -> None:
    assert [code for code in WORDS if turned(code, UPSIDE_DOWN)] == []


@pytest.mark.parametrize(("text", "count"), [("????", 289), ("K???", 17), ("K?9?", 1), ("K?9", 0)])
def test_more_lost_characters_leave_more_codes(text: str, count: int) -> None:
    assert len(codes_matching(text, WORDS)) == count


def test_small_letters_and_blanks_around_a_damaged_code_do_not_matter() -> None:
    assert codes_matching(" k?9? ", WORDS) == codes_matching("K?9?", WORDS)


def test_a_readable_character_that_fits_no_code_of_the_plan_gives_none() -> None:
    assert codes_matching("Q???", WORDS) == []
