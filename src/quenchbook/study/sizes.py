"""Sides of a coupon as a study tells them: finished below [steel], sawn below [stock]."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, StudyError, UnitError
from quenchbook.units import listed, number_text, parse_quantity, with_unit

if TYPE_CHECKING:
    from quenchbook.study.definition import Study
    from quenchbook.study.stock import Stock

SIDES: Final[Mapping[str, tuple[str, ...]]] = {
    "length": ("coupon_length", "length"),
    "width": ("coupon_width", "width"),
    "thickness": ("coupon_thickness", "thickness"),
}
"""Names of each side in [steel], the first is the one asked for."""

_EXAMPLES: Final[Mapping[str, str]] = {
    "length": "25 mm", "width": "25 mm", "thickness": "4 mm",
}  # fmt: skip
_GROUND_MM: Final = 1.0  # off both sides together where less is told; common practice, no source
_STOCK_KEYS: Final = {"length": "coupon_length", "width": "bar_width", "thickness": "bar_thickness"}


def steel_side(steel: Mapping[str, object], side: str) -> float | None:
    """Finished side below ``[steel]`` [mm]; None where it is not told, or is no length.

    Parameters
    ----------
    steel : mapping
        The table.
    side : {"length", "width", "thickness"}
    """
    for key in SIDES[side]:
        if key in steel:
            try:
                found = parse_quantity(str(steel[key]), "length")
            except UnitError:
                return None
            return found if found > 0 else None
    return None


def side_mistakes(steel: Mapping[str, object]) -> list[tuple[str, str, str]]:
    """Sides below ``[steel]`` that are no length above zero with its unit.

    Parameters
    ----------
    steel : mapping
        The table.

    Returns
    -------
    list of (key of steel, what was found, what to write)
    """
    found = []
    for side, keys in SIDES.items():
        for key in keys:
            if key not in steel:
                continue
            told, example = steel[key], f'Write {key} = "{_EXAMPLES[side]}".'
            try:
                if not isinstance(told, str):
                    number = isinstance(told, int | float) and not isinstance(told, bool)
                    what = "has no unit" if number else "is not a length with its unit"
                    found.append((key, f"{key} is {told!r}: it {what}", example))
                elif parse_quantity(told, "length") <= 0:
                    found.append((key, f"{key} is {told!r}, not above zero", example))
            except UnitError as error:
                found.append((key, f"{key}: {error}", example))
    return found


def stock_sides(stock: Stock | None, side: str) -> tuple[float, ...]:
    """Sawn side below ``[stock]``, each that there is, the shortest first [mm].

    Parameters
    ----------
    stock : Stock or None
    side : {"length", "width", "thickness"}
    """
    if stock is None:
        return ()
    if side == "length":
        own = {mm for mm in stock.lengths_mm.values() or [stock.coupon_length_mm] if mm > 0}
        return tuple(sorted(own))
    told = stock.bar_width_mm if side == "width" else stock.bar_thickness_mm
    return () if told is None else (told,)


def told_sides(study: Study, side: str) -> tuple[float, ...]:
    """One side of the coupons, each length that there is, the shortest first [mm].

    Parameters
    ----------
    study : Study
    side : {"length", "width", "thickness"}

    Returns
    -------
    tuple of float
        As finished, where that is told; else as sawn. Empty: not told.

    Raises
    ------
    StudyError
        If the tables contradict each other, where the study was not read from a file.
    """
    if wrong := size_mistakes(study.steel, study.stock):
        raise StudyError([Problem(f"stock.{key}", what, do) for key, what, do in wrong])
    finished = steel_side(study.steel, side)
    return stock_sides(study.stock, side) if finished is None else (finished,)


def size_mistakes(steel: Mapping[str, object], stock: Stock | None) -> list[tuple[str, str, str]]:
    """Sides that [steel] and [stock] tell differently.

    Sawn may be longer than finished by what is ground off both ends.

    Parameters
    ----------
    steel : mapping
        The table.
    stock : Stock or None

    Returns
    -------
    list of (key of stock, what was found, what to write)
    """
    found = []
    allowance = 0.0 if stock is None else stock.grind_allowance_mm or 0.0
    ground = max(2 * allowance, _GROUND_MM)
    for side, key in _STOCK_KEYS.items():
        finished, sawn = steel_side(steel, side), stock_sides(stock, side)
        if finished is None or all(0 <= round(mm - finished, 6) <= ground for mm in sawn):
            continue
        own = next(name for name in SIDES[side] if name in steel)
        found.append(
            (
                key,
                f"{key} is {listed([_mm(mm) for mm in sawn])}, but {own} below [steel] is "
                f"{_mm(finished)}: the coupon cannot have both sizes",
                f"Tell it once: delete {own} below [steel], or "
                f"{'correct' if side == 'length' else 'delete'} {key} here. Sawn may be up to "
                f"{_mm(ground)} more, for grinding.",
            )
        )
    return found


def _mm(length: float) -> str:
    return with_unit(number_text(length, 3).rstrip("0").rstrip("."), "mm")
