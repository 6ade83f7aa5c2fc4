"""What a reader of results must know of the records: coupons without readings, corrected cells."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import pandas as pd

from quenchbook.plan.matrix import CouponMatrix

NAMED: Final = 8  # codes that a sentence names before it only counts

Key = tuple[str, str, int]  # response, coupon, reading


def correction_notes(applied: Sequence[Mapping[str, Any]]) -> list[str]:
    """Say which cells were corrected, and why; at most one sentence."""
    if not applied:
        return []
    words = [
        f"{change['file']} row {change['row']}, {change['column']} '{change['found']}' is "
        f"'{change['corrected']}' ({change['reason']})"
        for change in applied
    ]
    count = len(words)
    head = f"{count} correction{'s' if count > 1 else ''} accepted"
    return [f"{head}: {shortened(words, 'more', '; ')}."]


def coverage_notes(
    matrix: CouponMatrix,
    as_run: pd.DataFrame,
    readings: Iterable[Key],
    lost_rows: Sequence[Mapping[str, Any]],
) -> list[str]:
    """Coupons without readings, coupons tested beyond the plan, lost coupons that have readings.

    Parameters
    ----------
    matrix : CouponMatrix
    as_run : DataFrame
        The plan as it was run.
    readings : iterable of (response, coupon, reading)
    lost_rows : sequence of dict
        ``coupon`` of each lost one.
    """
    study, frame, keys = matrix.study, matrix.frame, list(readings)
    lost = {entry["coupon"] for entry in lost_rows}
    notes = []
    for response in study.responses:
        read = {coupon for name, coupon, _ in keys if name == response.name}
        if not read:
            continue
        planned = frame[f"{response.name}_order"].notna()
        without = [c for c in frame.loc[planned, "coupon"] if c not in read and c not in lost]
        beyond = [c for c in frame.loc[~planned, "coupon"] if c in read]
        kept = [c for c in as_run["coupon"] if c in read and c in lost]
        for codes, words in (
            (without, f"without {response.quantity}"),
            (beyond, f"read for {response.quantity} beyond the plan; the readings are used"),
            (kept, f"recorded as lost but read for {response.quantity}; the readings are used"),
        ):
            if codes:
                count = f"{len(codes)} {study.unit_word('coupon', len(codes))}"
                notes.append(f"{count} {words}: {shortened(codes, 'more')}.")
    return notes


def shortened(words: Sequence[str], rest: str, mark: str = ", ") -> str:
    """Words in a row, those beyond the eighth counted."""
    shown = list(words[:NAMED])
    if len(words) > NAMED:
        shown.append(f"{len(words) - NAMED} {rest}")
    return mark.join(shown)
