"""Draw a coupon matrix unit by unit: loads, coupons, batches, test orders."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.best_plan import best_arrangement
from quenchbook.plan.declaration import declaration
from quenchbook.plan.labels import random_codes
from quenchbook.plan.matrix import CouponMatrix, check_matrix
from quenchbook.plan.spread import spread_evenly
from quenchbook.plan.streams import BIT_GENERATOR, Stream
from quenchbook.plan.unit_numbers import numbered_units
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor, Level
from quenchbook.units import capital


def coupon_matrix(study: Study, *, seed: int) -> CouponMatrix:
    """Make a randomized coupon matrix.

    Every furnace load has one level of each furnace factor, every cold batch one of each bath
    factor, every temper batch one of each temper factor. Where all combinations fit into a load
    they are all there; the factors that do not fit are spread evenly. Order is random in each unit.

    Parameters
    ----------
    study : Study
    seed : int
        Any whole number; the same study and seed give the same plan.

    Returns
    -------
    CouponMatrix

    Raises
    ------
    PlanError
        If the loads or coupons cannot hold the levels; the message says what would.
    """
    if study.published:
        raise PlanError(
            f"{study.title}: the order of this study was published; it is read, not randomized."
        )
    notes: list[str] = []
    frame = _arrangement(study, seed, notes)
    order = Stream(seed, "place in load").shuffled(range(len(frame)))
    frame = frame.iloc[order].sort_values("furnace_load", kind="stable", ignore_index=True)
    frame["load_place"] = frame.groupby("furnace_load").cumcount() + 1
    frame["coupon"] = random_codes(len(frame), Stream(seed, "coupon codes"))
    if study.layout.bars:
        places = list(
            itertools.product(
                range(1, study.layout.bars + 1), range(1, study.layout.coupons_per_bar + 1)
            )
        )
        chosen = Stream(seed, "bar and position").shuffled(places)[: len(frame)]
        frame[["bar", "bar_position"]] = np.array(chosen, dtype=np.int64)
    for response in study.responses:
        frame[f"{response.name}_order"] = _test_order(study, frame, response.name, seed)
    return CouponMatrix(
        frame=frame[_column_order(study, frame)],
        study=study,
        seed=seed,
        notes=tuple(notes),
        versions=_versions(),
        declaration=declaration(study),
    )


def published_matrix(study: Study, frame: pd.DataFrame) -> CouponMatrix:
    """Take over the order of a published experiment.

    Parameters
    ----------
    study : Study
        With ``published = true``.
    frame : DataFrame
        ``coupon``, ``furnace_load`` and the factor columns, one row for each coupon in the order
        of the publication.
    """
    frame = frame.copy()
    frame["day"] = frame.get("day", 1)
    frame["load_place"] = frame.groupby("furnace_load").cumcount() + 1
    for response in study.responses:
        frame[f"{response.name}_order"] = np.arange(1.0, len(frame) + 1)
    matrix = CouponMatrix(
        frame=frame[_column_order(study, frame)],
        study=study,
        seed=None,
        origin="published",
        notes=("The order of loads and coupons is that of the publication.",),
        versions=_versions(),
        declaration=declaration(study),
    )
    check_matrix(matrix)
    return matrix


# --- units one after the other
# ----------------------------------------------------------------------


def _arrangement(study: Study, seed: int, notes: list[str]) -> pd.DataFrame:
    """Units and levels of each coupon; loads in random order, batches numbered at random."""
    if study.plan.kind == "best":
        return numbered_units(best_arrangement(study, seed=seed, notes=notes), seed)
    loads = _furnace_loads(study, seed, notes)
    frame = pd.DataFrame(_coupons_in_loads(study, loads, seed, notes))
    if study.layout.coupons_per_temper_batch or _set_for(study, "temper_batch"):
        frame["temper_batch"] = _temper_batches(study, frame, seed, notes)
    return frame


def _set_for(study: Study, *units: str) -> list[Factor]:
    return [factor for factor in study.factors if factor.set_for in units]


def _furnace_loads(study: Study, seed: int, notes: list[str]) -> list[dict[str, Level | int]]:
    """Levels and day of each furnace load, in furnace order."""
    factors, layout = _set_for(study, "furnace_load"), study.layout
    combos = list(itertools.product(*(factor.levels for factor in factors)))
    if layout.furnace_loads < len(combos):
        raise PlanError(
            f"{len(combos)} combinations of {' and '.join(f.title for f in factors)} need at least "
            f"{len(combos)} furnace loads; the layout has {layout.furnace_loads}. A furnace "
            "load has "
            "one temperature: add loads (two for each combination make a test possible) or "
            "drop levels."
        )
    if 1 < layout.furnace_loads < 2 * len(combos) and len(combos) > 1:
        notes.append(
            "At least one furnace setting runs in a single load: what that load did cannot be told "
            "from the setting itself."
        )
    repeats, rest = divmod(layout.furnace_loads, len(combos))
    extra = Stream(seed, "loads beyond even repeats").shuffled(range(len(combos)))[:rest]
    pool = sorted([*(list(range(len(combos))) * repeats), *extra])
    per_day = layout.loads_per_day or layout.furnace_loads
    days = [number // per_day + 1 for number in range(layout.furnace_loads)]
    chosen = spread_evenly(pool, {"day": days}, Stream(seed, "levels of days"))
    order = Stream(seed, "furnace order")
    for start in range(0, layout.furnace_loads, per_day):
        chosen[start : start + per_day] = order.shuffled(chosen[start : start + per_day])
    if layout.loads_per_day:
        notes.append(
            f"{per_day} furnace loads a day; levels are spread evenly over days, in random order."
        )
    return [
        {
            "furnace_load": number + 1,
            "day": days[number],
            **dict(zip((factor.column for factor in factors), combos[chosen[number]], strict=True)),
        }
        for number in range(layout.furnace_loads)
    ]


def _coupons_in_loads(
    study: Study, loads: Sequence[Mapping[str, Level | int]], seed: int, notes: list[str]
) -> dict[str, list[Level | int]]:
    """Levels of the factors inside loads, as columns; cold batches numbered in each load."""
    inner = [factor for factor in study.factors if factor.set_for != "furnace_load"]
    size = study.layout.coupons_per_load
    crossed: list[Factor] = []
    for factor in inner:
        product = math.prod(len(other.levels) for other in [*crossed, factor])
        if not factor.nested_in and size % product == 0:
            crossed.append(factor)
    combos = list(itertools.product(*(factor.levels for factor in crossed)))
    columns: dict[str, list[Level | int]] = {name: [] for name in loads[0]}
    columns |= {factor.column: [] for factor in crossed}
    for load in loads:
        for combo in combos * (size // len(combos)):
            for name, value in load.items():
                columns[name].append(value)
            for factor, value in zip(crossed, combo, strict=True):
                columns[factor.column].append(value)
    if crossed:
        words = ", ".join(f"{factor.title} ({len(factor.levels)})" for factor in crossed)
        notes.append(f"Every furnace load holds every combination of {words}.")
    for factor in inner:
        if factor not in crossed:
            _spread(study, factor, columns, seed)
            words = (
                f"inside {study.factor(factor.nested_in).title}"
                if factor.nested_in
                else "over all coupons"
            )
            notes.append(f"{capital(factor.title)} is spread evenly over loads, {words}.")
    bath = _set_for(study, "cold_batch")
    if bath:
        columns["cold_batch"] = _numbered_batches(columns, [factor.column for factor in bath], seed)
    return columns


def _spread(study: Study, factor: Factor, columns: dict[str, list[Level | int]], seed: int) -> None:
    """Add a column of levels that do not fit as a full crossing."""
    total = len(columns["furnace_load"])
    bath = [f.column for f in _set_for(study, "cold_batch") if f.column in columns]
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
    items = list(dict.fromkeys(key for key, there in zip(keys, exists, strict=True) if there))
    first = {key: keys.index(key) for key in items}
    covariates = {
        name: _as_codes([values[first[key]] for key in items])
        for name, values in columns.items()
        if name == "furnace_load" or any(f.column == name for f in study.factors)
    }
    if in_batches:  # coupons of one batch may differ in the others
        covariates = {
            n: c for n, c in covariates.items() if n in together or n in _load_columns(study)
        }
    pool = [number % len(factor.levels) for number in range(len(items))]
    chosen = dict(
        zip(
            items,
            spread_evenly(pool, covariates, Stream(seed, f"levels of {factor.name}")),
            strict=True,
        )
    )
    blank: Level = math.nan if factor.is_numeric else ""
    columns[factor.column] = [
        factor.levels[chosen[key]] if there else blank
        for key, there in zip(keys, exists, strict=True)
    ]


def _load_columns(study: Study) -> set[str]:
    return {factor.column for factor in _set_for(study, "furnace_load")}


def _as_codes(values: Sequence[Level | int]) -> list[int]:
    known = {value: number for number, value in enumerate(dict.fromkeys(map(str, values)))}
    return [known[str(value)] for value in values]


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


def _temper_batches(study: Study, frame: pd.DataFrame, seed: int, notes: list[str]) -> list[int]:
    """Temper batch of each coupon: one setting and one day a batch, other factors spread."""
    factors = [factor.column for factor in _set_for(study, "temper_batch")]
    room = study.layout.coupons_per_temper_batch or len(frame)
    batches = np.zeros(len(frame), dtype=np.int64)
    number = 0
    for day, of_day in frame.groupby("day"):
        groups = [of_day.index]
        if factors:
            groups = [own.index for _, own in of_day.groupby(factors, sort=True)]
        sizes = [math.ceil(len(group) / room) for group in groups]
        names = Stream(seed, f"temper batch numbers of day {day}").shuffled(
            range(1, sum(sizes) + 1)
        )
        for group, count in zip(groups, sizes, strict=True):
            own, names = names[:count], names[count:]
            members = frame.loc[group]
            others = ["furnace_load", *(f.column for f in study.factors if f.column not in factors)]
            covariates = {name: _as_codes(members[name].tolist()) for name in others}
            if "cold_batch" in frame:  # coupons of one cold batch meet every other batch equally
                covariates["met"] = _batches_met(frame, members, batches)
            pool = [place % count for place in range(len(members))]
            chosen = spread_evenly(pool, covariates, Stream(seed, f"temper batches {day} {own}"))
            batches[group] = [number + own[place] for place in chosen]
        number += sum(sizes)
    notes.append(
        f"{number} temper batches of at most {room} coupons, each from the loads of one day."
    )
    return [int(batch) for batch in batches]


def _batches_met(
    frame: pd.DataFrame, members: pd.DataFrame, batches: np.ndarray[tuple[int], np.dtype[np.int64]]
) -> list[int]:
    """Temper batches that the other coupons of a coupon's cold batch already have, as a code."""
    met = []
    for name in members["cold_batch"]:
        own = batches[(frame["cold_batch"] == name).to_numpy()]
        met.append("-".join(str(batch) for batch in sorted(set(own[own > 0].tolist()))))
    return _as_codes(met)


def _test_order(study: Study, frame: pd.DataFrame, response: str, seed: int) -> list[float]:
    """Place of each coupon in the blinded test order; blank where it is not tested."""
    tested = tested_coupons(study, frame, response, seed)
    places = [place for place, chosen in enumerate(tested) if chosen]
    order = [math.nan] * len(frame)
    for number, place in enumerate(
        Stream(seed, f"test order of {response}").shuffled(places), start=1
    ):
        order[place] = float(number)
    return order


def tested_coupons(study: Study, frame: pd.DataFrame, response: str, seed: int) -> list[int]:
    """1 for each coupon that is tested and 0 for others, spread evenly over loads and levels."""
    wanted = study.response(response).coupons or len(frame)
    if wanted > len(frame):
        raise PlanError(
            f"{response}: {wanted} coupons to be tested, but the plan has {len(frame)}."
        )
    tested = [1] * len(frame)
    if wanted < len(frame):
        columns = ["furnace_load", *(factor.column for factor in study.factors)]
        covariates = {name: _as_codes(frame[name].tolist()) for name in columns}
        pool = [1] * wanted + [0] * (len(frame) - wanted)
        tested = spread_evenly(pool, covariates, Stream(seed, f"coupons for {response}"))
    return tested


def _column_order(study: Study, frame: pd.DataFrame) -> list[str]:
    wanted = [
        "coupon", "furnace_load", "day", "load_place", *(factor.column for factor in study.factors),
        "cold_batch", "temper_batch", "bar", "bar_position",
        *(f"{response.name}_order" for response in study.responses),
    ]  # fmt: skip
    return [name for name in wanted if name in frame]


def _versions() -> dict[str, str]:
    from quenchbook import __version__

    return {"quenchbook": __version__, "numpy": np.__version__, "bit_generator": BIT_GENERATOR}
