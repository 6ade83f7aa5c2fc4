"""Inside furnace loads: every combination where it fits, the rest spread evenly; cold batches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import cast

from quenchbook.plan.added_coupons import has_cold_batch, with_extra_coupons
from quenchbook.plan.allowed_levels import AllowedLevels
from quenchbook.plan.levels_inside import crossed_factors, level_pool, open_levels
from quenchbook.plan.levels_of_loads import blocks_note, crowded_factor, levels_of_loads
from quenchbook.plan.spread import codes_of, spread_evenly
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import blank_level, set_for
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import capital


def coupons_in_loads(
    study: Study, loads: Sequence[Mapping[str, Level | int]], seed: int, notes: list[str]
) -> dict[str, list[Level | int]]:
    """Levels of the factors inside loads, as columns; cold batches numbered in each load.

    Parameters
    ----------
    study : Study
    loads : sequence of mapping
        From `furnace_loads`.
    seed : int
    notes : list of str
        How the combinations were fitted into the loads is added in words.

    Returns
    -------
    dict of column to list, each of shape (coupons,)
    """
    inner = [factor for factor in study.factors if factor.set_for != "furnace_load"]
    size = study.layout.coupons_per_load
    allowed, crowded = AllowedLevels(study), crowded_factor(study, inner)
    fitting = [factor for factor in inner if factor != crowded]
    crossed = crossed_factors(study, allowed, fitting, loads)
    columns: dict[str, list[Level | int]] = {name: [] for name in loads[0]}
    columns |= {factor.column: [] for factor in crossed}
    for load in loads:
        combos = allowed.settings(crossed, cast(Mapping[str, Level], load))
        for combo in combos * (size // len(combos)):
            for name, value in {**load, **combo}.items():
                columns[name].append(value)
    if crossed:
        words = ", ".join(f"{factor.title} ({len(factor.levels)})" for factor in crossed)
        tied = any(factor in allowed.involved for factor in crossed)
        every = "every allowed" if tied else "every"
        notes.append(f"Every furnace load holds {every} combination of {words}.")
    rest = [factor for factor in inner if factor not in crossed]
    if study.forbidden:  # what all coupons of a batch share is settled before what each has alone
        rest.sort(key=lambda factor: factor.set_for != "cold_batch")
    for factor in rest:
        if factor == crowded:
            plan = levels_of_loads(study, factor, loads, seed)
            _spread(study, factor, columns, seed, allowed, plan.blocks)
            notes.append(blocks_note(study, factor, plan))
            continue
        _spread(study, factor, columns, seed, allowed)
        words = (
            f"inside {study.factor(factor.nested_in).title}"
            if factor.nested_in
            else "over all coupons"
        )
        advice = _room(study, factor, size)
        notes.append(f"{capital(factor.title)} is spread evenly over loads, {words}.{advice}")
    notes += allowed.narrow_loads()
    columns = with_extra_coupons(study, columns, seed, notes)
    columns = with_cold_batches(study, columns, seed)
    notes += _batches_note(study, columns)
    return columns


def _room(study: Study, factor: Factor, size: int) -> str:
    """Advice where a factor of cold batches can only be compared between loads."""
    if factor.set_for != "cold_batch" or not factor.nested_in or study.layout.cold_batches_per_load:
        return ""
    parent = study.factor(factor.nested_in)
    if len(factor.exists_for) > 1 or size < 2 * len(parent.levels):
        return ""
    more = len(parent.levels) - 1 + len(factor.levels)
    return (
        f" Each load holds a single {factor.title}, so it is compared between loads: with "
        f"cold_batches_per_load = {more} below [layout] a load can hold more."
    )


def with_cold_batches(
    study: Study, columns: dict[str, list[Level | int]], seed: int
) -> dict[str, list[Level | int]]:
    """Columns with the cold batch of each coupon; blank for a reference without a cold step."""
    bath = set_for(study, "cold_batch")
    if not bath:
        return columns
    names = _numbered_batches(columns, [factor.column for factor in bath], seed)
    there = has_cold_batch(study, columns)
    own = [name if is_there else "" for name, is_there in zip(names, there, strict=True)]
    return {**columns, "cold_batch": own}


def _batches_note(study: Study, columns: Mapping[str, Sequence[Level | int]]) -> list[str]:
    """Say where a load needs more cold batches than the layout tells."""
    told = study.layout.cold_batches_per_load
    if not told or "cold_batch" not in columns:
        return []
    names = {str(name) for name in columns["cold_batch"] if name}
    loads = [name.partition("-")[0] for name in names]
    most = max((loads.count(load) for load in set(loads)), default=0)
    if most <= told:
        return []
    return [f"cold_batches_per_load is {told}, but the levels of a load need {most}."]


def _spread(
    study: Study,
    factor: Factor,
    columns: dict[str, list[Level | int]],
    seed: int,
    allowed: AllowedLevels,
    of_loads: Sequence[Sequence[int]] = (),
) -> None:
    """Add a column of levels that do not fit as a full crossing.

    Each item (a coupon or a cold batch) gets an allowed one; `of_loads` tells the numbers of the
    levels that a load may hold, where that is settled.
    """
    total = len(columns["furnace_load"])
    bath = [f.column for f in set_for(study, "cold_batch") if f.column in columns]
    in_batches = factor.set_for == "cold_batch" and bool(bath)  # a batch is there to be set
    together = ["furnace_load", *bath] if in_batches else ["furnace_load"]
    keys: list[tuple[object, ...]] = [
        tuple(columns[name][i] for name in together) for i in range(total)
    ]
    if not in_batches:
        keys = [(*key, i) for i, key in enumerate(keys)]
    exists = [True] * total
    if factor.nested_in:
        parent = study.factor(factor.nested_in)
        exists = [value in factor.exists_for for value in columns[parent.column]]
    if in_batches and study.layout.cold_batches_per_load:
        keys = _parted(study, factor, keys, exists, seed)
    items = list(dict.fromkeys(key for key, there in zip(keys, exists, strict=True) if there))
    if not items:  # no coupon has the level that it is nested in
        columns[factor.column] = [blank_level(factor)] * total
        return
    first = {key: keys.index(key) for key in items}
    covariates = {
        name: codes_of([values[first[key]] for key in items])
        for name, values in columns.items()
        if name == "furnace_load" or any(f.column == name for f in study.factors)
    }
    if in_batches:  # coupons of one batch may differ in the others
        covariates = {
            n: c for n, c in covariates.items() if n in together or n in _load_columns(study)
        }
    rows_of: dict[tuple[object, ...], list[int]] = {key: [] for key in items}
    for i, key in enumerate(keys):
        if exists[i]:
            rows_of[key].append(i)
    stream, starts = Stream(seed, f"levels of {factor.name}"), 12
    if of_loads:
        within, starts = covariates["furnace_load"], 3  # swaps inside loads leave little to search
        pool = []
        for load, own in enumerate(of_loads):  # each level as often as the others or once more
            order = stream.shuffled(own)
            pool += [order[place % len(order)] for place in range(within.count(load))]
    else:
        own_levels = [open_levels(study, factor, columns, rows_of[key], allowed) for key in items]
        within = codes_of([str(own) for own in own_levels])
        pool = level_pool(factor, own_levels, seed)
    spread = spread_evenly(pool, covariates, stream, within=within, starts=starts)
    chosen = dict(zip(items, spread, strict=True))
    columns[factor.column] = [
        factor.levels[chosen[key]] if there else blank_level(factor)
        for key, there in zip(keys, exists, strict=True)
    ]


def _parted(
    study: Study,
    factor: Factor,
    keys: Sequence[tuple[object, ...]],
    exists: Sequence[bool],
    seed: int,
) -> list[tuple[object, ...]]:
    """Keys of the batches where a load has room for more of them than it has settings so far.

    The batches that are left go to the groups of coupons that have the factor, largest first; which
    coupons of a group go together is drawn at random.
    """
    stream = Stream(seed, f"parts of cold batches for {factor.name}")
    parted = list(keys)
    for load in dict.fromkeys(key[0] for key in keys):
        groups: dict[tuple[object, ...], list[int]] = {}
        for place, key in enumerate(keys):
            if key[0] == load:
                groups.setdefault(key, []).append(place)
        own = {key: rows for key, rows in groups.items() if exists[rows[0]]}
        parts = dict.fromkeys(own, 1)
        for _ in range(study.layout.cold_batches_per_load - len(groups)):
            open_groups = [key for key in own if parts[key] < len(own[key])]
            if not open_groups:
                break
            parts[max(open_groups, key=lambda key: len(own[key]) / parts[key])] += 1
        for key, rows in own.items():
            for number, row in enumerate(stream.shuffled(rows)):
                parted[row] = (*key, number % parts[key])
    return parted


def _load_columns(study: Study) -> set[str]:
    return {factor.column for factor in set_for(study, "furnace_load")}


def _numbered_batches(
    columns: Mapping[str, Sequence[Level | int]], names: Sequence[str], seed: int
) -> list[Level | int]:
    """Name of the batch of each coupon: load, then a random number in the load."""
    loads = columns["furnace_load"]
    keys = [(load, *(str(columns[name][i]) for name in names)) for i, load in enumerate(loads)]
    numbers: dict[tuple[object, ...], str] = {}
    stream = Stream(seed, "cold batch numbers")
    for load in dict.fromkeys(loads):
        own = [key for key in dict.fromkeys(keys) if key[0] == load]
        for number, key in enumerate(stream.shuffled(own), start=1):
            numbers[key] = f"{load}-{number}"
    return [numbers[key] for key in keys]
