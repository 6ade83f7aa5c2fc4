"""What stands on the sheet of a tester: codes in test order, nothing of the treatment."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.load_sheets import even_parts
from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response
from quenchbook.units import is_energy

TEST_ROWS: Final = 17  # rows of 9.5 mm that fit on A4 below the fields for the tester's check
CHECK_READINGS: Final = 5  # as many as the forms block_checks and impact_checks have columns
MOST_FIELDS: Final = 8  # writing fields of a test row that a hand can still use


@dataclass(frozen=True)
class TesterCheck:
    """Readings on a block or on certified coupons, as the forms of their names want them.

    Attributes
    ----------
    title, hint : str
    heads : tuple of str
        Titles of the fields to write on, the numbers of the readings last.
    rows : tuple of str
        What each row is: ``before``, ``after``.
    """

    title: str
    hint: str
    heads: tuple[str, ...]
    rows: tuple[str, ...]


@dataclass(frozen=True)
class TestSheet:
    """One page of a tester: codes in test order, nothing of the treatment.

    `lines` are writing lines above the rows, `check` the fields for the tester itself; `fields` is
    the number of writing fields of a row.
    """

    __test__ = False  # pytest: not a test

    title: str
    line: str
    lines: tuple[str, ...]
    check: TesterCheck | None
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
        parts = even_parts(rows, TEST_ROWS)
        for number, part in enumerate(parts, start=1):
            yield _test_sheet(matrix, response, part, foot, f"sheet {number} of {len(parts)}")


def _test_sheet(
    matrix: CouponMatrix, response: Response, rows: pd.DataFrame, foot: str, which: str
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
    return TestSheet(
        title=response.axis_title,
        line=line,
        lines=("tester", "date", "session"),
        check=_tester_check(response),
        fields=min(response.readings, MOST_FIELDS),
        rows=tuple(zip(order.tolist(), rows["coupon"].astype(str), strict=True)),
        reminder=" ".join(reminders(study, names)),
        foot_left=foot,
        foot_right=f"{response.quantity}, {which}",
        coupon_word=study.unit_word("coupon"),
    )


def _tester_check(response: Response) -> TesterCheck | None:
    """Fields for block or certified coupons; none where no form asks for them."""
    numbers = tuple(str(number) for number in range(1, CHECK_READINGS + 1))
    if response.kind == "other":
        return None
    if response.unit == "HRC":
        return TesterCheck(
            "Hardness block",
            "At least three readings before the first coupon of a session and after its last one "
            "(common practice, no source). "
            "Value and ± stand in the certificate of the block.",
            ("value, HRC", "± HRC", *numbers),
            ("before", "after"),
        )
    if is_energy(response.unit):
        return TesterCheck(
            "Certified coupons",
            "Five of one certified energy before a session: the limit is one for their mean "
            "(ASTM E23).",
            (f"certified, {response.unit}", *numbers),
            ("before",),
        )
    return None
