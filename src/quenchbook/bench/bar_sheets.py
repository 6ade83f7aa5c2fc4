"""What stands on the sheet of a bar: which code is stamped on which piece."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.cutting import CutList, cut_list, mm_text
from quenchbook.bench.load_sheets import untreated_words
from quenchbook.bench.pieces import SPARE
from quenchbook.bench.safety import reminders
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.units import capital, number_text

BAR_ROWS: Final = 16  # rows of 11.5 mm that fit on A4 with everything around them
DRAWN_ROWS: Final = 14  # below the drawing of a bar


@dataclass(frozen=True)
class PieceRow:
    """One piece of a bar.

    Attributes
    ----------
    position : int
        Its place in the bar.
    coupon : str
        Code that is stamped on it; empty for other pieces.
    what : str
        What a piece without a code is.
    ends : str
        Where it begins and ends in the bar [mm]; empty without a cut list.
    """

    position: int
    coupon: str
    what: str = SPARE
    ends: str = ""


@dataclass(frozen=True)
class BarPicture:
    """A bar to scale: length, end that is thrown away, width of a cut, places of the pieces [mm].

    `pieces` are number, begin, end, and whether it is a coupon.
    """

    bar_mm: float
    end_discard_mm: float
    kerf_mm: float
    pieces: tuple[tuple[int, float, float, bool], ...]


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
    picture : BarPicture or None
        None without a cut list.
    """

    title: str
    line: str
    rows: tuple[PieceRow, ...]
    hint: str
    reminder: str
    foot_left: str
    foot_right: str
    coupon_word: str
    picture: BarPicture | None = None


def bar_sheets(matrix: CouponMatrix, foot: str) -> Iterator[BarSheet]:
    """Sheets of all bars, several for a long bar; none if the plan has no bars and no stock.

    Parameters
    ----------
    matrix : CouponMatrix
    foot : str
        Left foot of each page.

    Raises
    ------
    PlanError
        If the study tells of a stock that is too short.
    """
    study, frame = matrix.study, matrix.frame
    if study.stock is not None:
        yield from _sheets_of_cut_list(matrix, cut_list(matrix), foot)
        return
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
        yield from _sheets_of_bar(matrix, bar, last, line, rows, foot)


def _sheets_of_cut_list(matrix: CouponMatrix, found: CutList, foot: str) -> Iterator[BarSheet]:
    """Sheets with a drawing of the bar, and with the ends of each piece."""
    stock, last = found.stock, max(found.bars)
    for bar, bar_mm in sorted(found.bars.items()):
        own = found.frame[found.frame["bar"] == bar].to_dict("records")
        rows = [
            PieceRow(
                row["piece"],
                row["coupon"],
                row["what"],
                f"{number_text(row['from_mm'], 1)} to {number_text(row['to_mm'], 1)}",
            )
            for row in own
        ]
        codes = [row.coupon for row in rows if row.coupon]
        coupons = matrix.frame[matrix.frame["coupon"].isin(codes)]
        lots = _lot_words(matrix, coupons) if "bar" in matrix.frame else []
        line = f"{mm_text(bar_mm)}. {_bar_line(len(rows), len(codes), _other_word(rows))}"
        picture = BarPicture(
            bar_mm, stock.end_discard_mm, stock.kerf_mm,
            tuple((row["piece"], row["from_mm"], row["to_mm"], bool(row["coupon"])) for row in own),
        )  # fmt: skip
        yield from _sheets_of_bar(matrix, bar, last, " ".join([line, *lots]), rows, foot, picture)


def _sheets_of_bar(
    matrix: CouponMatrix, bar: int, last: int, line: str, rows: list[PieceRow], foot: str,
    picture: BarPicture | None = None,
) -> Iterator[BarSheet]:  # fmt: skip
    study = matrix.study
    hint = "Piece 1 is the one cut first; keep to the same end of the bar."
    if picture is not None:
        hint += (
            f" {mm_text(picture.end_discard_mm)} of each end are thrown away, the saw takes "
            f"{mm_text(picture.kerf_mm)} each time."
        )
    hint += " A spare piece gets no code."
    most = BAR_ROWS if picture is None else DRAWN_ROWS
    for at in range(0, len(rows), most):
        yield BarSheet(
            title=f"Cut and mark: bar {bar}",
            line=line,
            rows=tuple(rows[at : at + most]),
            hint=hint,
            reminder=" ".join(reminders(study, ("grinding",))),
            foot_left=foot,
            foot_right=f"bar {bar} of {last}",
            coupon_word=study.unit_word("coupon"),
            picture=picture,
        )


def _other_word(rows: list[PieceRow]) -> str:
    """``spare``, or ``without a code`` where there are pieces of another kind."""
    return SPARE if all(row.coupon or row.what == SPARE for row in rows) else "without a code"


def _lot_words(matrix: CouponMatrix, own: pd.DataFrame) -> list[str]:
    """Lot of a bar, and which of its pieces go into no furnace load."""
    study = matrix.study
    lots = [
        f"{factor.title} {factor.set_word(own[factor.column].iloc[0])}"
        for factor in study.factors
        if factor.set_for == "bar" and len(own)
    ]
    sentences = [f"{capital(', '.join(lots))}."] if lots else []
    untreated = own[own["furnace_load"] == 0]
    if len(untreated):
        sentences.append(f"{untreated_words(study, untreated)}.")
    return sentences


def _bar_line(pieces: int, coupons: int, other: str = SPARE) -> str:
    spare = pieces - coupons
    text = f"{pieces} piece{'s' if pieces != 1 else ''} to cut, {coupons} to mark"
    return f"{text}, {spare} {other}." if spare else f"{text}."
