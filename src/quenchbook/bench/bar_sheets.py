"""What stands on the sheet of a bar: which code is stamped on which piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.load_sheets import untreated_words
from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.units import capital

BAR_ROWS: Final = 16  # rows of 11.5 mm that fit on A4 with everything around them
SPARE: Final = "spare"


@dataclass(frozen=True)
class PieceRow:
    """One piece of a bar: its place in the bar, and the code stamped on it (empty: spare)."""

    position: int
    coupon: str


@dataclass(frozen=True)
class BarSheet:
    """One page for a bar.

    Attributes
    ----------
    title, line : str
        ``Cut and mark: bar 3``; how many pieces and what becomes of them.
    rows : tuple of PieceRow
        In the order of the pieces in the bar.
    hint, reminder : str
        How to read the sheet; safety line.
    foot_left, foot_right : str
    coupon_word : str
        Word of the study for a coupon.
    """

    title: str
    line: str
    rows: tuple[PieceRow, ...]
    hint: str
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str


def bar_sheets(matrix: CouponMatrix, foot: str) -> Iterator[BarSheet]:
    """Sheets of all bars, several for a long bar; none if the plan has no bars.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.
    """
    study, frame = matrix.study, matrix.frame
    if "bar" not in frame or "bar_position" not in frame:
        return
    last = max(study.layout.bars, int(frame["bar"].max()))
    for bar in range(1, last + 1):
        own = frame[frame["bar"] == bar]
        if own.empty and matrix.part_number:  # new coupons come from bars of their own
            continue
        codes = dict(zip(own["bar_position"].astype(int), own["coupon"].astype(str), strict=True))
        pieces = max([study.layout.coupons_per_bar, *codes])
        rows = [PieceRow(place, codes.get(place, "")) for place in range(1, pieces + 1)]
        line = " ".join([_bar_line(pieces, len(codes)), *_lot_words(matrix, own)])
        for at in range(0, pieces, BAR_ROWS):
            yield BarSheet(
                title=f"Cut and mark: bar {bar}",
                line=line,
                rows=tuple(rows[at : at + BAR_ROWS]),
                hint="Piece 1 is the one cut first; keep to the same end of the bar. "
                "A spare piece gets no code.",
                reminder=" ".join(reminders(study, ("grinding",))),
                foot_left=foot,
                foot_right=f"bar {bar} of {last}",
                coupon_word=study.unit_word("coupon"),
            )


def _lot_words(matrix: CouponMatrix, own: pd.DataFrame) -> list[str]:
    """Lot of a bar, and which of its pieces go into no furnace load."""
    study = matrix.study
    lots = [
        f"{factor.title} {factor.word(own[factor.column].iloc[0])}"
        for factor in study.factors
        if factor.set_for == "bar" and len(own)
    ]
    sentences = [f"{capital(', '.join(lots))}."] if lots else []
    untreated = own[own["furnace_load"] == 0]
    if len(untreated):
        sentences.append(f"{untreated_words(study, untreated)}.")
    return sentences


def _bar_line(pieces: int, coupons: int) -> str:
    spare = pieces - coupons
    text = f"{pieces} piece{'s' if pieces != 1 else ''} to cut, {coupons} to mark"
    return f"{text}, {spare} spare." if spare else f"{text}."
