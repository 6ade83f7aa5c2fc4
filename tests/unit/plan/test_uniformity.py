"""Draws are even, streams are independent, and they rest on the published generator alone."""

from __future__ import annotations

import itertools
import zlib
from collections.abc import Iterator

import numpy as np
import pytest
from scipy import stats
from tests.evenness import (
    FAULT,
    Shuffle,
    cyclic_shuffle,
    naive_swap,
    p_of_no_shift,
    p_of_orders,
    p_of_places,
    plan_samples,
    small_study,
    sorted_keys,
    stream_users,
    with_repeats,
)

from quenchbook.plan.randomization import coupon_matrix
from quenchbook.plan.streams import Stream
from quenchbook.study.definition import Study

# --- the generator ---------------------------------------------------------------------------


def pcg64(state: int, step: int) -> Iterator[int]:
    """PCG XSL RR 128/64, written from its definition.

    O'Neill (2014), PCG: a family of simple fast space-efficient statistically good algorithms for
    random number generation, HMC-CS-2014-0905; multiplier of L'Ecuyer (1999).
    """
    while True:
        state = (state * 0x2360ED051FC65DA44385DF649FCCF645 + step) % 2**128
        word, turn = (state >> 64) ^ (state % 2**64), state >> 122
        yield (word >> turn | word << (64 - turn)) % 2**64


def seeded_pcg64(state: int, sequence: int) -> Iterator[int]:
    """Begin as the reference code does: step, add the state, step (which is the next draw)."""
    multiplier, step = 0x2360ED051FC65DA44385DF649FCCF645, (2 * sequence + 1) % 2**128
    return pcg64(((step + state) * multiplier + step) % 2**128, step)


def first(draws: Iterator[int], count: int) -> list[int]:
    return list(itertools.islice(draws, count))


# Round 1 of the reference output of the generator's author for state 42, sequence 54: repository
# imneme/pcg-cpp, test-high/expected/check-pcg64.out, commit 90f8eb6d (read 2026-11-25).
REFERENCE = [
    0x86B1DA1D72062B68, 0x1304AA46C9853D39, 0xA3670E9E0DD50358, 0xF9090E529A7DAE00,
    0xC85B9FD837996F2C, 0x606121F8E3919196,
]  # fmt: skip


def test_our_own_reading_of_the_definition_gives_the_reference_output() -> None:
    assert first(seeded_pcg64(42, 54), 6) == REFERENCE


def test_the_bit_generator_gives_the_reference_output() -> None:
    bits = np.random.PCG64()
    step, multiplier = 2 * 54 + 1, 0x2360ED051FC65DA44385DF649FCCF645
    state = ((step + 42) * multiplier + step) % 2**128
    bits.state = {
        "bit_generator": "PCG64",
        "state": {"state": state, "inc": step},
        "has_uint32": 0,
        "uinteger": 0,
    }
    assert bits.random_raw(6).tolist() == REFERENCE


@pytest.mark.parametrize(
    ("entropy", "state"),
    [  # C++ reference of the seeding, gist imneme/540829265469e673d045, as numpy's own tests quote it
        ([3735928559, 195939070, 229505742, 305419896], [2477551240072187391, 9577394838764454085]),
        ([164546577, 4166754639, 1765190214, 1303880213],
         [13708282465491374871, 16007308345579681096]),
    ],
)  # fmt: skip
def test_the_seeding_gives_its_reference_output(entropy: list[int], state: list[int]) -> None:
    assert np.random.SeedSequence(entropy).generate_state(2, dtype=np.uint64).tolist() == state


def test_the_bit_generator_still_gives_the_stream_measured_with_five_numpy_versions() -> None:
    # Shared notes, checks.md section 9.
    raw = np.random.PCG64(20240101).random_raw(3).tolist()
    assert raw == [10897558005815358002, 1816334834495151740, 4251533464031419879]


@pytest.mark.parametrize(("seed", "name"), [(0, "furnace order"), (20260114, "cold batch numbers")])
def test_a_stream_is_the_published_generator_seeded_by_seed_and_name(seed: int, name: str) -> None:
    entropy = [seed, zlib.crc32(name.encode())]
    words = np.random.SeedSequence(entropy).generate_state(4, dtype=np.uint64).tolist()
    expected = first(seeded_pcg64(words[0] << 64 | words[1], words[2] << 64 | words[3]), 50)
    assert Stream(seed, name).keys(10, 5).ravel().tolist() == expected
    assert [Stream(seed, name).below(7)] == [expected[0] % 7]  # far below the limit of rejection


def test_a_plan_uses_nothing_of_numpy_but_raw_draws(
    plane_irons: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    study = small_study(plane_irons)
    plan = coupon_matrix(study, seed=3)

    def refused(*_: object, **__: object) -> None:
        raise AssertionError("a plan must not depend on numpy's own methods of drawing")

    for name in np.random.__all__:
        if name not in ("PCG64", "SeedSequence", "BitGenerator"):
            monkeypatch.setattr(np.random, name, refused)
    with pytest.raises(AssertionError, match="must not depend"):
        np.random.default_rng(1)
    assert coupon_matrix(study, seed=3).plan_hash == plan.plan_hash


# --- draws -----------------------------------------------------------------------------------


@pytest.mark.parametrize("shuffle", [Stream.shuffled, sorted_keys])
def test_every_order_is_equally_likely(shuffle: Shuffle) -> None:
    assert p_of_orders(shuffle) > FAULT


@pytest.mark.parametrize("shuffle", [Stream.shuffled, sorted_keys])
@pytest.mark.parametrize(("items", "draws"), [(6, 8000), (24, 4000), (96, 2000)])
def test_every_item_is_equally_likely_in_every_place(
    shuffle: Shuffle, items: int, draws: int
) -> None:
    assert p_of_places(shuffle, items=items, draws=draws) > FAULT


@pytest.mark.parametrize("shuffle", [naive_swap, cyclic_shuffle])
def test_the_proofs_find_a_faulty_shuffle(shuffle: Shuffle) -> None:
    assert p_of_orders(shuffle) < FAULT
    for items, draws in ((6, 8000), (24, 4000), (96, 2000)):
        assert p_of_places(shuffle, items=items, draws=draws) < FAULT


def thirds(draws: list[int]) -> float:
    return float(stats.chisquare(np.bincount([draw >> 62 for draw in draws], minlength=3)).pvalue)


def test_numbers_below_a_bound_are_unbiased_where_a_remainder_is_not() -> None:
    bound = 3 * 2**62  # a plain remainder gives the lowest third twice as often
    stream = Stream(5, "below")
    assert thirds([stream.below(bound) for _ in range(8000)]) > FAULT
    assert thirds([raw % bound for raw in stream.keys(1, 8000)[0].tolist()]) < FAULT


@pytest.mark.parametrize("bound", [1, 2, 6, 7, 97])
def test_numbers_below_a_bound_are_all_equally_likely(bound: int) -> None:
    stream = Stream(6, "below")
    counts = np.bincount([stream.below(bound) for _ in range(8000)], minlength=bound)
    assert len(counts) == bound
    assert bound == 1 or stats.chisquare(counts).pvalue > FAULT


# --- streams ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stream_names(plane_irons: Study) -> list[str]:
    """Names of all streams that plans of two studies draw from."""
    names: list[str] = []

    class Noted(Stream):
        def __init__(self, seed: int, name: str) -> None:
            names.append(name)
            super().__init__(seed, name)

    with pytest.MonkeyPatch.context() as patch:
        for module in stream_users():
            patch.setattr(module, "Stream", Noted)
        for study in (plane_irons, small_study(plane_irons)):
            coupon_matrix(study, seed=1)
    return list(dict.fromkeys(names))


def test_every_step_of_a_plan_has_a_stream_of_its_own(stream_names: list[str]) -> None:
    assert len(stream_names) > 15
    assert len({zlib.crc32(name.encode()) for name in stream_names}) == len(stream_names)


def p_of_cross_table(one: np.ndarray, other: np.ndarray) -> float:
    table = np.zeros((4, 4))
    np.add.at(table, (one, other), 1)
    return float(stats.chi2_contingency(table).pvalue)


def test_streams_of_different_names_or_seeds_are_independent(stream_names: list[str]) -> None:
    draws = {
        name: np.array([Stream(seed, name).below(4) for seed in range(1500)])
        for name in stream_names
    }
    pairs = list(itertools.combinations(draws.values(), 2))
    pairs += [(own[:-1], own[1:]) for own in draws.values()]  # neighbouring seeds
    values = [p_of_cross_table(*pair) for pair in pairs]
    assert min(values) > FAULT / len(values)
    own = draws["furnace order"]
    assert p_of_cross_table(own, own) < FAULT / len(values)


# --- whole plans -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def samples(plane_irons: Study) -> dict[str, np.ndarray]:
    study = small_study(plane_irons)
    return plan_samples([coupon_matrix(study, seed=seed).frame for seed in range(160)])


def test_every_part_of_a_plan_is_even_over_seeds(samples: dict[str, np.ndarray]) -> None:
    values = {name: p_of_no_shift(own) for name, own in samples.items()}
    assert min(values.values()) > FAULT, values


def test_the_proof_for_plans_finds_plans_that_repeat(samples: dict[str, np.ndarray]) -> None:
    values = {name: p_of_no_shift(with_repeats(own, every=2)) for name, own in samples.items()}
    assert max(values.values()) < FAULT, values
