"""Readings on hardness blocks against the limits of a standard: error, repeatability, drift."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pandas as pd

from quenchbook.metallurgy.expected import Array
from quenchbook.metallurgy.tester_limits import (
    DAILY_SOURCE,
    UNKNOWN,
    Bound,
    Limit,
    hardness_error_limit,
    hardness_range_limit,
)
from quenchbook.records.check_rows import (
    check_row,
    expanded,
    pooled_variance,
    range_spare,
    rounding_variance,
)
from quenchbook.records.tester_readings import WHEN
from quenchbook.study.definition import Response, Study
from quenchbook.study.tester import Tester
from quenchbook.units import is_energy, number_text, with_unit

NO_BLOCK: Final = "No block reading was recorded: the tester's error is not known."
COMMON: Final = (
    "It is common to all coupons: in every hardness, and in no difference between coupons of one "
    "session."
)
SPREAD: Final = "A drift is spread over the treatments by the random test order."
_ORDER: Final = ("error", "repeatability", "drift")

Rows = list[dict[str, Any]]


def tested_in(study: Study, unit: str) -> Response | None:
    """Response of the tester that reads in this unit; None if the study does not use it.

    An impact tester may read in any unit of energy.
    """
    kinds = ("hardness", "impact")
    own = (
        r
        for r in study.responses
        if r.kind in kinds and (r.unit == unit or (unit == "J" and is_energy(r.unit)))
    )
    return next(own, None)


def block_checks(readings: pd.DataFrame, study: Study, tester: Tester) -> tuple[Rows, list[str]]:
    """Checks of the hardness tester on its blocks, errors first.

    Parameters
    ----------
    readings : DataFrame
        ``block_checks`` of `Records`.
    study : Study
    tester : Tester

    Returns
    -------
    rows : list of dict
        See `check_row`.
    notes : list of str
    """
    if readings.empty:
        return [], [NO_BLOCK]
    rows: Rows = []
    notes: list[str] = []
    for value, on_block in readings.groupby("block_value_hrc", sort=False):
        block = float(str(value))
        sets = {key: _values(own) for key, own in _sets(on_block)}
        variance, df = pooled_variance(list(sets.values()))
        rounding = rounding_variance(on_block["hardness_hrc"].to_numpy(dtype=float))
        scatter = expanded(variance / len(on_block) + rounding, df, study.confidence)
        name = f"block of {with_unit(f'{block:g}', 'HRC')}"
        for (session, when), values in sets.items():
            about = f"session {session} {when}, {name}"
            unsure = expanded(variance / len(values) + rounding, df, study.confidence)
            limit = _own_limit(tester.error_limit, "error_limit") or hardness_error_limit(
                block, tester.standard
            )
            error = float(values.mean() - block)
            if unsure != unsure:  # a single reading passes by luck
                limit = Limit(limit.value, limit.bound, limit.clause, spare=math.inf)
            rows.append(check_row("error", about, error, limit, "HRC", unsure))
            if len(values) > 1:
                rows.append(_range_row(values, about, block, tester))
        rows += _drift_rows(sets, name, (variance, rounding, df), study, tester)
        notes.append(_mean_error(on_block, name, scatter))
    rows.sort(key=lambda row: _ORDER.index(row["check"]))
    return rows, [*notes, *_notes(readings, study, rows)]


def _sets(readings: pd.DataFrame) -> Iterator[tuple[tuple[str, str], pd.DataFrame]]:
    """Readings of each session, before and after, in the order they were recorded."""
    for key, own in readings.groupby(["session", "when"], sort=False):
        session, when = key if isinstance(key, tuple) else (key, "")
        yield (str(session), str(when)), own


def _values(readings: pd.DataFrame) -> Array:
    return readings["hardness_hrc"].to_numpy(dtype=float)


def _own_limit(value: float | None, key: str) -> Limit | None:
    """Limit that the study file tells."""
    bound: Bound = "at most" if key == "repeatability_limit" else "within"
    return None if value is None else Limit(value, bound, f"study.toml, {key}")


def _range_row(values: Array, about: str, block: float, tester: Tester) -> dict[str, Any]:
    limit = _own_limit(tester.repeatability_limit, "repeatability_limit") or hardness_range_limit(
        block, tester.standard
    )
    found = float(np.ptp(values))
    wider = Limit(limit.value, limit.bound, limit.clause, range_spare(found, len(values)))
    return check_row("repeatability", about, found, wider, "HRC")


def _drift_rows(
    sets: dict[tuple[str, str], Array],
    name: str,
    scatter: tuple[float, float, int],
    study: Study,
    tester: Tester,
) -> Rows:
    """After less before, for each session with both on one block."""
    variance, rounding, df = scatter
    limit = _own_limit(tester.drift_limit, "drift_limit") or _margin_limit(study)
    rows = []
    for session in dict.fromkeys(session for session, _ in sets):
        before, after = sets.get((session, "before")), sets.get((session, "after"))
        if before is None or after is None:
            continue
        spread = variance * (1 / len(before) + 1 / len(after)) + 2 * rounding
        unsure = expanded(spread, df, study.confidence)
        own = limit if df else Limit(limit.value, limit.bound, limit.clause, spare=math.inf)
        drift = float(after.mean() - before.mean())
        rows.append(check_row("drift", f"session {session}, {name}", drift, own, "HRC", unsure))
    return rows


def _margin_limit(study: Study) -> Limit:
    """Difference too small to matter: what a drift may be where no limit is told."""
    hardness = tested_in(study, "HRC")
    margin = hardness.equivalence_margin if hardness is not None else None
    if hardness is None or margin is None or hardness.scale != "linear":
        return Limit(math.nan, "within", UNKNOWN)
    words = f"margin of {hardness.quantity} in study.toml; limit of a standard not known here"
    return Limit(margin, "within", words)


def _mean_error(readings: pd.DataFrame, name: str, scatter: float) -> str:
    """Error over all readings on a block; here the certificate's uncertainty is in, if told."""
    error = float((readings["hardness_hrc"] - readings["block_value_hrc"]).mean())
    certificate = float(readings["block_uncertainty_hrc"].max())
    unsure = math.hypot(scatter, certificate) if certificate == certificate else scatter
    found = number_text(error, 2, sign=True)
    if unsure == unsure:
        found += f" \u00b1 {number_text(unsure, 2)}"
    part = (
        f"with the {with_unit(f'{certificate:g}', 'HRC')} of the certificate"
        if certificate == certificate
        else "without that of the certificate, which is not told"
    )
    return (
        f"Mean error of the hardness tester on the {name}: {with_unit(found, 'HRC')} over "
        f"{len(readings)} readings, {part}. {COMMON}"
    )


def _notes(readings: pd.DataFrame, study: Study, rows: Rows) -> list[str]:
    notes = []
    drifts = [str(row["about"]) for row in rows if row["check"] == "drift"]
    for session, own in readings.groupby("session", sort=False):
        if any(about.startswith(f"session {session}, ") for about in drifts):
            continue
        lacking = [when for when in WHEN if when not in set(own["when"])]
        why = f"no block reading {lacking[0]} it" if lacking else "no block read before and after"
        notes.append(f"Session {session} has {why}: its drift is not known.")
    if notes:
        notes.append(f"A block is asked for at least on each day of testing ({DAILY_SOURCE}).")
    return notes if study.published or not drifts else [SPREAD, *notes]
