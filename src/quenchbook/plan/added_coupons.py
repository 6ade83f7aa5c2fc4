"""Coupons beside those a plan chooses: fixed treatments, and references that are never analysed.

How references stand in the coupon matrix: the column ``reference`` holds their key and is empty
for all other coupons. A reference with a level of the furnace factors goes through a furnace load
with that setting, and through no step that it leaves out: factors of a step that is left out are
blank, its ``temper_batch`` is 0 without a temper and its ``cold_batch`` blank without a cold step.
A reference without a furnace setting is measured as it was delivered: ``furnace_load`` and ``day``
are 0, which means none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.plan.streams import Stream
from quenchbook.plan.treatments import blank_level, set_for
from quenchbook.study.definition import ExtraCoupons, Study
from quenchbook.study.factors import Level
from quenchbook.units import capital, listed

Columns = dict[str, list[Level | int]]


def with_extra_coupons(
    study: Study,
    columns: Columns,
    seed: int,
    notes: list[str],
    *,
    references_only: bool = False,
) -> Columns:
    """Add the extra coupons of a study to the coupons of a plan.

    Extra coupons are spread evenly, from a random start, over the loads with their furnace
    setting.

    Parameters
    ----------
    study : Study
    columns : dict of column to values, each of shape (coupons,)
        ``furnace_load``, ``day`` and the factor columns.
    seed : int
    notes : list of str
        Gets a sentence for each kind of extra coupons.
    references_only : bool
        Whether the other extra coupons are in the columns already.

    Returns
    -------
    dict
        Longer columns; with ``reference`` where the study has references.

    Raises
    ------
    PlanError
        If no load has the furnace setting of extra coupons.
    """
    if not study.extra_coupons:
        return columns
    grown = {name: list(values) for name, values in columns.items()}
    if study.references:
        grown["reference"] = [""] * len(columns["furnace_load"])
    loads = _loads(study, columns)
    added = dict.fromkeys(loads, 0)
    for extra in study.references if references_only else study.extra_coupons:
        is_reference = study.is_reference(extra)
        treated = not is_reference or goes_through_a_load(study, extra)
        fitting = _fitting_loads(study, extra, loads) if treated else []
        order = Stream(seed, f"loads of extra coupons {extra.key}").shuffled(fitting)
        used = []
        for _ in range(extra.coupons):
            load = min(order, key=lambda own: added[own]) if treated else 0
            if treated:
                added[load] += 1
                used.append(load)
            for name, value in _row(study, extra, load, loads.get(load, {})).items():
                grown[name].append(value)
            if study.references:
                grown["reference"].append(extra.key if is_reference else "")
        notes.append(_note(study, extra, used, is_reference=is_reference))
    return grown


def with_references(study: Study, frame: pd.DataFrame, seed: int, notes: list[str]) -> pd.DataFrame:
    """Add the references of a study to a plan whose batches are settled.

    A reference with levels of a batch joins a batch of its load (or its day) that has them and has
    room, or gets one of its own.

    Parameters
    ----------
    study : Study
    frame : DataFrame
        ``furnace_load``, ``day``, the factor columns, ``cold_batch`` and ``temper_batch``.
    seed : int
    notes : list of str
        Gets a sentence for each kind of reference.
    """
    if not study.references:
        return frame
    names = ["furnace_load", "day", *(factor.column for factor in study.factors)]
    columns = {name: frame[name].tolist() for name in names}
    columns = with_extra_coupons(study, columns, seed, notes, references_only=True)
    grown = pd.DataFrame(columns)
    rows = range(len(frame), len(grown))
    if "cold_batch" in frame:
        there = has_cold_batch(study, columns)
        grown["cold_batch"] = frame["cold_batch"].tolist() + [""] * len(rows)
        for row in (row for row in rows if there[row]):
            load = columns["furnace_load"][row]
            own = grown.loc[grown["furnace_load"] == load, "cold_batch"]
            found = _batches_alike(study, grown, row, "cold_batch", "furnace_load")
            name = f"{load}-{own[own != ''].nunique() + 1}"
            grown.loc[row, "cold_batch"] = found[0] if found else name
    if "temper_batch" in frame:
        tempered = is_tempered(study, grown)
        grown["temper_batch"] = frame["temper_batch"].tolist() + [0] * len(rows)
        room = study.layout.coupons_per_temper_batch or len(grown)
        for row in (row for row in rows if tempered[row]):
            sizes = grown["temper_batch"].value_counts()
            found = _batches_alike(study, grown, row, "temper_batch", "day")
            found = [batch for batch in found if sizes[batch] < room]
            grown.loc[row, "temper_batch"] = (
                min(found, key=lambda own: (sizes[own], own))
                if found
                else grown["temper_batch"].max() + 1
            )
    return grown


def _batches_alike(
    study: Study,
    frame: pd.DataFrame,
    row: int,
    unit: Literal["cold_batch", "temper_batch"],
    around: str,
) -> list[Any]:
    """Batches of the rows above with the same levels in the same load or on the same day."""
    alike = [around, *(factor.column for factor in set_for(study, unit))]
    texts = frame[alike].astype(str)
    same = (texts == texts.loc[row]).all(axis=1)
    return list(dict.fromkeys(own for own in frame.loc[same, unit].loc[: row - 1] if own))


def goes_through_a_load(study: Study, extra: ExtraCoupons) -> bool:
    """Whether a reference goes into the furnace: it has a level of a furnace factor.

    In a study without furnace factors every reference with any level does.
    """
    furnace = [factor.name for factor in set_for(study, "furnace_load")]
    return bool(set(furnace) & set(extra.levels)) if furnace else bool(extra.levels)


def is_tempered(study: Study, frame: pd.DataFrame) -> pd.Series[bool]:
    """Which coupons go into a temper batch.

    All but the references that leave the temper out or go through no furnace load. Where the
    temper is held constant every coupon of a load is tempered.
    """
    if "reference" not in frame:
        return pd.Series(True, index=frame.index)
    tempered = frame["furnace_load"] > 0
    for factor in set_for(study, "temper_batch"):
        if not factor.nested_in:
            tempered &= frame[factor.column].notna() & (frame[factor.column] != "")
    return (frame["reference"] == "") | tempered


def has_cold_batch(study: Study, columns: Mapping[str, Sequence[Level | int]]) -> list[bool]:
    """Which coupons go through a cold batch: all but references that leave the cold step out."""
    count = len(columns["furnace_load"])
    if "reference" not in columns:
        return [True] * count
    bath = [f for f in set_for(study, "cold_batch") if not f.nested_in]
    there = [True] * count
    for factor in bath:
        told = [value == value and value != "" for value in columns[factor.column]]
        there = [own and is_told for own, is_told in zip(there, told, strict=True)]
    return [
        own or not reference for own, reference in zip(there, columns["reference"], strict=True)
    ]


def _loads(study: Study, columns: Columns) -> dict[int, dict[str, Level | int]]:
    """Day and furnace setting of each load."""
    names = ["day", *(factor.column for factor in set_for(study, "furnace_load"))]
    found: dict[int, dict[str, Level | int]] = {}
    for place, load in enumerate(columns["furnace_load"]):
        if int(load) not in found:
            found[int(load)] = {name: columns[name][place] for name in names}
    return found


def _fitting_loads(
    study: Study, extra: ExtraCoupons, loads: Mapping[int, Mapping[str, Level | int]]
) -> list[int]:
    wanted = {f.column: extra.levels.get(f.name) for f in set_for(study, "furnace_load")}
    fitting = [
        load
        for load, setting in loads.items()
        if all(level is None or setting[column] == level for column, level in wanted.items())
    ]
    if not fitting:
        words = listed(
            [
                f"{factor.title} {factor.word(extra.levels[factor.name])}"
                for factor in set_for(study, "furnace_load")
                if factor.name in extra.levels
            ]
        )
        raise PlanError(
            f"Extra coupons '{extra.key}': no {study.unit_word('furnace_load')} of the plan has "
            f"{words}. Add loads, or give these coupons a setting that the plan has."
        )
    return fitting


def _row(
    study: Study, extra: ExtraCoupons, load: int, setting: Mapping[str, Level | int]
) -> dict[str, Level | int]:
    levels = {
        factor.column: extra.levels.get(factor.name, blank_level(factor))
        for factor in study.factors
    }
    return {"furnace_load": load, "day": 0, **levels, **setting}


def _note(study: Study, extra: ExtraCoupons, used: list[int], *, is_reference: bool) -> str:
    count = f"{extra.coupons} {study.unit_word('coupon', extra.coupons)} beside the others"
    where = "in no furnace load"
    if used:
        loads = sorted(set(used))
        word = study.unit_word("furnace_load", len(loads))
        where = f"in {word} {listed([str(load) for load in loads])}"
    what = "references, shown and never analysed" if is_reference else "analysed like the others"
    return f"{capital(extra.words)}: {count}, {where}; {what}."
