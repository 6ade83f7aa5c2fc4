"""What a plan uses up, as ranges, and what its coolants do to the air of the room."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

import pandas as pd

from quenchbook.bench.cold_amounts import alcohol_line, cold_batches, dry_ice_line, nitrogen_line
from quenchbook.bench.coupon_size import (
    SIZE_UNTOLD,
    CouponSize,
    coupon_size,
    grams_text,
    is_sawn_size,
)
from quenchbook.bench.hazards import hazards, oil_quench, quench_told, told_phrases
from quenchbook.bench.load_sheets import beside_blank
from quenchbook.bench.need import Need, missing
from quenchbook.bench.pieces import coupon_pieces
from quenchbook.bench.room_check import AirFigure, air_figures, air_missing
from quenchbook.bench.temper_sheets import temper_cycles
from quenchbook.made_by import made_from
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.prices import prices_of
from quenchbook.units import capital

NOT_A_RISK_ASSESSMENT: Final = (
    "Arithmetic, not a risk assessment; local codes and licensed practice come first."
)

_STEEL: Final = "steel"
_TEMPERS: Final = "tempers in the oven"
_FOIL_EDGE_MM: Final = (20.0, 40.0)  # of a packet, folded twice; each side; assumed
_HOT_HEAT: Final = (550.0, 700.0)  # from austenitize to oil temperature [kJ/kg] [from memory]
_OIL_HEAT: Final = (1.9, 2.2)  # [kJ/(kg K)] [from memory]
_OIL_DENSITY: Final = (0.85, 0.90)  # [kg/l] [from memory]
_OIL_RISE: Final = (20.0, 40.0)  # what the oil may warm by in one load [K]; assumed
_GAS_FLOW: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*(l/min|l/h|m3/h)")
_AN_HOUR: Final = {"l/min": 60.0, "l/h": 1.0, "m3/h": 1000.0}


@dataclass(frozen=True, eq=False, repr=False)
class Consumables(ShowsItself):
    """What a plan uses up.

    Attributes
    ----------
    lines : tuple of Need
    air : tuple of AirFigure
        What coolants do to the air of the room.
    asked : tuple of str
        What is not told and would tell more.
    size : CouponSize
    """

    lines: tuple[Need, ...]
    air: tuple[AirFigure, ...]
    asked: tuple[str, ...]
    size: CouponSize

    @property
    def is_more_than_steel(self) -> bool:
        """Whether anything but steel and the hours of the oven is used up."""
        return any(own.item not in (_STEEL, _TEMPERS) for own in self.lines)

    def to_frame(self) -> pd.DataFrame:
        """One row for each thing.

        Returns
        -------
        DataFrame
            ``item, low, high, unit, note``; blank `low` and `high`: cannot be told, `note` says
            why.
        """
        rows = [(own.item, own.low, own.high, own.unit, own.note) for own in self.lines]
        frame = pd.DataFrame(rows, columns=["item", "low", "high", "unit", "note"])
        return frame.astype({"low": float, "high": float})

    def air_frame(self) -> pd.DataFrame:
        """One row for each figure of the room's air.

        Returns
        -------
        DataFrame
            ``what, low, high, unit, note``.
        """
        rows = [(own.what, own.low, own.high, own.unit, own.note) for own in self.air]
        frame = pd.DataFrame(rows, columns=["what", "low", "high", "unit", "note"])
        return frame.astype({"low": float, "high": float})

    def summary(self) -> str:
        """Say amounts with what was assumed, the air of the room, and what is asked for."""
        lines = [self._counted()]
        lines += [f"{capital(own.item)}: {own.amount_words()}. {own.note}" for own in self.lines]
        lines += [f"{capital(own.what)}: {own.value_words()}. {own.note}" for own in self.air]
        if self.air:
            lines.append(NOT_A_RISK_ASSESSMENT)
        return "\n".join([*(line.strip() for line in lines), *self.asked])

    def shown(self) -> Shown:
        """How many amounts are told, then each; the air of the room and what is asked for."""
        import pandas as pd

        rows = [
            {"item": own.item, "amount": own.amount_words(), "note": own.note} for own in self.lines
        ]
        rows += [
            {"item": own.what, "amount": own.value_words(), "note": own.note} for own in self.air
        ]
        notes = (NOT_A_RISK_ASSESSMENT,) if self.air else ()
        return Shown(self._counted(), pd.DataFrame(rows), (*notes, *self.asked))

    def _counted(self) -> str:
        known = sum(not math.isnan(own.low) for own in self.lines)
        return f"{known} of {len(self.lines)} amounts can be told."

    def __repr__(self) -> str:
        known = sum(not math.isnan(own.low) for own in self.lines)
        return f"<Consumables: {known} of {len(self.lines)} amounts told>"


def consumables(matrix: CouponMatrix) -> Consumables:
    """What a plan uses up, with ranges and what was assumed.

    Parameters
    ----------
    matrix : CouponMatrix

    Returns
    -------
    Consumables
        Only what the study really uses. Where a size, a flow or a quench is not told, the line
        says so and has no amount.
    """
    study, size, found = matrix.study, _size(matrix), hazards(matrix.study, only_settings=True)
    batches = cold_batches(matrix)
    nitrogen = nitrogen_line(matrix, batches, size) if "nitrogen" in found else None
    dry_ice = dry_ice_line(matrix, batches, size) if "dry_ice" in found else None
    hardens = any(factor.name.startswith("austenitiz") for factor in study.factors)
    lines = [
        _steel(matrix, size),
        nitrogen,
        dry_ice,
        alcohol_line() if dry_ice and "alcohol" in found else None,
        _foil(matrix, size) if "foil" in found else None,
        _gas(matrix) if "gas" in found else None,
        missing("foil or gas", "not told whether coupons are wrapped, under gas or bare")
        if hardens and "foil" not in found and "gas" not in found
        else None,
        _oil(matrix, size) if "oil" in found and (oil_quench(study) or not quench_told(study))
        else None,
        _tempers(matrix),
    ]  # fmt: skip
    air = air_figures(study.room, nitrogen, dry_ice)
    asked = [] if size.sides else [f"{capital(size.words())}."]
    asked += air_missing(study.room, nitrogen, dry_ice)
    own = Consumables(tuple(line for line in lines if line), air, tuple(asked), size)
    return made_from(own, matrix)


def _size(matrix: CouponMatrix) -> CouponSize:
    """Size of the coupons; where they differ in length, with the mean over this plan."""
    stock = matrix.study.stock
    pieces = {} if stock is None else coupon_pieces(matrix, stock)
    return coupon_size(matrix.study, [piece.length_mm for piece in pieces.values()])


def _steel(matrix: CouponMatrix, size: CouponSize) -> Need:
    coupons, word = len(matrix.frame), matrix.study.unit_word("coupon", len(matrix.frame))
    if size.kilograms is None:
        return missing(_STEEL, f"{coupons} {word}; {SIZE_UNTOLD}", "kg")
    mass = coupons * size.kilograms
    each = "each" if size.lengths_mm is None else "on average"
    kind = (
        "Sawn size: without saw cuts and ends."
        if is_sawn_size(matrix.study)
        else ("Finished size: without saw cuts, ends and grinding.")
    )
    note = f"{coupons} {word} of {size.words()}, {grams_text(size.kilograms)} {each}. {kind}"
    return Need(_STEEL, mass, mass, "kg", note)


def _foil(matrix: CouponMatrix, size: CouponSize) -> Need:
    if size.sides is None:
        return missing("foil", SIZE_UNTOLD, "m²")
    length, width, _ = size.sides
    coupons = len(matrix.in_loads)
    low, high = (
        2 * (length + 2 * edge) * (width + 2 * edge) * coupons / 1e6 for edge in _FOIL_EDGE_MM
    )
    note = (
        f"Each of {coupons} coupons in a packet of its own, two faces with {_FOIL_EDGE_MM[0]:.0f} "
        f"to {_FOIL_EDGE_MM[1]:.0f}\u00a0mm all round for the folds; assumed. Several in a packet "
        "take less."
    )
    return Need("foil", low, high, "m²", note)


def _gas(matrix: CouponMatrix) -> Need:
    study = matrix.study
    told = next(
        (own for own in map(_flow, told_phrases(study)) if own is not None and own > 0), None
    )
    if told is None:
        return missing("gas", 'flow not told: write gas = "argon, 5 l/min" below [held_constant]')
    prices = prices_of(study)
    loads = int(matrix.in_loads["furnace_load"].nunique())
    hours = prices.furnace_hours_a_load
    kind = "assumed" if "furnace_hours_a_load" in prices.assumed else "from [costs]"
    note = (
        f"{told / 60:.3g}\u00a0l/min in {loads} {study.unit_word('furnace_load', loads)} of "
        f"{hours:g}\u00a0h ({kind}), and up to half again for flushing (assumed)."
    )
    volume = told * hours * loads / 1000
    return Need("gas", volume, 1.5 * volume, "m³", note)


def _flow(phrase: str) -> float | None:
    """Gas flow told in a phrase [l/h]."""
    found = _GAS_FLOW.search(phrase.replace("³", "3"))
    return None if found is None else float(found[1].replace(",", ".")) * _AN_HOUR[found[2]]


def _oil(matrix: CouponMatrix, size: CouponSize) -> Need:
    if not quench_told(matrix.study):
        return missing(
            "quench oil", 'quench not told: write quench = "oil, 50 degC" below [held_constant]'
        )
    heaviest = size.heaviest_kilograms
    if heaviest is None:
        return missing("quench oil", SIZE_UNTOLD, "l")
    most = int(matrix.in_loads.groupby("furnace_load").size().max())
    heat = [most * heaviest * own for own in _HOT_HEAT]
    low = heat[0] / (_OIL_HEAT[1] * _OIL_DENSITY[1] * _OIL_RISE[1])
    high = heat[1] / (_OIL_HEAT[0] * _OIL_DENSITY[0] * _OIL_RISE[0])
    note = (
        f"At least so much, and always enough to cover a coupon and the tongs: the largest load "
        f"({most} coupons) warms it by {_OIL_RISE[0]:.0f} to {_OIL_RISE[1]:.0f}\u00a0°C. Heat of "
        "steel and oil from memory."
    )
    return Need("quench oil", low, high, "l", note)


def _tempers(matrix: CouponMatrix) -> Need | None:
    study, frame = matrix.study, matrix.frame
    if "temper_batch" not in frame:
        return None
    first = frame[frame["temper_batch"] > 0].drop_duplicates("temper_batch")
    if first.empty:
        return None
    count = float(sum(len(temper_cycles(study, row)) for _, row in first.iterrows()))
    note = f"{len(first)} {study.unit_word('temper_batch', len(first))}"
    held = beside_blank(study, "temper_time")
    note += f", {held} each." if held else "; time at temperature not told."
    if not ("temper_cycles" in study.held_constant or study.has("temper_cycles")):
        note += " One temper a batch: not told otherwise."
    return Need(_TEMPERS, count, count, "", note)
