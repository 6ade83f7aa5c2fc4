"""What is cut from the stock of a study: coupons, spares, and how long each is."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.plan.matrix import CouponMatrix
from quenchbook.study.definition import Study
from quenchbook.study.stock import Stock
from quenchbook.units import NO_BREAK

SPARE: Final = "spare"
LEAST_SPARE: Final = 0.02  # share of the coupons (common practice, no source)
MOST_SPARE: Final = 0.05


@dataclass(frozen=True)
class Piece:
    """One piece to be cut.

    Attributes
    ----------
    length_mm : float
        Sawn length [mm].
    coupon : str
        Code of the coupon; empty for other pieces.
    what : str
        ``coupon``, ``spare``, or what it is in words.
    """

    length_mm: float
    coupon: str = ""
    what: str = SPARE


def coupon_pieces(matrix: CouponMatrix, stock: Stock) -> dict[str, Piece]:
    """Piece of each coupon: as long as the longest that its tests need."""
    frame = matrix.frame
    length = pd.Series(stock.coupon_length_mm if not stock.lengths_mm else 0.0, index=frame.index)
    for name, own in stock.lengths_mm.items():
        length = length.where(frame[f"{name}_order"].isna(), length.clip(lower=own))
    length = length.where(length > 0, stock.coupon_length_mm)  # tested in nothing: the longest
    codes = frame["coupon"].astype(str)
    return {code: Piece(float(mm), code, "coupon") for code, mm in zip(codes, length, strict=True)}


def pieces_of_bars(
    matrix: CouponMatrix, coupons: Mapping[str, Piece], stock: Stock
) -> dict[int, list[Piece]]:
    """Pieces of the bars of a plan; a place without a coupon is a spare of full length."""
    frame, layout = matrix.frame, matrix.study.layout
    if "bar" not in frame or "bar_position" not in frame:
        return {}
    bars: dict[int, list[Piece]] = {}
    for bar, own in frame.groupby("bar", sort=True):
        places = dict(zip(own["bar_position"].astype(int), own["coupon"].astype(str), strict=True))
        last = max([layout.coupons_per_bar, *places])
        bars[int(str(bar))] = [
            coupons[places[at]] if at in places else Piece(stock.coupon_length_mm)
            for at in range(1, last + 1)
        ]
    return bars


def spare_pieces(coupons: Sequence[Piece], in_bars: Sequence[Piece], stock: Stock) -> list[Piece]:
    """Spare coupons beyond those that the bars of the plan have already."""
    lengths = Counter(piece.length_mm for piece in coupons)
    if stock.spare_coupons is None:
        wanted = {mm: math.ceil(LEAST_SPARE * count) for mm, count in lengths.items()}
    else:
        wanted = _shared(stock.spare_coupons, lengths)
    there = sum(not piece.coupon for piece in in_bars)
    found = [Piece(mm) for mm in sorted(wanted, reverse=True) for _ in range(wanted[mm])]
    return found[there:]


def _shared(count: int, sizes: Mapping[float, int]) -> dict[float, int]:
    """Whole numbers that share a count by sizes, largest remainders first."""
    exact = {key: count * size / sum(sizes.values()) for key, size in sizes.items()}
    shares = {key: math.floor(own) for key, own in exact.items()}
    by_rest = sorted(exact, key=lambda key: (shares[key] - exact[key], -key))
    for key in by_rest[: count - sum(shares.values())]:
        shares[key] += 1
    return shares


def spare_words(spares: int, coupons: int, study: Study) -> str:
    """How many spare coupons there are, and whether that is usual."""
    share = spares / coupons
    words = f"{spares} spare {study.unit_word('coupon', spares)}, {100 * share:.1f}{NO_BREAK}%"
    usual = f"2 to 5{NO_BREAK}% is common practice, no source"
    if share < LEAST_SPARE:
        return f"{words}: few ({usual})."
    return f"{words} ({usual})." if share > MOST_SPARE else f"{words}."
