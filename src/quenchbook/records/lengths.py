"""Lengths before and after the cold step: a cheap measure of the austenite that transformed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.made_by import made_from
from quenchbook.metallurgy.length_change import (
    AUSTENITE_CARBON,
    GROWTH_SOURCE,
    MICROMETER_MM,
    transformed_austenite,
)
from quenchbook.records.reading import Records
from quenchbook.shown import ShowsItself
from quenchbook.study.tester import told_tester
from quenchbook.units import interval_text, number_text

NO_LENGTHS: Final = "No coupon has a length before and after the cold step."
LENGTH_FRAME: Final = (
    "coupon", "length_before_mm", "length_after_mm", "growth_mm", "transformed",
    "transformed_low", "transformed_high",
)  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class LengthChanges(ShowsItself):
    """Growth of coupons in the cold, and the austenite that it stands for.

    Attributes
    ----------
    frame : DataFrame
        ``coupon, length_before_mm, length_after_mm, growth_mm, transformed, transformed_low,
        transformed_high``, in furnace order; the last three in per cent of the coupon.
    notes : tuple of str
    """

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def summary(self) -> str:
        """Say in words what was read."""
        if self.frame.empty:
            return NO_LENGTHS
        low, high = self.frame["transformed_low"].min(), self.frame["transformed_high"].max()
        count = len(self.frame)
        head = (
            f"{count} coupon{'s' if count > 1 else ''} with a length before and after the cold "
            f"step: {interval_text(float(low), float(high), 1)}\u00a0% of a coupon became "
            "martensite in it."
        )
        return "\n".join([head, *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Coupons": self.frame}

    def __repr__(self) -> str:
        return f"<LengthChanges: {len(self.frame)} coupons>"


def length_changes(records: Records) -> LengthChanges:
    """Growth of each coupon with both lengths; `austenite_losses` sets it beside the hardness.

    Parameters
    ----------
    records : Records
        With columns ``length_before_mm`` and ``length_after_mm`` in a table with coupons.

    Returns
    -------
    LengthChanges
    """
    own = records.measures[records.measures["measure"].isin(["length_before", "length_after"])]
    wide = own.pivot(index="coupon", columns="measure", values="value")
    wide = wide.reindex(columns=["length_before", "length_after"])
    order = [code for code in records.matrix.frame["coupon"] if code in wide.index]
    both = wide.loc[order].dropna().astype(float)
    micrometer = told_tester(records.study).micrometer or MICROMETER_MM
    before, after = (both[name].to_numpy() for name in ("length_before", "length_after"))
    share = transformed_austenite(before, after, micrometer_mm=micrometer)
    frame = pd.DataFrame(
        {
            "coupon": both.index,
            "length_before_mm": before,
            "length_after_mm": after,
            "growth_mm": after - before,
            "transformed": share.value,
            "transformed_low": share.low,
            "transformed_high": share.high,
        },
        columns=list(LENGTH_FRAME),
    )
    alone = len(wide) - len(both)
    notes = _notes(frame, alone, micrometer) if len(wide) else ()
    return made_from(LengthChanges(frame, notes), records)


def _notes(frame: pd.DataFrame, alone: int, micrometer_mm: float) -> tuple[str, ...]:
    carbon = interval_text(*AUSTENITE_CARBON, 1)
    each = number_text(1000 * micrometer_mm, 0 if micrometer_mm >= 0.001 else 1)
    notes = [
        f"Range from readings that may each be wrong by {each}\u00a0\u00b5m and from "
        f"{carbon}\u00a0% carbon in the austenite ({GROWTH_SOURCE}); both lengths at one "
        "temperature, no temper between."
    ]
    shorter = frame.loc[frame["growth_mm"] < -math.sqrt(2) * micrometer_mm, "coupon"]
    if len(shorter):
        codes = ", ".join(str(code) for code in shorter[:8])
        notes.append(
            f"Shorter after the cold step than readings allow: {codes}. Tempered between, or "
            "measured at another temperature?"
        )
    if alone:
        notes.append(f"{alone} with one length only: not used.")
    return tuple(notes)
