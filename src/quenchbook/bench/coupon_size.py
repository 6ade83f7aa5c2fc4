"""How big and how heavy a coupon is, as far as the study file tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import fmean
from typing import Final

from quenchbook.metallurgy.cooling_times import STEEL_DENSITY, volume_to_area
from quenchbook.study.definition import Study
from quenchbook.study.sizes import SIDES, steel_side, told_sides
from quenchbook.units import listed, number_text

SIZE_UNTOLD: Final = "the size of a coupon is not told"
_EXAMPLES: Final = {"length": "60 mm", "width": "10 mm", "thickness": "2.5 mm"}


@dataclass(frozen=True)
class CouponSize:
    """Sides of a flat coupon.

    Attributes
    ----------
    length_mm, width_mm, thickness_mm : float or None
        [mm]; None: not told. `length_mm` is the mean where coupons differ in length.
    lengths_mm : (float, float) or None
        Shortest and longest, where coupons differ in length [mm].
    """

    length_mm: float | None = None
    width_mm: float | None = None
    thickness_mm: float | None = None
    lengths_mm: tuple[float, float] | None = None

    @property
    def sides(self) -> tuple[float, float, float] | None:
        """Length, width and thickness [mm]; None when one is not told."""
        if self.length_mm is None or self.width_mm is None or self.thickness_mm is None:
            return None
        return self.length_mm, self.width_mm, self.thickness_mm

    @property
    def kilograms(self) -> float | None:
        """Mass at 7800 kg/m3, on average; None when a side is not told.

        >>> round(1000 * CouponSize(60, 10, 2.5).kilograms, 1)
        11.7
        """
        if self.sides is None:
            return None
        length, width, thickness = self.sides
        return length * width * thickness * 1e-9 * STEEL_DENSITY

    @property
    def volume_to_area_mm(self) -> float | None:
        """Volume over area [mm]; None when a side is not told."""
        return None if self.sides is None else volume_to_area(*self.sides)

    @property
    def heaviest_kilograms(self) -> float | None:
        """Mass of the longest coupon; None when a side is not told.

        >>> round(1000 * CouponSize(40, 10, 2.5, (25, 60)).heaviest_kilograms, 1)
        11.7
        """
        if self.lengths_mm is None:
            return self.kilograms
        return replace(self, length_mm=self.lengths_mm[1], lengths_mm=None).kilograms

    def words(self) -> str:
        r"""Size in print, or what is to be told.

        >>> CouponSize(60, 10, 2.5).words()
        '60 × 10 × 2.5\xa0mm'
        >>> CouponSize(40, 10, 2.5, (25, 60)).words()
        '25 to 60 × 10 × 2.5\xa0mm'
        """
        if self.sides is not None:
            ends = self.lengths_mm
            length = f"{self.sides[0]:g}" if ends is None else f"{ends[0]:g} to {ends[1]:g}"
            return " × ".join([length, *(f"{side:g}" for side in self.sides[1:])]) + "\u00a0mm"
        missing = [
            f'{SIDES[name][0]} = "{_EXAMPLES[name]}"'
            for name in SIDES
            if getattr(self, f"{name}_mm") is None
        ]
        return f"size of a coupon not told: write {listed(missing)} below [steel]"


def coupon_size(study: Study, sawn_mm: Sequence[float] = ()) -> CouponSize:
    """Size of a coupon from ``[steel]`` and ``[stock]``.

    Parameters
    ----------
    study : Study
    sawn_mm : sequence of float, optional
        Sawn length of each coupon, for the mean where they differ; else each length counts once.

    Returns
    -------
    CouponSize
        As finished, where ``[steel]`` tells it, else as sawn. A side that is not told, or has no
        length that can be read, is None: it is asked for.

    Raises
    ------
    StudyError
        If the tables contradict each other, where the study was not read from a file.
    """
    lengths = told_sides(study, "length")
    length = fmean(lengths) if lengths else None
    ends = None
    if len(lengths) > 1:
        own = list(sawn_mm) or lengths
        length, ends = fmean(own), (min(own), max(own))
    width, thickness = (
        next(iter(told_sides(study, side)), None) for side in ("width", "thickness")
    )
    return CouponSize(length, width, thickness, ends if ends and ends[0] < ends[1] else None)


def is_sawn_size(study: Study) -> bool:
    """Whether a side of the coupons is told as sawn only, before grinding."""
    return any(told_sides(study, side) and steel_side(study.steel, side) is None for side in SIDES)


def grams_text(kilograms: float) -> str:
    """Mass in print: grams below a kilogram."""
    if kilograms < 1:
        return f"{number_text(1000 * kilograms, 1 if kilograms < 0.1 else 0)}\u00a0g"
    return f"{number_text(kilograms, 2)}\u00a0kg"
