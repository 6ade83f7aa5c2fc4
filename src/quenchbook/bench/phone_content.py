"""What a bench page for a phone holds: loads, tempers and tests of a plan as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

from quenchbook.bench.phone_units import PhoneUnit, phone_loads, phone_tempers
from quenchbook.plan.entry_tables import reading_columns, response_stem
from quenchbook.plan.labels import CHARACTERS, all_codes
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Response
from quenchbook.study.plausible_readings import plausible

_LOWEST_SURE_HRC: Final = 20.0  # the scale is not used below it (ASTM E18, ISO 6508-1)


@dataclass(frozen=True)
class PhoneTest:
    """Readings of one response: codes in test order, nothing of the treatment.

    Attributes
    ----------
    response, stem : str
        Name of the response, and the same without its unit for the file.
    title, quantity, reading_word : str
        In print.
    columns : tuple of str
        One for each reading of a coupon.
    low, high : float or None
        Plausible limits; None for none.
    low_is_in : bool
    expected : str
        The limits in words.
    point_low : float or None
        A reading above `high` that is at least this much without its last digits has probably lost
        its decimal point; None where that is not asked.
    rows : tuple of (int, str)
        Place in the order of tests, and code.
    """

    response: str
    stem: str
    title: str
    quantity: str
    reading_word: str
    columns: tuple[str, ...]
    low: float | None
    high: float | None
    low_is_in: bool
    expected: str
    point_low: float | None
    rows: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class PhoneContent:
    """Everything a bench page holds.

    Attributes
    ----------
    plan : str
        Hash of the plan.
    study, title : str
    coupon_word, coupons_word : str
        Words of the study for a coupon and for coupons.
    blinded : bool
        Whether codes and test order say nothing of the treatment.
    delay_item : str
        Item of a deviation of the wait; empty when the study does not vary it.
    characters : str
        Of the error-correcting code; empty when the codes of the plan are no words of it.
    codes : tuple of str
        In alphabetical order.
    loads, tempers : tuple of PhoneUnit
    tests : tuple of PhoneTest
    """

    plan: str
    study: str
    title: str
    coupon_word: str
    coupons_word: str
    blinded: bool
    delay_item: str
    characters: str
    codes: tuple[str, ...]
    loads: tuple[PhoneUnit, ...]
    tempers: tuple[PhoneUnit, ...]
    tests: tuple[PhoneTest, ...]


def phone_content(matrix: CouponMatrix) -> PhoneContent:
    """Content of the bench page of a plan.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    PhoneContent
    """
    study = matrix.study
    codes = tuple(sorted(matrix.frame["coupon"].astype(str)))
    words = {
        word for length in {len(code) for code in codes} & {4, 5} for word in all_codes(length)
    }
    return PhoneContent(
        plan=matrix.plan_hash,
        study=study.key,
        title=study.title,
        coupon_word=study.unit_word("coupon"),
        coupons_word=study.unit_word("coupon", 2),
        blinded=matrix.origin != "published",
        delay_item="delay" if study.has("delay") else "",
        characters=CHARACTERS if words.issuperset(codes) else "",
        codes=codes,
        loads=phone_loads(matrix),
        tempers=phone_tempers(matrix),
        tests=tuple(_test(matrix, response) for response in study.responses),
    )


def _test(matrix: CouponMatrix, response: Response) -> PhoneTest:
    order = f"{response.name}_order"
    rows = matrix.frame[matrix.frame[order].notna()].sort_values(order)
    limits = plausible(response)
    return PhoneTest(
        response=response.name,
        stem=response_stem(response),
        title=response.axis_title,
        quantity=response.quantity,
        reading_word="indent" if response.kind == "hardness" else "reading",
        columns=reading_columns(response),
        low=limits.low if isfinite(limits.low) else None,
        high=limits.high if isfinite(limits.high) else None,
        low_is_in=limits.low_is_in,
        expected=limits.words,
        point_low=_LOWEST_SURE_HRC if response.unit == "HRC" else None,
        rows=tuple(zip(rows[order].astype(int).tolist(), rows["coupon"].astype(str), strict=True)),
    )
