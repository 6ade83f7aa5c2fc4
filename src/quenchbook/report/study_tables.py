"""Tables of a report: what was varied, what went differently, tests, all coupons."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd

from quenchbook.both_units import PrintedUnits
from quenchbook.findings.answers import Analysis
from quenchbook.records.nearest_level import analysed_level
from quenchbook.records.reading import Records
from quenchbook.records.references import reference_means
from quenchbook.report.blocks import Block, Paragraph, Section, TableBlock, table
from quenchbook.study.definition import Study, held_value
from quenchbook.study.factors import Factor
from quenchbook.units import MINUS

SAME: Final = "same"  # head of a column that repeats the one before it in the other unit


def factor_table(study: Study) -> TableBlock:
    """Factors, levels, and the unit each is set for."""
    rows = []
    for factor in study.factors:
        inside = ""
        if factor.nested_in:
            parent = study.factor(factor.nested_in)
            inside = f"only with {', '.join(parent.word(level) for level in factor.exists_for)}"
        rows.append(
            {
                "factor": factor.title,
                "levels": ", ".join(factor.word(level) for level in factor.levels),
                "set for each": study.unit_word(factor.set_for),
                "inside": inside,
            }
        )
    frame = pd.DataFrame(rows)
    if not frame["inside"].any():
        frame = frame.drop(columns="inside")
    return table(
        frame,
        key="factors",
        caption="What was varied, and for which unit each setting was made.",
        titles={"inside": "exists"},
    )


def equipment_table(study: Study) -> TableBlock:
    """Steel and equipment as the study file names them."""
    units = study.publishing.units
    rows = [
        ("steel: " + str(key).replace("_", " "), told_text(value, units))
        for key, value in study.steel.items()
    ]
    rows += [
        (str(key).replace("_", " "), told_text(value, units))
        for key, value in study.equipment.items()
    ]
    return table(
        pd.DataFrame(rows, columns=["what", "which"]),
        key="equipment",
        caption="Steel and equipment.",
    )


def files_table(paths: Sequence[str | Path]) -> TableBlock:
    """Files that were written, with their folder.

    Parameters
    ----------
    paths : sequence of str or Path
        As the steps return them.
    """
    own = [Path(path) for path in paths]
    return table(
        pd.DataFrame(
            [(path.name, path.parent.as_posix()) for path in own], columns=["file", "folder"]
        ),
        key="files",
        caption=f"{len(own)} file{'' if len(own) == 1 else 's'} written.",
    )


def told_text(value: object, units: PrintedUnits = "metric") -> str:
    """Value of a table of the study file in print: degree signs, true minus."""
    if isinstance(value, dict):
        return ", ".join(
            f"{key} {part:g}"
            if isinstance(part, float)
            else f"{key} {told_text(part, units) if units == 'both' else part}"
            for key, part in value.items()
        )
    return re.sub(r"(?<![\w.])-(?=[\d.]+\s*°)", MINUS, held_value(str(value), units))


def deviation_blocks(analysis: Analysis) -> list[Block]:
    """What went differently: deviations, lost coupons, corrections of misread cells."""
    records, study = analysis.records, analysis.study
    rows = []
    for row in records.deviations.to_dict("records"):
        if row["item"] == "lost":
            continue
        item = str(row["item"])
        title = study.factor(item).title if study.has(item) else item.replace("_", " ")
        rows.append(
            (
                f"{study.unit_word(str(row['what']))} {row['which']}",
                title,
                _value_text(study, item, row["planned"]),
                _value_text(study, item, row["actual"]),
                _plain_note(row["note"]),
            )
        )
    for row in records.lost.to_dict("records"):
        word = f"{study.unit_word('coupon')} {row['coupon']}"
        rows.append((word, "lost", "", "", _plain_note(row["reason"])))
    for row in records.corrections.to_dict("records"):
        change = f"{row['found']} read as {row['corrected']}"
        where = f"{row['file']} row {row['row']}"
        rows.append((where, f"{row['column']} corrected", "", change, _plain_note(row["reason"])))
    blocks: list[Block] = [Section("What went differently", level=3)]
    counted = [Paragraph((line,)) for line in records.summary().split("\n")]
    if not rows:
        return [*blocks, Paragraph(("Nothing that was recorded.",)), *counted]
    frame = pd.DataFrame(rows, columns=["where", "what", "planned", "as run", "note"])
    caption = f"Deviations from the plan; {_as_analysed(records, study)}"
    blocks.append(table(frame, key="deviations", caption=caption))
    return [*blocks, *counted]


def _as_analysed(records: Records, study: Study) -> str:
    """Which value the analysis takes: a factor compared by levels is not taken as it was run."""
    for row in records.deviations.to_dict("records"):
        item = str(row["item"])
        if study.has(item) and study.factor(item).is_numeric:
            level = analysed_level(study.factor(item), row["actual"])
            if level is not None and level != row["actual"]:
                return (
                    "the analysis takes the nearest declared level where a factor is compared by "
                    "levels, and else what was run."
                )
    return "the analysis takes what was run."


def _plain_note(note: object) -> str:
    return "" if note is None or note != note else str(note)


def _value_text(study: Study, item: str, value: object) -> str:
    if value is None or value != value or value == "":
        return ""
    if study.has(item):
        factor = study.factor(item)
        if factor.is_numeric:
            try:
                return factor.word(round(float(str(value)), 1))
            except ValueError:
                return str(value)
        return factor.word(str(value))
    return str(value)


def reference_blocks(records: Records) -> list[Block]:
    """Table of the reference coupons; nothing where the study has none or none is read yet."""
    study, means = records.study, reference_means(records)
    if means.empty:
        return []
    words = {extra.key: extra.words for extra in study.references}
    frame = means[["reference", "response", "coupons", "readings", "mean", "sd"]].copy()
    frame["reference"] = [words.get(key, key) for key in means["reference"]]
    frame["response"] = [study.response(name).axis_title for name in means["response"]]
    frame = pd.concat([frame, _in_other_units(frame, means, study)], ignore_index=True)
    decimals = {"coupons": 0, "readings": 0, "mean": 2, "sd": 2}
    caption = (
        f"Reference {study.unit_word('coupon', 2)}: shown to compare by eye, in no model. "
        "Mean and standard deviation are those of coupon means."
    )
    return [
        Section("References", level=3),
        table(
            frame,
            key="references",
            caption=caption,
            titles={"response": "measured"},
            decimals=decimals,
            missing="not known",
        ),
    ]


def _in_other_units(frame: pd.DataFrame, means: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Rows of the reference table in the second unit, where the study publishes both."""
    rows = []
    for row, name in zip(frame.to_dict("records"), means["response"], strict=True):
        response = study.response(name)
        if (other := response.printed.other) is not None:
            title = replace(response, unit=other.unit).axis_title
            mean, sd = (other.difference(float(row[own])) for own in ("mean", "sd"))
            rows.append({**row, "response": title, "mean": mean, "sd": sd})
    return pd.DataFrame(rows, columns=list(frame.columns)).astype(frame.dtypes)


def term_words(term: str, study: Study) -> str:
    """Term in print: ``temper by cold route``."""
    parts = [study.factor(name).title if study.has(name) else name for name in term.split(":")]
    return " by ".join(parts)


def level_text(factor: Factor, level: object) -> str:
    """Level in print; empty where the factor does not exist."""
    if level is None or level != level or level == "":
        return ""
    return (
        factor.word(round(float(str(level)), 1)) if factor.is_numeric else factor.word(str(level))
    )


def coupon_table(analysis: Analysis) -> TableBlock:
    """Every coupon: settings as run, mean of its readings."""
    study, records = analysis.study, analysis.records
    frame = records.matrix.frame[["coupon", "furnace_load"]].copy()
    frame["furnace_load"] = frame["furnace_load"].where(frame["furnace_load"] != 0)
    titles = {"coupon": study.unit_word("coupon"), "furnace_load": study.unit_word("furnace_load")}
    decimals, units = {"furnace_load": 0}, dict[str, str]()
    run = pd.concat([records.frame(name) for name in analysis.models])
    run = run.drop_duplicates("coupon").set_index("coupon")
    if study.references:
        words = {extra.key: extra.words for extra in study.references}
        keys = records.matrix.frame["reference"]
        frame.insert(1, "reference", [words.get(key, "") for key in keys])
    for factor in study.factors:
        planned = records.matrix.frame.set_index("coupon")[factor.column]
        values = run[factor.column].reindex(planned.index).combine_first(planned)
        titles[factor.column] = factor.title
        if (other := factor.printed.other) is not None:
            # a column for each unit: both in one cell would take two lines a row
            places = pd.to_numeric(values, errors="coerce").round(1)
            beside = f"{factor.column}, {other.unit}"
            frame[factor.column] = frame["coupon"].map(places)
            frame[beside] = frame["coupon"].map(places.map(other.place)).round(1)
            titles[beside] = SAME
            units |= {factor.column: factor.unit, beside: other.unit}
            decimals |= {factor.column: 1, beside: 1} if places.mod(1).any() else {}
            continue
        frame[factor.column] = [level_text(factor, values[coupon]) for coupon in frame["coupon"]]
    for name in analysis.models:
        response = study.response(name)
        read = pd.concat([records.frame(name), records.reference_frame(name)])
        frame[name] = frame["coupon"].map(read.groupby("coupon")["value"].mean())
        titles[name], units[name] = response.quantity, response.unit
        usual = 2 if response.readings > 1 else 1 if response.unit else 0
        decimals[name] = usual if response.kind != "other" else _decimals_in(frame[name], usual)
        if (other := response.printed.other) is not None:
            beside = f"{name}, {other.unit}"
            frame[beside] = frame[name].map(other.difference)
            titles[beside], units[beside] = SAME, other.unit
            decimals[beside] = decimals[name]
    lost = set(records.lost["coupon"])
    if lost:
        frame["note"] = ["lost" if coupon in lost else "" for coupon in frame["coupon"]]
    order = "in furnace order" if study.order_told else "in the order of the publication"
    return table(
        frame,
        key="all_coupons",
        caption=(
            f"All {len(frame)} {study.unit_word('coupon', len(frame))} {order}; settings as run."
        ),
        titles=titles,
        units=units,
        decimals=decimals,
    )


def _decimals_in(values: pd.Series, least: int) -> int:
    """Decimals that the values were written with, at least `least` and at most three."""
    known = values.dropna().astype(float)
    return next((n for n in range(least, 3) if (known.round(n) == known).all()), 3)
