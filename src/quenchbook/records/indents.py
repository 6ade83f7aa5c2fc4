"""Indents against their surroundings: spacing, edge, thickness under them, curved sides."""

from __future__ import annotations

import math
from typing import Any, Final

from quenchbook.metallurgy.hardness_scales import HIGHEST_HRC, LOWEST_HRC
from quenchbook.metallurgy.indents import (
    EDGE_DIAMETERS,
    SPACING_DIAMETERS,
    SPACING_SOURCE,
    THICKNESS_SOURCE,
    indent_diameter,
    least_thickness,
)
from quenchbook.metallurgy.tester_limits import Limit
from quenchbook.records.check_rows import check_row
from quenchbook.records.reading import Records
from quenchbook.study.definition import Response
from quenchbook.study.sizes import SIDES, told_sides
from quenchbook.study.tester import Tester
from quenchbook.units import interval_text, number_text, with_unit

CURVED: Final = (
    "readings on a round side come out low; the correction tables of ASTM E18 and ISO 6508-1 are "
    "not known here"
)
FLAT: Final = (
    "Whether a round side was tested is not told; the readings are taken as those of a flat one."
)

Rows = list[dict[str, Any]]


def indent_checks(records: Records, response: Response, tester: Tester) -> tuple[Rows, list[str]]:
    """Checks of the indents of a study against their diameter and depth.

    The softest reading has the widest and deepest indent, so it is the one that counts. Without a
    measured diameter the estimated range is used: ``pass`` beyond its upper end, ``out`` below its
    lower end, ``warn`` between.

    Parameters
    ----------
    records : Records
    response : Response
        Hardness in HRC.
    tester : Tester

    Returns
    -------
    rows : list of dict
        See `check_row`.
    notes : list of str
        What is not known.
    """
    values = records.readings.loc[records.readings["response"] == response.name, "value"]
    used = values[values >= LOWEST_HRC]
    notes = []
    if below := len(values) - len(used):
        notes.append(
            f"{below} reading{'s' if below > 1 else ''} below {LOWEST_HRC}\u00a0HRC: the scale is "
            "not used there (ASTM E18), so depth and diameter of these indents are not told."
        )
    if used.empty:
        return [], notes
    softest = float(used.min())
    rows = _distance_rows(records, softest, tester, notes)
    rows += _thickness_rows(records, softest, notes)
    if tester.curve_diameter is not None:
        limit = Limit(math.nan, "at least", CURVED)
        rows.append(check_row("curved side", "diameter", tester.curve_diameter, limit, "mm"))
    else:
        notes.append(FLAT)
    return rows, notes


def _distance_rows(records: Records, softest: float, tester: Tester, notes: list[str]) -> Rows:
    """Spacing and edge distance against the diameter of the widest indent."""
    rows: Rows = []
    low = high = tester.indent_diameter
    if low is None or high is None:
        range_ = indent_diameter(min(softest, float(HIGHEST_HRC)))
        low, high = float(range_.low), float(range_.high)
        how = f"diameter {with_unit(interval_text(low, high), 'mm')} ({range_.source})"
    else:
        how = f"diameter {with_unit(number_text(high), 'mm')} (study.toml)"
    untold = []
    for check, measure, told, times in (
        ("indent spacing", "indent_spacing", tester.indent_spacing, SPACING_DIAMETERS),
        ("edge distance", "edge_distance", tester.edge_distance, EDGE_DIAMETERS),
    ):
        found, about = _smallest(records, measure, told)
        if found is None:
            untold.append(check)
            continue
        clause = f"{times:g} diameters: {SPACING_SOURCE}; {how}"
        # out below the lower end of the diameter, passed from its upper end on
        limit = Limit(times * low, "at least", clause, spare=times * (high - low))
        rows.append(check_row(check, about, found, limit, "mm"))
    if untold:
        notes.append(
            f"The {' and the '.join(untold)} {'were' if len(untold) > 1 else 'was'} not recorded: "
            "whether indents or edges disturbed the readings is not known."
        )
    return rows


def _smallest(records: Records, measure: str, told: float | None) -> tuple[float | None, str]:
    """Smallest recorded length of a kind, else what the study file tells, with its words."""
    own = records.measures[records.measures["measure"] == measure]
    if own.empty:
        return told, "as told in study.toml"
    least = own.sort_values("value", kind="stable").iloc[0]
    unit = records.study.unit_word("coupon", len(own))
    return float(least["value"]), f"smallest of {len(own)} {unit}, {least['coupon']}"


def _thickness_rows(records: Records, softest: float, notes: list[str]) -> Rows:
    study = records.study
    key = next((name for name in SIDES["thickness"] if name in study.steel), None)
    sides = told_sides(study, "thickness")
    if key is not None and not sides:
        told = study.steel[key]
        notes.append(f"The thickness of the steel, '{told}', is not a length; write it as 4 mm.")
    found, about = _smallest(records, "thickness", min(sides, default=None))
    if found is None:
        if key is None:
            notes.append(
                "The thickness of the coupons is not told: whether it was enough is not known."
            )
        return []
    if about.startswith("as told") and key != "coupon_thickness":
        about = "steel as told in study.toml, before grinding"
    depth = with_unit(f"{softest:g}", "HRC")
    clause = f"ten times the depth of the softest indent, {depth}: {THICKNESS_SOURCE}"
    limit = Limit(float(least_thickness(softest)), "at least", clause)
    return [check_row("thickness", about, found, limit, "mm")]
