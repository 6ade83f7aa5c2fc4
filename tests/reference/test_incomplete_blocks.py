"""Incomplete blocks against published parameters, least squares, and every other plan."""

from __future__ import annotations

import collections
import itertools

import numpy as np
import pytest
from scipy import stats

from quenchbook.errors import PlanError
from quenchbook.plan.incomplete_blocks import (
    IncompleteBlocks,
    balanced_blocks,
    block_efficiency,
    exchanged_blocks,
    incomplete_blocks,
    level_counts,
    why_not_balanced,
)
from quenchbook.plan.streams import Stream

# Levels, blocks, block size: blocks of a level, blocks of a pair, efficiency factor. Cochran and
# Cox (1957), Experimental Designs, 2nd ed., table of balanced incomplete blocks; Fisher and Yates
# (1963), Statistical Tables, tables XVII to XIX. From memory.
PUBLISHED = {
    (4, 4, 3): (3, 2, 0.89),
    (5, 10, 3): (6, 3, 0.83),
    (6, 10, 3): (5, 2, 0.80),
    (6, 15, 4): (10, 6, 0.90),
    (7, 7, 3): (3, 1, 0.78),
    (7, 7, 4): (4, 2, 0.88),
    (8, 14, 4): (7, 3, 0.86),
    (9, 12, 3): (4, 1, 0.75),
    (9, 18, 4): (8, 3, 0.84),
    (9, 18, 5): (10, 5, 0.90),
    (9, 12, 6): (8, 5, 0.94),
    (10, 30, 3): (9, 2, 0.74),
    (10, 15, 4): (6, 2, 0.83),
    (10, 18, 5): (9, 4, 0.89),
    (10, 15, 6): (9, 5, 0.93),
    (11, 11, 5): (5, 2, 0.88),
    (11, 11, 6): (6, 3, 0.92),
    (13, 26, 3): (6, 1, 0.72),
    (13, 13, 4): (4, 1, 0.81),
}


def pair_counts(blocks: tuple[tuple[int, ...], ...]) -> collections.Counter[tuple[int, ...]]:
    return collections.Counter(
        pair for block in blocks for pair in itertools.combinations(sorted(block), 2)
    )


@pytest.mark.parametrize(("levels", "blocks", "size"), PUBLISHED)
def test_known_plans_have_the_published_parameters(levels: int, blocks: int, size: int) -> None:
    plan = balanced_blocks(levels, size, blocks)
    assert plan is not None
    of_level, of_pair, efficiency = PUBLISHED[levels, blocks, size]
    assert len(plan.blocks) == blocks
    assert all(len(set(block)) == size for block in plan.blocks)
    assert collections.Counter(itertools.chain(*plan.blocks)) == dict.fromkeys(
        range(levels), of_level
    )
    pairs = pair_counts(plan.blocks)
    assert pairs == dict.fromkeys(itertools.combinations(range(levels), 2), of_pair)
    assert plan.efficiency == pytest.approx(efficiency, abs=0.0051)  # the table has two decimals
    assert plan.efficiency == pytest.approx(plan.bound, rel=1e-12)


@pytest.mark.parametrize("levels", range(3, 14))
def test_every_size_that_counting_allows_is_known_up_to_60_blocks(levels: int) -> None:
    tried = 0
    for size, blocks in itertools.product(range(2, min(levels, 7)), range(2, 61)):
        places = blocks * size
        if places % levels or places // levels * (size - 1) % (levels - 1):
            assert balanced_blocks(levels, size, blocks) is None
            assert "cannot share equally" in why_not_balanced(levels, size, blocks)
            continue
        plan = balanced_blocks(levels, size, blocks)
        assert plan is not None
        assert len(set(pair_counts(plan.blocks).values())) == 1
        assert plan.is_balanced
        tried += 1
    assert tried > 0 or levels == 12


def test_a_plan_that_is_not_known_says_so() -> None:
    assert balanced_blocks(12, 5, 132) is None
    assert why_not_balanced(12, 5, 132) == "no balanced plan of this size is known here"
    assert why_not_balanced(7, 3, 7) == ""
    assert why_not_balanced(16, 6, 8) == "a balanced plan of 16 levels needs at least 16 blocks"


def test_complete_blocks_hold_every_level() -> None:
    plan = incomplete_blocks(4, 4, 3, Stream(1, "blocks"))
    assert plan.blocks == ((0, 1, 2, 3),) * 3
    assert plan.efficiency == pytest.approx(1, rel=1e-12)


@pytest.mark.parametrize(("levels", "size", "blocks"), [(1, 2, 3), (4, 5, 4), (4, 1, 4), (4, 3, 0)])
def test_impossible_sizes_are_refused(levels: int, size: int, blocks: int) -> None:
    with pytest.raises(PlanError, match=r"expected at least one block and a block size of 2 to"):
        incomplete_blocks(levels, size, blocks, Stream(1, "blocks"))


@pytest.mark.parametrize(
    "blocks",
    [
        ((0, 1, 2), (1, 2, 3), (0, 2, 3), (0, 1, 3)),
        ((0, 1), (1, 2), (2, 3)),
        ((0, 1, 2), (0, 3, 3), (1, 2, 3), (0, 1, 1, 2)),  # a level twice, unequal blocks
    ],
)
def test_efficiency_is_that_of_least_squares(blocks: tuple[tuple[int, ...], ...]) -> None:
    rows = [(block, level) for block, own in enumerate(blocks) for level in own]
    model = np.zeros((len(rows), 4 + len(blocks)))
    for row, (block, level) in enumerate(rows):
        model[row, [level, 4 + block]] = 1
    covariance = np.linalg.pinv(model.T @ model)[:4, :4]
    variances = [
        covariance[a, a] + covariance[b, b] - 2 * covariance[a, b]
        for a, b in itertools.combinations(range(4), 2)
    ]
    complete = 2 / (len(rows) / 4)
    expected = complete / np.mean(variances)
    assert block_efficiency(level_counts(4, blocks)) == pytest.approx(expected, rel=1e-9)


def test_levels_that_never_meet_have_no_efficiency() -> None:
    assert block_efficiency(level_counts(4, ((0, 1), (2, 3)))) == 0


@pytest.mark.parametrize(
    ("levels", "size", "blocks"), [(4, 3, 5), (4, 2, 5), (4, 2, 8), (5, 3, 6), (5, 2, 6), (5, 4, 7)]
)
def test_no_other_plan_is_more_efficient(levels: int, size: int, blocks: int) -> None:
    every = itertools.combinations_with_replacement(
        itertools.combinations(range(levels), size), blocks
    )
    best = max(block_efficiency(level_counts(levels, plan)) for plan in every)
    plan = incomplete_blocks(levels, size, blocks, Stream(2, "blocks"))
    assert plan.efficiency == pytest.approx(best, rel=1e-9)


@pytest.mark.parametrize(
    ("levels", "size", "blocks"), [(4, 3, 4), (5, 3, 10), (6, 3, 10), (7, 3, 7), (9, 3, 12)]
)
def test_swapping_alone_finds_balanced_plans(levels: int, size: int, blocks: int) -> None:
    # The construction is put out of reach by asking for the exchange itself.
    plan = IncompleteBlocks(levels, exchanged_blocks(levels, size, blocks, Stream(1, "x")), "")
    assert plan.is_balanced


@pytest.mark.parametrize(
    ("levels", "size", "blocks"), [(8, 3, 10), (7, 3, 12), (6, 4, 8), (13, 6, 40), (10, 2, 7)]
)
def test_blocks_hold_no_level_twice_and_levels_are_equally_often_there(
    levels: int, size: int, blocks: int
) -> None:
    plan = incomplete_blocks(levels, size, blocks, Stream(5, "blocks"))
    counts = level_counts(levels, plan.blocks)
    assert counts.max() == 1
    assert (counts.sum(axis=0) == size).all()
    assert np.ptp(counts.sum(axis=1)) <= 1
    assert plan.efficiency <= plan.bound
    words = f"efficiency {plan.efficiency:.4f}, at most {plan.bound:.4f}"
    assert words in plan.summary()


def test_each_level_is_equally_likely_in_each_block() -> None:
    """The block without a level: all 4! orders, 4000 plans; a fixed order fails."""

    def missing(blocks: tuple[tuple[int, ...], ...]) -> tuple[int, ...]:
        return tuple(next(iter({0, 1, 2, 3} - set(block))) for block in blocks)

    found = collections.Counter(
        missing(incomplete_blocks(4, 3, 4, Stream(seed, "blocks")).blocks) for seed in range(4000)
    )
    assert len(found) == 24
    assert stats.chisquare(list(found.values())).pvalue > 1e-6


def test_each_level_is_equally_likely_where_levels_cannot_be_equally_often(monkeypatch) -> None:
    """Two of five levels are there once less in 6 blocks of 3: which ones is drawn evenly."""
    # One start each: levels get their names after the search, so its length plays no part.
    monkeypatch.setattr("quenchbook.plan.incomplete_blocks.STARTS", 1)
    draws = 600
    fewer = np.zeros(5)
    for seed in range(draws):
        counts = level_counts(5, incomplete_blocks(5, 3, 6, Stream(seed, "b")).blocks).sum(axis=1)
        fewer += counts == counts.min()
    share = fewer.sum() / draws / 5  # of draws, for each level
    statistic = np.sum((fewer - draws * share) ** 2) / (draws * share * (1 - share)) * 4 / 5
    assert stats.chi2.sf(statistic, 4) > 1e-6
