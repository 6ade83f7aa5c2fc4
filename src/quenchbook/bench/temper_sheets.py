"""What stands on the sheet of a temper batch: temperature, times, coupons by their load."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.load_sheets import beside_blank, even_parts, held_line
from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.units import capital

TEMPER_ROWS: Final = 10  # rows that fit on A4 under the lines of four cycles
MOST_CYCLES: Final = 4  # more cycles go on the back
_TIMES: Final = {"once": 1, "single": 1, "twice": 2, "double": 2, "triple": 3}


@dataclass(frozen=True)
class TemperRow:
    """One coupon on a temper sheet: code, furnace load it came from, order of its steps."""

    coupon: str
    furnace_load: int
    load_place: int
    step_order: str = ""


@dataclass(frozen=True)
class TemperSheet:
    """One page for a temper batch.

    Attributes
    ----------
    title, line : str
        ``Temper batch 3``; the furnace loads its coupons come from.
    settings : tuple of str
        What the oven is set to, framed.
    cycles : tuple of str
        Name of each row of writing lines; one empty name when there is one temper.
    times : tuple of (str, str)
        Label and unit of the writing lines of a cycle.
    held : str
        What is held constant and has no blank of its own.
    rows : tuple of TemperRow
        By load and place in it.
    reminder : str
        Safety line.
    foot_left, foot_right : str
    coupon_word, load_word : str
        Words of the study.
    order_head : str
        Title of the column of step orders; empty where the order is the same for all.
    """

    title: str
    line: str
    settings: tuple[str, ...]
    cycles: tuple[str, ...]
    times: tuple[tuple[str, str], ...]
    held: str
    rows: tuple[TemperRow, ...]
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str
    load_word: str
    order_head: str = ""


def temper_sheets(matrix: CouponMatrix, foot: str) -> Iterator[TemperSheet]:
    """Sheets of all temper batches, none if the plan has no temper batches.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.
    """
    if "temper_batch" not in matrix.frame:
        return
    tempered = matrix.frame[matrix.frame["temper_batch"] != 0]
    for batch, rows in tempered.groupby("temper_batch", sort=True):
        rows = rows.sort_values(["furnace_load", "load_place"])
        for part in even_parts(rows, TEMPER_ROWS):
            yield _temper_sheet(matrix, int(str(batch)), rows, part, foot)


def _temper_sheet(
    matrix: CouponMatrix, batch: int, rows: pd.DataFrame, part: pd.DataFrame, foot: str
) -> TemperSheet:
    study = matrix.study
    first = rows.iloc[0]
    set_here = [
        factor
        for factor in study.factors
        if factor.set_for == "temper_batch" and first[factor.column] in factor.levels
    ]
    settings = tuple(factor.set_word(first[factor.column]) for factor in set_here)
    order = study.factor("step_order") if study.has("step_order") else None
    step_orders = [""] * len(part)
    if order is not None:
        step_orders = [order.set_word(level) if level else "" for level in part[order.column]]
    hot = next((i for i, f in enumerate(set_here) if f.dimension == "temperature"), None)
    word = study.unit_word("temper_batch")
    batches = matrix.unit_counts()["temper_batch"]
    hold = beside_blank(study, "temper_time")
    return TemperSheet(
        title=f"{capital(word)} {batch}",
        line=_temper_line(rows, part, study),
        settings=settings,
        cycles=temper_cycles(study, first),
        times=(
            ("in", "h:min"),
            (f"at {settings[hot]}" if hot is not None else "at temperature", "h:min"),
            (f"out, hold {hold}" if hold else "out", "h:min"),
            ("oven read", "°C"),
        ),
        held=held_line(study, ("temper_time",), temper=True),
        rows=tuple(
            TemperRow(str(coupon), int(load), int(place), words)
            for coupon, load, place, words in zip(
                part["coupon"], part["furnace_load"], part["load_place"], step_orders, strict=True
            )
        ),
        reminder=" ".join(reminders(study, ("furnace", "temper", "untempered"))),
        foot_left=foot,
        foot_right=f"{word.split()[-1]} {batch} of {batches}",
        coupon_word=study.unit_word("coupon"),
        load_word=study.unit_word("furnace_load").split()[-1],
        order_head=order.title if order is not None else "",
    )


def temper_cycles(study: Study, row: pd.Series) -> tuple[str, ...]:
    """Names of the tempers a batch gets: from its level of a factor ``temper_cycles``, or held.

    Parameters
    ----------
    study : Study
    row : Series
        Factor columns of a coupon of the batch.
    """
    told, words = study.held_constant.get("temper_cycles", ""), 1
    if study.has("temper_cycles"):
        told = str(row[study.factor("temper_cycles").column])
        words = next((count for word, count in _TIMES.items() if word in told.lower()), 1)
    found = re.match(r"\d+", told)
    count = min(max(int(found[0][:3]) if found else words, 1), MOST_CYCLES)
    return ("",) if count == 1 else tuple(f"temper {number}" for number in range(1, count + 1))


def _temper_line(rows: pd.DataFrame, part: pd.DataFrame, study: Study) -> str:
    loads = [str(load) for load in sorted(set(rows["furnace_load"]))]
    coupons = f"{len(rows)} {study.unit_word('coupon', len(rows))}"
    if len(part) < len(rows):
        coupons = f"{len(part)} of {coupons}"
    listed = loads[0] if len(loads) == 1 else f"{', '.join(loads[:-1])} and {loads[-1]}"
    word = study.unit_word("furnace_load", len(loads)).split()[-1]
    return f"{coupons} from {word} {listed}."
