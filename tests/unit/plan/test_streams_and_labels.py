from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from quenchbook.plan.labels import CHARACTERS, all_codes, nearest_codes, random_codes
from quenchbook.plan.spread import spread_evenly
from quenchbook.plan.streams import Stream


def test_the_bit_generator_still_gives_its_published_stream() -> None:
    # Raw output of PCG64 as measured with five numpy versions (shared notes, checks.md section 9).
    raw = np.random.PCG64(20240101).random_raw(3).tolist()
    assert raw == [10897558005815358002, 1816334834495151740, 4251533464031419879]


def biased(items: list[int], stream: Stream) -> list[int]:
    order = list(items)
    for place in range(len(order)):  # the naive swap: not uniform
        other = stream.below(len(order))
        order[place], order[other] = order[other], order[place]
    return order


def p_of_uniform_orders(shuffle) -> float:
    stream = Stream(11, "proof")
    counts = dict.fromkeys(itertools.permutations(range(4)), 0)
    for _ in range(8000):
        counts[tuple(shuffle(list(range(4)), stream))] += 1
    return float(stats.chisquare(list(counts.values())).pvalue)


def test_every_order_is_equally_likely() -> None:
    assert p_of_uniform_orders(lambda items, stream: stream.shuffled(items)) > 1e-6


def test_the_proof_of_uniformity_finds_a_biased_shuffle() -> None:
    assert p_of_uniform_orders(biased) < 1e-6


def test_streams_with_other_names_differ() -> None:
    assert Stream(1, "a").shuffled(range(20)) != Stream(1, "b").shuffled(range(20))


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


@pytest.mark.parametrize("seed", range(5))
def test_an_even_spread_is_found_where_one_exists(seed: int) -> None:
    rows, columns = np.divmod(np.arange(36), 6)
    labels = [place % 6 for place in range(36)]
    chosen = np.array(
        spread_evenly(labels, {"row": rows.tolist(), "column": columns.tolist()}, Stream(seed, "s"))
    )
    for block in (rows, columns):
        counts = np.zeros((6, 6), dtype=int)
        np.add.at(counts, (block, chosen), 1)
        assert counts.max() - counts.min() <= 1
