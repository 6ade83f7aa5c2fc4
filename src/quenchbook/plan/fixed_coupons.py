"""Coupons with a treatment of their own beside those a best plan chooses."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.choice_space import ChoiceSpace
from quenchbook.plan.coordinates import FREE, Codes
from quenchbook.plan.treatments import blank_level
from quenchbook.study.definition import ExtraCoupons, Study
from quenchbook.study.factors import Level


def extra_coupon_rows(
    study: Study, units: pd.DataFrame
) -> tuple[pd.DataFrame, dict[int, dict[str, Level]]]:
    """Extra coupons that are full treatments, in one or two loads of each furnace setting.

    Parameters
    ----------
    study : Study
    units : DataFrame
        From `quenchbook.plan.shared_units.shared_units`.

    Returns
    -------
    rows : DataFrame
        One for each extra coupon, with the columns of `units` and of the factors; batches are its
        own. References, where a factor is left out, are not there.
    loads : dict of load to levels
        Furnace levels, by column, that these loads must have.

    Raises
    ------
    PlanError
        If there are more furnace settings than loads.
    """
    columns = list(units)
    columns += [factor.column for factor in study.factors]
    full = [(entry, _full_row(study, entry)) for entry in study.extra_coupons]
    entries = [(entry, row) for entry, row in full if row is not None]
    furnace = [f.column for f in study.factors if f.set_for == "furnace_load"]
    settings = list(dict.fromkeys(tuple(row[name] for name in furnace) for _, row in entries))
    loads = int(units["furnace_load"].max())
    if len(settings) > loads:
        raise PlanError(
            f"The extra coupons have {len(settings)} furnace settings; the layout has {loads} "
            f"{study.unit_word('furnace_load', loads)}. Add loads."
        )
    rows: list[dict[str, Level | int]] = []
    chosen: dict[int, dict[str, Level]] = {}
    for place, setting in enumerate(settings):
        own = [(entry, row) for entry, row in entries if tuple(row[n] for n in furnace) == setting]
        many = sum(entry.coupons for entry, _ in own) > 1 and 2 * len(settings) <= loads
        numbers = [place + 1, place + 1 + len(settings)] if many else [place + 1]
        for number in numbers:
            chosen[number] = dict(zip(furnace, setting, strict=True))
        for entry, row in own:
            for count in range(entry.coupons):
                rows.append({"furnace_load": numbers[count % len(numbers)], **row})
    day = dict(zip(units["furnace_load"], units["day"], strict=True))
    fixed = pd.DataFrame(rows, columns=columns)
    fixed["day"] = [day[load] for load in fixed["furnace_load"]]
    for unit, around in (("cold_batch", "furnace_load"), ("temper_batch", "day")):
        if unit in units:
            set_once = [f.column for f in study.factors if f.set_for == unit]
            own_groups = fixed.groupby([around, *set_once], dropna=False).ngroup()
            fixed[unit] = own_groups + 1 + int(units[unit].max())
    types = {factor.column: "float64" if factor.is_numeric else "str" for factor in study.factors}
    whole = {name: "int64" for name in columns if name in units}
    return fixed.astype({**types, **whole}), chosen


def joined_coupons(study: Study, chosen: pd.DataFrame, fixed: pd.DataFrame) -> pd.DataFrame:
    """All coupons; an extra one joins the smallest batch of its setting that has room.

    In the exchange it had a batch of its own, since the settings of the others were still open.
    """
    rooms = {"cold_batch": len(chosen), "temper_batch": study.layout.coupons_per_temper_batch}
    frame = pd.concat([chosen, fixed], ignore_index=True)
    for unit, around in (("cold_batch", "furnace_load"), ("temper_batch", "day")):
        if unit not in frame:
            continue
        alike = [around, *(f.column for f in study.factors if f.set_for == unit)]
        groups = frame.groupby(alike, dropna=False).ngroup()
        for row in frame.index[len(chosen) :]:
            others = frame.loc[(groups == groups[row]) & (frame.index < row), unit]
            sizes = others.value_counts().sort_index()
            if len(sizes) and sizes.min() < (rooms[unit] or len(frame)):
                frame.loc[row, unit] = sizes.idxmin()
    return frame


def _full_row(study: Study, entry: ExtraCoupons) -> dict[str, Level] | None:
    """Levels of an extra coupon by column; None for a reference, where a factor is left out."""
    row: dict[str, Level] = {}
    for factor in study.factors:
        there = not factor.nested_in or entry.levels.get(factor.nested_in) in factor.exists_for
        if there and factor.name not in entry.levels:
            return None
        row[factor.column] = entry.levels[factor.name] if there else blank_level(factor)
    return row


def held_load_choices(
    space: ChoiceSpace, loads: Mapping[int, Mapping[str, Level]], count: int
) -> dict[int, Codes]:
    """Choice that loads with extra coupons must keep, by place of the part; others are free."""
    held = {}
    for place, part in enumerate(space.parts):
        if part.unit == "furnace_load" and loads:
            own = np.full(count, FREE, dtype=np.int64)
            for load, levels in loads.items():
                own[load - 1] = part.choice(levels)
            held[place] = own
    return held
