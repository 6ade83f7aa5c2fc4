"""A fraction that a furnace can run: whole loads, each with one setting."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.fractions import Fraction, check_two_levels
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import is_forbidden, set_for
from quenchbook.plan.word_sets import Tier, best_columns
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level

WHERE = "study.toml [plan]"
MOST_TREATMENTS = 128
MOST_FACTORS = 12


def study_fraction(study: Study, *, seed: int) -> Fraction:
    """The fraction that a study asks for, with whole furnace loads.

    Factors of the furnace load are free of each other if the loads allow it, else a fraction of
    their own; every load can then hold all treatments of its setting. Factors inside loads change
    inside every load. Which of the equivalent fractions is taken (which level of a factor goes
    with which product) is random, among those without forbidden treatments.

    Parameters
    ----------
    study : Study
        With ``plan.treatments``, a power of two.
    seed : int

    Returns
    -------
    Fraction

    Raises
    ------
    PlanError
        If factors, treatments, loads and coupons do not fit; the message says what would.
    """
    check_two_levels(study, WHERE)
    basic = _basic_factors(study)
    tiers = _factor_tiers(study)
    columns = _columns(study, tiers, basic)
    ordered = [factor for tier in tiers for factor in tier]
    of_factor = dict(zip((factor.name for factor in ordered), columns, strict=True))
    own = tuple(of_factor[factor.name] for factor in study.factors)
    for signs in _signs(own, basic, Stream(seed, "levels of the fraction")):
        chosen = Fraction(study.factors, own, signs, basic)
        if not is_forbidden(study, chosen.to_frame()).any():
            return chosen
    raise PlanError(
        Problem(
            WHERE,
            f"each fraction of {2**basic} treatments has one that is forbidden",
            'Ask for fewer treatments, or take kind = "best".',
        )
    )


def load_settings(study: Study, chosen: Fraction) -> list[dict[str, Level]]:
    """Combinations of levels of the furnace load, each once, by column."""
    columns = [factor.column for factor in set_for(study, "furnace_load")]
    if not columns:
        return [{}]
    settings = chosen.to_frame()[columns].drop_duplicates()
    return [dict(zip(columns, row, strict=True)) for row in settings.itertuples(index=False)]


def fraction_coupons(
    study: Study, chosen: Fraction, loads: Sequence[Mapping[str, Level | int]]
) -> tuple[dict[str, list[Level | int]], list[str]]:
    """Levels of the coupons of each load: every treatment of its setting, equally often.

    Parameters
    ----------
    study : Study
    chosen : Fraction
    loads : sequence of mapping
        Number, day and levels of each furnace load.

    Returns
    -------
    columns : dict of list
        Each name of `loads` and each factor, one value for each coupon.
    notes : list of str
    """
    table = chosen.to_frame()
    set_once = [factor.column for factor in set_for(study, "furnace_load")]
    inner = [factor.column for factor in study.factors if factor.column not in set_once]
    columns: dict[str, list[Level | int]] = {name: [] for name in [*loads[0], *inner]}
    repeats = 0
    for load in loads:
        there = (table[set_once] == [load[name] for name in set_once]).all(axis=1)
        own = table[there]
        repeats = study.layout.coupons_per_load // len(own)
        for name, value in load.items():
            columns[name] += [value] * (len(own) * repeats)
        for name in inner:
            columns[name] += own[name].tolist() * repeats
    size = study.layout.coupons_per_load // repeats
    often = {1: "once", 2: "twice"}.get(repeats, f"{repeats} times")
    what = "treatments of its setting" if set_once else "treatments"
    word = study.unit_word("furnace_load")
    return columns, [f"Every {word} holds the {size} {what}, each {often}."]


def _basic_factors(study: Study) -> int:
    wanted, factors = study.plan.treatments, len(study.factors)
    least = factors.bit_length()  # columns differ, so there are at most 2^m - 1 factors
    allowed = [2**m for m in range(least, min(factors, 7) + 1)]
    if factors > MOST_FACTORS:
        raise PlanError(
            Problem(
                WHERE,
                f"{factors} factors; a fraction is made of at most {MOST_FACTORS}",
                'Vary fewer factors, or take kind = "best".',
            )
        )
    if wanted not in allowed:
        raise PlanError(
            Problem(
                WHERE,
                f"treatments is {wanted}; {factors} factors on two levels can have "
                f"{', '.join(map(str, allowed))}",
                "More treatments mix fewer effects.",
            )
        )
    return wanted.bit_length() - 1


def _factor_tiers(study: Study) -> tuple[list[Factor], list[Factor], list[Factor]]:
    """Factors of the load, of the cold batch, and all others."""
    loads, baths = set_for(study, "furnace_load"), set_for(study, "cold_batch")
    return loads, baths, [f for f in study.factors if f not in loads and f not in baths]


def _columns(study: Study, tiers: Sequence[Sequence[Factor]], basic: int) -> tuple[int, ...]:
    """Columns of the factors, tier after tier, for the finest split of units that works."""
    counts = [len(tier) for tier in tiers]
    for split in _splits(study, counts, basic):
        if all(0 < tier.basic <= tier.factors or tier == Tier(0, 0) for tier in split):
            found = best_columns(split)
            if found:
                return found
    raise PlanError(
        Problem(
            "study.toml [layout]",
            f"{2**basic} treatments of {counts[0]} {study.unit_word('furnace_load')} factors and "
            f"{counts[1] + counts[2]} others do not fit evenly into {study.layout.furnace_loads} "
            f"{study.unit_word('furnace_load', 2)} of {study.layout.coupons_per_load} "
            f"{study.unit_word('coupon', 2)}",
            f'{_what_fits(counts, basic)} Or take kind = "best".',
        )
    )


def _splits(study: Study, counts: Sequence[int], basic: int) -> Iterator[tuple[Tier, ...]]:
    """Numbers of free factors of load, cold batch and coupon that the layout has room for."""
    layout = study.layout
    groups = layout.cold_batches_per_load or layout.coupons_per_load
    for of_load in range(min(counts[0], basic), -1, -1):
        inside = basic - of_load
        if layout.furnace_loads % 2**of_load or layout.coupons_per_load % 2**inside:
            continue
        for of_bath in range(min(counts[1], inside), -1, -1):
            if 2**of_bath <= groups:
                yield tuple(map(Tier, counts, (of_load, of_bath, inside - of_bath)))
        if 2**inside <= groups:  # each coupon of a load in a cold batch of its own
            yield Tier(counts[0], of_load), Tier(counts[1] + counts[2], inside)


def _what_fits(counts: Sequence[int], basic: int) -> str:
    """Numbers of loads and coupons that would do."""
    settings = min(counts[0], basic - (1 if counts[1] + counts[2] else 0))
    return (
        f"What fits: {2**settings} loads or a multiple, each of {2 ** (basic - settings)} coupons "
        "or a multiple."
    )


def _signs(columns: Sequence[int], basic: int, stream: Stream) -> Iterator[tuple[int, ...]]:
    """Signs of the factors: every fraction of the family once, in random order.

    Swapped levels of basic factors give the same treatments in another order, so only the other
    factors are swapped.
    """
    first = {1 << bit: columns.index(1 << bit) for bit in range(basic)}
    made = [place for place, column in enumerate(columns) if first.get(column) != place]
    for number in stream.shuffled(range(2 ** len(made))):
        signs = [1] * len(columns)
        for bit, place in enumerate(made):
            signs[place] = -1 if number >> bit & 1 else 1
        yield tuple(signs)
