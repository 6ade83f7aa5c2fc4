"""Two-level fractions against pyDOE, published tables, every other fraction, and brute force."""

from __future__ import annotations

import itertools

import numpy as np
import pydoe
import pytest

from quenchbook.plan.fractions import Fraction
from quenchbook.plan.word_sets import Tier, best_columns, defining_words, level_codes, word_lengths
from quenchbook.study.factors import Factor

# Columns of textbook generators, basic factors a, b, c ...: products of letters, as pyDOE reads
# them. The last factors of each line are those of Box, Hunter and Hunter (2005), Statistics for
# Experimenters, 2nd ed., table of two-level fractions (from memory).
GENERATORS = [
    "a b c abc",
    "a b c ab ac",
    "a b c ab ac bc abc",
    "a b c d abcd",
    "a b c d abc bcd",
    "a b c d abc bcd acd",
    "a b c d bcd acd abc abd",
    "a b c d e abcd abde",
]

# Words of length 3, 4, ... of the fractions with minimum aberration: Fries and Hunter (1980),
# Technometrics 22:601, and the catalogue of Chen, Sun and Wu (1993), International Statistical
# Review 61:131. From memory; each line adds up to 2^(factors - m) - 1 words.
PUBLISHED_LENGTHS = {
    (4, 8): (0, 1),
    (5, 8): (2, 1),
    (6, 8): (4, 3),
    (7, 8): (7, 7, 0, 0, 1),
    (5, 16): (0, 0, 1),
    (6, 16): (0, 3),
    (7, 16): (0, 7),
    (8, 16): (0, 14, 0, 0, 0, 1),
    (9, 16): (4, 14, 8, 0, 4, 1),
    (6, 32): (0, 0, 0, 1),
    (7, 32): (0, 1, 2),
    (8, 32): (0, 3, 4),
    (9, 32): (0, 6, 8, 0, 0, 1),
    (10, 32): (0, 10, 16, 0, 0, 5),
    (11, 32): (0, 25, 0, 27, 0, 10, 0, 1),
    (12, 32): (0, 38, 0, 52, 0, 33, 0, 4),
    (7, 64): (0, 0, 0, 0, 1),
    (8, 64): (0, 0, 2, 1),
    (9, 64): (0, 1, 4, 2),
    (10, 64): (0, 2, 8, 4, 0, 1),
    (11, 64): (0, 4, 14, 8, 0, 3, 2),
    (12, 64): (0, 6, 24, 16, 0, 9, 8),
    (8, 128): (0, 0, 0, 0, 0, 1),
    (9, 128): (0, 0, 0, 3),
    (10, 128): (0, 0, 3, 3, 1),
    (11, 128): (0, 0, 6, 6, 2, 1),
}

# NIST/SEMATECH e-Handbook of Statistical Methods, 5.3.3.4.7, and Box, Hunter and Hunter (2005):
# highest resolution of k factors (from memory).
PUBLISHED_RESOLUTION = {
    (3, 4): 3, (4, 8): 4, (5, 8): 3, (6, 8): 3, (7, 8): 3, (5, 16): 5, (6, 16): 4, (7, 16): 4,
    (8, 16): 4, (9, 16): 3, (10, 16): 3, (11, 16): 3, (6, 32): 6, (7, 32): 4, (8, 32): 4,
    (9, 32): 4, (10, 32): 4, (11, 32): 4, (7, 64): 7, (8, 64): 5, (9, 64): 4, (10, 64): 4,
    (11, 64): 4, (8, 128): 8, (9, 128): 6, (10, 128): 5, (11, 128): 5,
}  # fmt: skip

UNITS = ("furnace_load", "cold_batch", "temper_batch", "coupon")


def columns_of(generators: str) -> list[int]:
    return [sum(1 << "abcdefg".index(letter) for letter in word) for word in generators.split()]


def basic_of(generators: str) -> int:
    return sum(len(word) == 1 for word in generators.split())


def fraction(columns: list[int], basic: int, signs: tuple[int, ...] = ()) -> Fraction:
    factors = tuple(
        Factor(letter, letter, ("low", "high"))
        for letter, _ in zip("abcdefghijkl", columns, strict=False)
    )
    return Fraction(factors, tuple(columns), signs or (1,) * len(columns), basic)


@pytest.mark.parametrize("generators", GENERATORS)
def test_rows_are_those_of_pydoe(generators: str) -> None:
    ours = level_codes(columns_of(generators), basic_of(generators))
    np.testing.assert_array_equal(ours, pydoe.fracfact(generators))


@pytest.mark.parametrize("generators", GENERATORS)
def test_factors_and_pairs_that_cannot_be_told_apart_are_those_of_pydoe(generators: str) -> None:
    design = pydoe.fracfact(generators)
    theirs = set()
    for line in pydoe.fracfact_aliasing(design)[0]:
        short = frozenset(word for word in line.split(" = ") if len(word) <= 2)
        theirs |= {short} if short else set()
    ours: dict[str, set[str]] = {}
    table = fraction(columns_of(generators), basic_of(generators)).alias_frame()
    for term, alias in zip(table["term"], table["alias"], strict=True):
        ours.setdefault(term, {term}).update({alias} - {""})
    assert {frozenset(t.replace(":", "") for t in own) for own in ours.values()} == theirs


@pytest.mark.parametrize(("factors", "treatments"), PUBLISHED_LENGTHS)
def test_words_are_as_long_as_in_the_published_tables(factors: int, treatments: int) -> None:
    basic = treatments.bit_length() - 1
    columns = best_columns((Tier(factors, basic),))
    expected = PUBLISHED_LENGTHS[factors, treatments]
    assert sum(expected) == 2 ** (factors - basic) - 1
    assert columns is not None
    lengths = word_lengths(columns)
    assert lengths[:2] == (0, 0)
    assert lengths[2:] == expected + (0,) * (factors - 2 - len(expected))


@pytest.mark.parametrize(
    ("generators", "size"),
    # BHH 2005: 2^(5-1), 2^(6-2), 2^(7-3), 2^(7-4), 2^(8-4)
    [
        ("a b c d abcd", (5, 16)),
        ("a b c d abc bcd", (6, 16)),
        ("a b c d abc bcd acd", (7, 16)),
        ("a b c ab ac bc abc", (7, 8)),
        ("a b c d bcd acd abc abd", (8, 16)),
    ],
)
def test_textbook_generators_have_words_as_long_as_ours(
    generators: str, size: tuple[int, int]
) -> None:
    factors, treatments = size
    ours = best_columns((Tier(factors, treatments.bit_length() - 1),))
    assert ours is not None
    assert word_lengths(ours) == word_lengths(columns_of(generators))


@pytest.mark.parametrize(("factors", "treatments"), PUBLISHED_RESOLUTION)
def test_the_resolution_is_the_published_one(factors: int, treatments: int) -> None:
    basic = treatments.bit_length() - 1
    columns = best_columns((Tier(factors, basic),))
    assert columns is not None
    made = fraction(list(columns), basic)
    assert made.resolution == PUBLISHED_RESOLUTION[factors, treatments]
    assert made.treatments == len(made.to_frame().drop_duplicates()) == treatments


ALL_TRIED = [(k, 3) for k in range(4, 8)] + [(k, 4) for k in range(5, 13)]
ALL_TRIED += [(k, 5) for k in range(6, 12)] + [(k, 6) for k in range(7, 11)]
ALL_TRIED += [(k, 7) for k in range(8, 11)]


@pytest.mark.parametrize(("factors", "basic"), ALL_TRIED)
def test_no_other_fraction_has_fewer_short_words(factors: int, basic: int) -> None:
    products = np.array([v for v in range(2**basic) if v.bit_count() > 1])
    chosen = np.array(list(itertools.combinations(products, factors - basic)))
    made = chosen.shape[1]
    lengths = np.zeros((len(chosen), factors + 1), dtype=np.int64)
    for size in range(1, made + 1):
        for places in itertools.combinations(range(made), size):
            column = np.bitwise_xor.reduce(chosen[:, places], axis=1)
            length = size + np.bitwise_count(column)
            np.add.at(lengths, (np.arange(len(chosen)), length), 1)
    best = min(map(tuple, lengths[:, 1:].tolist()))
    columns = best_columns((Tier(factors, basic),))
    assert columns is not None
    assert word_lengths(columns) == best


@pytest.mark.parametrize(
    "tiers",
    [
        (Tier(2, 2), Tier(4, 2)), (Tier(3, 2), Tier(3, 2)), (Tier(2, 2), Tier(5, 3)),
        (Tier(1, 1), Tier(2, 1), Tier(4, 2)), (Tier(3, 3), Tier(2, 1), Tier(2, 1)),
    ],
)  # fmt: skip
def test_no_other_fraction_of_these_units_has_fewer_short_words(tiers) -> None:
    fixed, choices, before = [], [], 0
    for tier in tiers:
        span = before + tier.basic
        own = [1 << bit for bit in range(before, span)]
        free = [v for v in range(1 << before, 1 << span) if v not in own]
        fixed += own
        choices.append(list(itertools.combinations(free, tier.factors - tier.basic)))
        before = span
    best = min(
        word_lengths([*fixed, *itertools.chain(*chosen)]) for chosen in itertools.product(*choices)
    )
    columns = best_columns(tiers)
    assert columns is not None
    assert word_lengths(columns) == best


def test_without_generated_factors_every_combination_is_there() -> None:
    columns = best_columns((Tier(4, 4),))
    assert columns is not None
    assert fraction(list(columns), 4).resolution is None
    assert fraction(list(columns), 4).summary() == "All 16 combinations of 4 factors."


def test_more_factors_than_columns_are_refused() -> None:
    assert best_columns((Tier(8, 3),)) is None
    assert best_columns((Tier(4, 2), Tier(2, 2))) is None  # two columns make three factors


@pytest.mark.parametrize(
    "tiers",
    [
        (Tier(5, 3),), (Tier(6, 4),), (Tier(7, 4),), (Tier(9, 5),), (Tier(12, 4),),
        (Tier(2, 2), Tier(4, 2)), (Tier(3, 2), Tier(3, 2)), (Tier(1, 1), Tier(2, 1), Tier(4, 2)),
    ],
)  # fmt: skip
def test_aliases_are_the_columns_of_the_model_matrix_that_are_alike(tiers) -> None:
    columns = best_columns(tiers)
    assert columns is not None
    basic = sum(tier.basic for tier in tiers)
    signs = tuple(-1 if place % 3 == 2 else 1 for place in range(len(columns)))
    made = fraction(list(columns), basic, signs)
    frame = made.to_frame().replace({"low": -1.0, "high": 1.0}).astype(float)
    terms = [*frame, *(":".join(pair) for pair in itertools.combinations(frame, 2))]
    model = np.column_stack([frame[term.split(":")].prod(axis=1) for term in terms])
    correlation = np.corrcoef(model.T)
    assert np.all(np.isclose(np.abs(correlation), 1) | np.isclose(correlation, 0, atol=1e-12))
    expected = {
        (terms[a], terms[b], int(np.sign(correlation[a, b])))
        for a, b in itertools.permutations(range(len(terms)), 2)
        if abs(correlation[a, b]) > 0.5
    }
    table = made.alias_frame()
    found = table[table["alias"] != ""]
    assert set(found[["term", "alias", "sign"]].itertuples(index=False, name=None)) == expected
    alone = set(table.loc[table["alias"] == "", "term"])
    assert alone == set(terms) - {term for term, _, _ in expected}


@pytest.mark.parametrize(
    "tiers",
    [(Tier(2, 2), Tier(4, 2)), (Tier(3, 2), Tier(3, 2)), (Tier(1, 1), Tier(2, 1), Tier(4, 2))],
)
def test_factors_of_a_finer_unit_change_inside_every_coarser_unit(tiers) -> None:
    columns = best_columns(tiers)
    assert columns is not None
    codes = level_codes(columns, sum(tier.basic for tier in tiers))
    first = 0
    for tier in tiers[:-1]:
        first += tier.factors
        outer, inner = codes[:, :first], codes[:, first:]
        for setting in np.unique(outer, axis=0):
            inside = inner[(outer == setting).all(axis=1)]
            np.testing.assert_array_equal(inside.sum(axis=0), 0)


def test_words_multiply_to_the_same_in_every_treatment() -> None:
    columns = best_columns((Tier(8, 4),))
    assert columns is not None
    codes = level_codes(columns, 4)
    words = defining_words(columns)
    assert len(set(words)) == len(words) == 15
    for word in words:
        assert len(set(codes[:, word].prod(axis=1).tolist())) == 1
