"""Two-level fractions against published tables, every other fraction, and products of columns."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from quenchbook.plan.fractions import Fraction
from quenchbook.plan.word_sets import Tier, best_columns, defining_words, level_codes, word_lengths
from quenchbook.study.factors import Factor

# Generated factors of textbook fractions, by basic factors and with their resolution: summary of
# two-level fractions in NIST/SEMATECH e-Handbook of Statistical Methods, 5.3.3.4.7, and in Box,
# Hunter and Hunter (2005), Statistics for Experimenters, 2nd ed. (from memory).
TEXTBOOK = [
    ("ab", "c=ab", 3),
    ("abc", "d=abc", 4),
    ("abc", "d=ab e=ac", 3),
    ("abc", "d=ab e=ac f=bc", 3),
    ("abc", "d=ab e=ac f=bc g=abc", 3),
    ("abcd", "e=abcd", 5),
    ("abcd", "e=abc f=bcd", 4),
    ("abcd", "e=abc f=bcd g=acd", 4),
    ("abcd", "e=bcd f=acd g=abc h=abd", 4),
    ("abcde", "f=abcde", 6),
    ("abcde", "f=abcd g=abde", 4),
    ("abcde", "f=abc g=abd h=bcde", 4),
    ("abcdef", "g=abcdef", 7),
    ("abcdef", "g=abcd h=abef", 5),
]

# Factors and pairs that cannot be told from each other, of the same tables (from memory).
PUBLISHED_ALIASES = [
    ("ab", "c=ab", "a=bc b=ac c=ab"),
    ("abc", "d=abc", "ab=cd ac=bd ad=bc"),
    ("abc", "d=ab e=ac", "a=bd=ce b=ad c=ae d=ab e=ac bc=de be=cd"),
    ("abc", "d=ab e=ac f=bc", "a=bd=ce b=ad=cf c=ae=bf d=ab=ef e=ac=df f=bc=de af=be=cd"),
    (
        "abc",
        "d=ab e=ac f=bc g=abc",
        "a=bd=ce=fg b=ad=cf=eg c=ae=bf=dg d=ab=ef=cg e=ac=df=bg f=bc=de=ag g=cd=be=af",
    ),
    ("abcd", "e=abcd", ""),
    ("abcd", "e=abc f=bcd", "ab=ce ac=be ad=ef ae=bc=df af=de bd=cf bf=cd"),
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


def columns_of(basic: str, generated: str) -> list[int]:
    """Each factor as the basic factors whose product it is, as bits."""
    words = [*basic, *(own.split("=")[1] for own in generated.split())]
    return [sum(1 << basic.index(letter) for letter in word) for word in words]


def products_of(basic: str, generated: str) -> dict[str, np.ndarray]:
    """Column of each factor, the first changing slowest, by multiplying columns."""
    rows = np.array(list(itertools.product((-1, 1), repeat=len(basic))))
    columns = dict(zip(basic, rows.T, strict=True))
    for own in generated.split():
        name, word = own.split("=")
        columns[name] = np.prod([columns[letter] for letter in word], axis=0)
    return columns


def fraction(columns: list[int], basic: int, signs: tuple[int, ...] = ()) -> Fraction:
    factors = tuple(
        Factor(letter, letter, ("low", "high"))
        for letter, _ in zip("abcdefghijkl", columns, strict=False)
    )
    return Fraction(factors, tuple(columns), signs or (1,) * len(columns), basic)


@pytest.mark.parametrize(("basic", "generated", "resolution"), TEXTBOOK)
def test_rows_are_products_of_columns_and_the_resolution_is_the_published_one(
    basic: str, generated: str, resolution: int
) -> None:
    columns = columns_of(basic, generated)
    expected = np.column_stack(list(products_of(basic, generated).values()))
    np.testing.assert_array_equal(level_codes(columns, len(basic)), expected)
    assert fraction(columns, len(basic)).resolution == resolution


@pytest.mark.parametrize(("basic", "generated", "published"), PUBLISHED_ALIASES)
def test_factors_and_pairs_that_cannot_be_told_apart_are_the_published_ones(
    basic: str, generated: str, published: str
) -> None:
    theirs = {frozenset(line.split("=")) for line in published.split()}
    ours: dict[str, set[str]] = {}
    table = fraction(columns_of(basic, generated), len(basic)).alias_frame()
    for term, alias in zip(table["term"], table["alias"], strict=True):
        ours.setdefault(term.replace(":", ""), {term}).update({alias} - {""})
    found = {frozenset(t.replace(":", "") for t in own) for own in ours.values()}
    assert {own for own in found if len(own) > 1} == theirs


@pytest.mark.parametrize(("basic", "generated", "resolution"), TEXTBOOK)
def test_aliases_are_the_products_of_columns_that_are_alike(
    basic: str, generated: str, resolution: int
) -> None:
    own = products_of(basic, generated)
    terms = [*own, *("".join(pair) for pair in itertools.combinations(own, 2))]
    made = {term: np.prod([own[letter] for letter in term], axis=0) for term in terms}
    expected = {
        (one, other)
        for one, other in itertools.permutations(terms, 2)
        if np.array_equal(made[one], made[other])
    }
    table = fraction(columns_of(basic, generated), len(basic)).alias_frame()
    table = table[table["alias"] != ""].replace(":", "", regex=True)
    assert set(table[["term", "alias"]].itertuples(index=False, name=None)) == expected
    assert bool(expected) == (resolution < 5)


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
    ("basic", "generated"),
    # 2^(5-1), 2^(6-2), 2^(7-3), 2^(7-4), 2^(8-4), 2^(7-2), 2^(8-2)
    [
        ("abcd", "e=abcd"),
        ("abcd", "e=abc f=bcd"),
        ("abcd", "e=abc f=bcd g=acd"),
        ("abc", "d=ab e=ac f=bc g=abc"),
        ("abcd", "e=bcd f=acd g=abc h=abd"),
        ("abcde", "f=abcd g=abde"),
        ("abcdef", "g=abcd h=abef"),
    ],
)
def test_textbook_generators_have_words_as_long_as_ours(basic: str, generated: str) -> None:
    columns = columns_of(basic, generated)
    ours = best_columns((Tier(len(columns), len(basic)),))
    assert ours is not None
    assert word_lengths(ours) == word_lengths(columns)


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
