"""Tables of a report about the testers, and about lengths before and after the cold step."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from quenchbook.both_units import Printed, PrintedUnits, Scale
from quenchbook.records.lengths import length_changes
from quenchbook.records.reading import Records
from quenchbook.records.tester import checks_of_testers
from quenchbook.report.blocks import Block, Bullets, Paragraph, Section, table
from quenchbook.report.study_tables import level_text
from quenchbook.units import capital, decimals_for, number_text

_BOUNDS = {"within": "\u00b1", "at most": "at most ", "at least": "at least "}


def blocks_of_testers(records: Records) -> list[Block]:
    """Checks of the testers with their limits; words where none was recorded.

    Nothing for a study that tests neither Rockwell hardness nor impact.

    Parameters
    ----------
    records : Records
    """
    checks = checks_of_testers(records)
    if checks.frame.empty and not checks.notes:
        return []
    blocks: list[Block] = [Section("Were the testers right", level=3)]
    if not checks.frame.empty:
        blocks.append(Paragraph((checks.counted(),)))
        units = records.study.publishing.units
        rows = [_row(row, units) for row in checks.frame.to_dict("records")]
        blocks.append(
            table(
                pd.DataFrame(rows),
                key="tester_checks",
                caption=(
                    "Checks of the testers and of the indents. Warn: inside the limit by less than "
                    "is unsure."
                ),
                notes=_clauses(checks.frame),
            )
        )
    blocks.append(Bullets(tuple((note,) for note in checks.notes)))
    return blocks


def _row(row: dict[Any, Any], units: PrintedUnits) -> dict[str, str]:
    value, unsure, limit = (float(row[name]) for name in ("value", "uncertainty", "limit"))
    decimals = max(1, decimals_for(unsure, "HRC")) if math.isfinite(unsure) else 2
    sign = row["bound"] == "within"
    printed = Printed(row["unit"], units)

    def found(own: Scale) -> str:
        text = number_text(own.difference(value), decimals, sign=sign)
        if math.isfinite(unsure):
            text += f" \u00b1 {number_text(own.difference(unsure), decimals)}"
        return text

    def told(own: Scale) -> str:
        return f"{_BOUNDS[row['bound']]}{number_text(own.difference(limit), 2)}"

    return {
        "check": row["check"],
        "on": row["about"],
        "found": printed.in_each(found),
        "limit": printed.in_each(told) if math.isfinite(limit) else "not known here",
        "outcome": row["outcome"],
    }


def _clauses(frame: pd.DataFrame) -> tuple[str, ...]:
    """Where the limits are from, once for each clause."""
    lines = []
    for clause, own in frame.groupby("clause", sort=False):
        checks = " and ".join(dict.fromkeys(own["check"]))
        lines.append(f"{capital(checks)}: {clause}.")
    return tuple(lines)


def length_blocks(records: Records) -> list[Block]:
    """Lengths before and after the cold step, by cold route; nothing where none was read.

    Parameters
    ----------
    records : Records
    """
    changes = length_changes(records)
    if changes.frame.empty:
        return []
    study = records.study
    frame = changes.frame.copy()
    route = study.factor("cold_route") if study.has("cold_route") else None
    if route is None:
        frame["kind"] = f"all {study.unit_word('coupon', 2)}"
    else:
        levels = records.matrix.frame.set_index("coupon")[route.column]
        order = [level_text(route, level) for level in route.levels]
        kinds = [level_text(route, levels[code]) for code in frame["coupon"]]
        frame["kind"] = [kind or "none told" for kind in kinds]  # references may have none
        frame = frame.sort_values(
            "kind", key=lambda own: own.map({kind: at for at, kind in enumerate(order)})
        )
    rows = []
    for kind, own in frame.groupby("kind", sort=False):
        rows.append(
            (
                kind,
                len(own),
                1000 * own["growth_mm"].mean(),
                own["transformed"].mean(),
                own["transformed_low"].min(),
                own["transformed_high"].max(),
            )
        )
    names = ["kind", "coupons", "growth", "transformed", "lowest", "highest"]
    return [
        Section("Length in the cold step", level=3),
        table(
            pd.DataFrame(rows, columns=names),
            key="length_changes",
            caption=(
                "Mean growth in the cold step, and the austenite that became martensite in it: "
                "mean, and the lowest and highest end of the ranges of single coupons."
            ),
            titles={"kind": route.title if route else "what", "growth": "mean growth"},
            units={"growth": "\u00b5m", "transformed": "%", "lowest": "%", "highest": "%"},
            decimals={"coupons": 0, "growth": 1, "transformed": 1, "lowest": 1, "highest": 1},
            notes=("Shown only; no model uses it.", *changes.notes),
        ),
    ]
