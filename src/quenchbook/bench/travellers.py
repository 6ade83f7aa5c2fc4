"""Labels that go with the coupons: code, square for a camera, and where the coupon lies.

A mark on steel may not live through foil and heat, so each coupon has a second identity: its place
in the furnace. It stands on a strip that is cut off before a tester sees the label.

References
----------
ISO/IEC 18004 (QR code): version 1 at level Q holds 16 characters of digits, capitals and ``:``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from quenchbook.errors import PlanError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.units import capital

LABEL_ROWS: Final = 6  # of labels 37 mm high that fit on A4 with everything around them
LABEL_COLUMNS: Final = 3
PREFIX: Final = "Q"
QUIET: Final = 4  # modules of white around a square, by the standard


@dataclass(frozen=True)
class Traveller:
    """Label of one coupon.

    Attributes
    ----------
    coupon : str
        Its code.
    text : str
        What the square holds: ``Q:3DB02E10:K7A9``, prefix, plan and code.
    place : str
        Where the coupon lies, on the strip that is cut off.
    """

    coupon: str
    text: str
    place: str


@dataclass(frozen=True)
class LabelSheet:
    """One page of labels, in the order of the codes.

    Attributes
    ----------
    title, line : str
    labels : tuple of Traveller
    hint : str
    foot_left, foot_right : str
    """

    title: str
    line: str
    labels: tuple[Traveller, ...]
    hint: str
    foot_left: str
    foot_right: str


def travellers(matrix: CouponMatrix) -> tuple[Traveller, ...]:
    """Labels of all coupons, in the order of the codes, which says nothing of the treatment.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    tuple of Traveller

    Raises
    ------
    PlanError
        If the codes come from a publication: they may say the treatment.
    """
    if matrix.origin == "published":
        raise PlanError(
            "The codes of this plan come from a publication and may say the treatment: no labels "
            "are made. Delete labels = true below [stock]."
        )
    study, plan = matrix.study, matrix.short_hash.upper()
    load_word = study.unit_word("furnace_load")
    has_places = "furnace_place" in matrix.frame
    found = []
    for row in matrix.frame.sort_values("coupon").to_dict("records"):
        code = str(row["coupon"])
        place = f"no {load_word}"
        if row["furnace_load"] != 0:
            spot = (
                f"furnace place {int(row['furnace_place'])}"
                if has_places
                else f"place {int(row['load_place'])}"
            )
            place = f"{load_word} {row['furnace_load']}, {spot}"
        found.append(Traveller(code, f"{PREFIX}:{plan}:{code}", capital(place)))
    return tuple(found)


def label_sheets(matrix: CouponMatrix, foot: str) -> Iterator[LabelSheet]:
    """Sheets of labels; none if the study does not ask for them.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.
    """
    stock = matrix.study.stock
    if stock is None or not stock.labels:
        return
    labels, each = travellers(matrix), LABEL_ROWS * LABEL_COLUMNS
    pages = -(-len(labels) // each)
    for number in range(pages):
        yield LabelSheet(
            title="Labels",
            line="One for each foil packet or tray. Cut off the strip below the broken line before "
            "a tester gets the label.",
            labels=labels[number * each : (number + 1) * each],
            hint="The line under a code shows which way up it is read. The square holds the plan "
            "and the code. Write down the tray or the packet too (form places): marks on steel may "
            "not live through the heat.",
            foot_left=foot,
            foot_right=f"labels, sheet {number + 1} of {pages}",
        )


def square_svg(text: str) -> str:
    """Square for a camera as SVG, with its white border; the same text for the same input.

    Parameters
    ----------
    text : str
        At most 16 digits, capitals, and ``: - . / + * % $`` or blanks.

    Returns
    -------
    str
        QR code, version 1, level Q: readable with a quarter of it damaged.
    """
    return str(_square(text).svg_inline(border=QUIET, omitsize=True, light="#fff"))


def _square(text: str) -> Any:
    import segno

    return segno.make(
        text, version=1, error="q", mode="alphanumeric", boost_error=False, micro=False
    )
