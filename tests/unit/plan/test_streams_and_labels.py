from __future__ import annotations

import itertools

import numpy as np

from quenchbook.plan.labels import CHARACTERS, all_codes, nearest_codes, random_codes
from quenchbook.plan.streams import Stream


def test_codes_differ_in_at_least_three_characters() -> None:
    codes = all_codes()
    assert len(codes) == 288
    words = np.array([[CHARACTERS.index(c) for c in code] for code in codes])
    distance = (words[:, None] != words[None]).sum(axis=2) + 9 * np.eye(len(codes), dtype=int)
    assert distance.min() == 3


def test_every_single_misread_character_leads_back_to_its_code() -> None:
    codes = list(all_codes())
    for code in codes[::7]:
        for place, wrong in itertools.product(range(4), CHARACTERS):
            if wrong != code[place]:
                misread = code[:place] + wrong + code[place + 1 :]
                assert nearest_codes(misread, codes) == [code]


def test_no_swap_of_two_characters_and_no_reversal_gives_a_code() -> None:
    codes = set(all_codes())
    for code in codes:
        assert code[::-1] not in codes
        for i, j in itertools.combinations(range(4), 2):
            letters = list(code)
            letters[i], letters[j] = letters[j], letters[i]
            swapped = "".join(letters)
            assert swapped == code or swapped not in codes


def test_codes_are_drawn_without_repeats() -> None:
    codes = random_codes(96, Stream(1, "coupon codes"))
    assert len(set(codes)) == 96
