"""Cut list: which coupon is sawn from which place of which bar, from the shortest stock."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from quenchbook.bench.cut_patterns import (
    Need,
    Pattern,
    Saw,
    microns,
    microns_of_bar,
    shortest_stock,
)
from quenchbook.bench.grinding import grinding_words, sawn_stock
from quenchbook.bench.pieces import (
    SPARE,
    Piece,
    coupon_pieces,
    pieces_of_bars,
    spare_pieces,
    spare_words,
)
from quenchbook.errors import PlanError
from quenchbook.made_by import made_from
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.streams import Stream
from quenchbook.shown import ShowsItself
from quenchbook.study.stock import Stock
from quenchbook.units import NO_BREAK, listed, number_text, with_unit


@dataclass(frozen=True, eq=False, repr=False)
class CutList(ShowsItself):
    """Bars of a study, piece by piece.

    Attributes
    ----------
    frame : DataFrame
        One row for each piece: ``bar``, ``bar_mm`` (length of the bar), ``piece`` (number in the
        bar, 1 is cut first), ``from_mm`` and ``to_mm`` (from the end of the bar that is cut first),
        ``coupon`` (blank for others), ``what``.
    stock : Stock
    proven : bool
        Whether no shorter stock gives all pieces.
    notes : tuple of str
        Spares, grain and grinding, in words.
    """

    frame: pd.DataFrame
    stock: Stock
    proven: bool
    notes: tuple[str, ...] = ()

    @property
    def bars(self) -> dict[int, float]:
        """Length of each bar [mm], by its number."""
        first = self.frame.drop_duplicates("bar")
        return {int(bar): float(mm) for bar, mm in zip(first["bar"], first["bar_mm"], strict=True)}

    @property
    def total_mm(self) -> float:
        """Length of all bars [mm]."""
        return sum(self.bars.values())

    @property
    def pieces_mm(self) -> float:
        """Length of all pieces [mm]."""
        return float((self.frame["to_mm"] - self.frame["from_mm"]).sum())

    @property
    def waste_mm(self) -> float:
        """What becomes no piece: ends, cuts and rests [mm]."""
        return self.total_mm - self.pieces_mm

    def rest_mm(self, bar: int) -> float:
        """What is left of a bar behind its last cut, without the end that is thrown away [mm]."""
        last = float(self.frame.loc[self.frame["bar"] == bar, "to_mm"].max())
        rest = self.bars[bar] - last - self.stock.kerf_mm - self.stock.end_discard_mm
        return max(0.0, round(rest, 3))

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def summary(self) -> str:
        """Say the stock, what becomes of it, and whether it is the shortest."""
        kinds = Counter(self.bars.values())
        bars = listed(
            [
                f"{count}{NO_BREAK}bar{'s' if count > 1 else ''} of {mm_text(mm)}"
                for mm, count in sorted(kinds.items(), reverse=True)
            ]
        )
        proof = "proven to be the least" if self.proven else "not proven to be the least"
        share = f"{100 * self.waste_mm / self.total_mm:.0f}{NO_BREAK}%"
        line = (
            f"{len(self.frame)} pieces from {bars}: {mm_text(self.total_mm)} of stock, {proof}; "
            f"{mm_text(self.waste_mm)} become ends, cuts and rests ({share})."
        )
        return "\n".join([line, *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"All pieces": self.frame}

    def __repr__(self) -> str:
        proof = "proven" if self.proven else "not proven"
        return f"<CutList: {len(self.bars)} bars, {self.total_mm:g} mm, {proof}>"


def cut_list(matrix: CouponMatrix) -> CutList:
    """Cut list of a plan.

    Coupons of a plan with bars stay where the plan drew them (``bar``, ``bar_position``); those of
    a plan without are drawn at random.

    Parameters
    ----------
    matrix : CouponMatrix
        A plan, or one part of it for the bench.

    Returns
    -------
    CutList

    Raises
    ------
    PlanError
        If the study tells of no stock, or it is too short; says what is missing.

    References
    ----------
    Spare coupons, 2 to 5 %: common practice, no source.
    """
    stock = matrix.study.stock
    if stock is None:
        raise PlanError(
            "The study tells of no stock. Write [stock] with bars, coupon_length, kerf and "
            "end_discard in study.toml."
        )
    stock, sawn_words = sawn_stock(matrix.study, stock)
    coupons = coupon_pieces(matrix, stock)
    bars = pieces_of_bars(matrix, coupons, stock)
    in_bars = [piece for own in bars.values() for piece in own]
    loose = [] if bars else list(coupons.values())
    loose += spare_pieces(list(coupons.values()), in_bars, stock)
    if not matrix.part_number:  # once for a study, not again for each continuation
        loose += [
            Piece(own.length_mm, what=own.words) for own in stock.pieces for _ in range(own.count)
        ]
    stream = Stream(matrix.seed or 0, f"cut list {matrix.part_number}")
    found = cut_list_of(loose, stock, stream=stream, bars=bars)
    spares = int((found.frame["what"] == SPARE).sum())
    notes = (
        spare_words(spares, len(coupons), matrix.study),
        *(() if bars else ("Bars and places of the coupons are drawn at random.",)),
        f"{stock.grain_words}.",
        *sawn_words,
        *grinding_words(matrix.study),
    )
    return made_from(CutList(found.frame, stock, found.proven, notes), matrix)


def cut_list_of(
    pieces: Sequence[Piece],
    stock: Stock,
    *,
    stream: Stream | None = None,
    bars: Mapping[int, Sequence[Piece]] | None = None,
) -> CutList:
    """Cut list of any pieces.

    Parameters
    ----------
    pieces : sequence of Piece
        From any bar; those of one length are drawn at random.
    stock : Stock
    stream : Stream, optional
        Random stream of the draws; a fixed one where it is not given.
    bars : mapping of number to sequence of Piece, optional
        Pieces that have to come from one bar together, in their order; others are cut behind them.

    Returns
    -------
    CutList

    Raises
    ------
    PlanError
        If a piece fits into no bar, or the stock is too short; says what is missing.
    """
    together = {number: list(own) for number, own in (bars or {}).items() if own}
    if not pieces and not together:
        raise PlanError("Nothing is to be cut: the cut list has no piece.")
    stream = stream or Stream(0, "cut list")
    by_length: dict[int, list[Piece]] = {}
    for piece in stream.shuffled(pieces):
        by_length.setdefault(microns(piece.length_mm), []).append(piece)
    lengths = tuple(sorted(by_length, reverse=True))
    saw = Saw(microns(stock.kerf_mm), microns(stock.end_discard_mm))
    sets = {number: _lengths(own) for number, own in together.items()}
    need = Need(lengths, tuple(len(by_length[n]) for n in lengths), tuple(sets.values()))
    patterns, proven = shortest_stock(
        need,
        [microns_of_bar(bar.length_mm) for bar in stock.bars],
        [bar.count for bar in stock.bars],
        saw,
    )
    rows: list[dict[str, object]] = []
    for number, pattern in _numbered(patterns, sets):
        own = [by_length[n].pop() for n, k in zip(lengths, pattern.counts, strict=True)
               for _ in range(k)]  # fmt: skip
        placed = [*together.get(number, []), *stream.shuffled(own)]
        rows += _rows(number, stock.bars[pattern.bar].length_mm, placed, saw)
    columns = ["bar", "bar_mm", "piece", "from_mm", "to_mm", "coupon", "what"]
    return CutList(pd.DataFrame(rows, columns=columns), stock, proven)


def mm_text(length_mm: float) -> str:
    r"""Length in print, to a tenth where it is needed.

    >>> mm_text(476.8), mm_text(500.0)
    ('476.8\xa0mm', '500\xa0mm')
    """
    return with_unit(number_text(length_mm, 1).removesuffix(".0"), "mm")


# --- places ---------------------------------------------------------------------------------------


def _lengths(pieces: Sequence[Piece]) -> tuple[int, ...]:
    return tuple(microns(piece.length_mm) for piece in pieces)


def _numbered(
    patterns: Sequence[Pattern], sets: Mapping[int, tuple[int, ...]]
) -> Iterator[tuple[int, Pattern]]:
    """Patterns with their bar numbers: those of the plan, then the next ones."""
    left = dict(sets)
    following = max(sets, default=0) + 1
    found = {}
    for pattern in patterns:
        if pattern.together:
            number = next(bar for bar, own in left.items() if own == pattern.together)
            del left[number]
        else:
            number, following = following, following + 1
        found[number] = pattern
    yield from sorted(found.items())


def _rows(bar: int, bar_mm: float, pieces: Sequence[Piece], saw: Saw) -> list[dict[str, object]]:
    rows: list[dict[str, object]] = []
    at = saw.end_discard + saw.kerf
    for number, piece in enumerate(pieces, start=1):
        end = at + microns(piece.length_mm)
        rows.append(
            {
                "bar": bar, "bar_mm": bar_mm, "piece": number, "from_mm": at / 1000,
                "to_mm": end / 1000, "coupon": piece.coupon, "what": piece.what,
            }
        )  # fmt: skip
        at = end + saw.kerf
    return rows
