"""What stands on the sheet of a tester: codes in test order, nothing of the treatment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response

TEST_ROWS: Final = 20
MOST_FIELDS: Final = 8  # writing fields of a test row that a hand can still use


@dataclass(frozen=True)
class TestSheet:
    """One page of a tester: codes in test order, nothing of the treatment.

    `checks` are writing lines above the rows; `fields` is the number of writing fields of a row.
    """

    __test__ = False  # pytest: not a test

    title: str
    line: str
    checks: tuple[str, ...]
    fields: int
    rows: tuple[tuple[int, str], ...]
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str = "coupon"


def tester_sheets(matrix: CouponMatrix, foot: str) -> Iterator[TestSheet]:
    """Sheets of all testers, in the order of the responses.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.
    """
    for response in matrix.study.responses:
        order = f"{response.name}_order"
        rows = matrix.frame[matrix.frame[order].notna()].sort_values(order)
        for at in range(0, len(rows), TEST_ROWS):
            yield _test_sheet(matrix, response, rows.iloc[at : at + TEST_ROWS], foot)


def _test_sheet(
    matrix: CouponMatrix, response: Response, rows: pd.DataFrame, foot: str
) -> TestSheet:
    study = matrix.study
    order = rows[f"{response.name}_order"].astype(int)
    word = study.unit_word("coupon", 2)
    if matrix.origin == "published":
        line = f"Order of the {word} as published: the tester is not blinded."
    else:
        line = "Test in this order. The codes say nothing of the treatment; keep it so."
    if response.readings > MOST_FIELDS:
        line += f" {response.readings} readings: use the entry form for the rest."
    names = {"hardness": ("grinding",), "impact": ("impact",)}.get(response.kind, ())
    blocks = ("block before", "block after") if response.kind == "hardness" else ()
    return TestSheet(
        title=response.axis_title,
        line=line,
        checks=("tester", "date", *blocks),
        fields=min(response.readings, MOST_FIELDS),
        rows=tuple(zip(order.tolist(), rows["coupon"].astype(str), strict=True)),
        reminder=" ".join(reminders(study, names)),
        foot_left=foot,
        foot_right=response.quantity,
        coupon_word=study.unit_word("coupon"),
    )
