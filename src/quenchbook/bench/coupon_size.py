"""How big and how heavy a coupon is, as far as the study file tells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from quenchbook.errors import UnitError
from quenchbook.metallurgy.cooling_times import STEEL_DENSITY, volume_to_area
from quenchbook.study.definition import Study
from quenchbook.units import listed, number_text, parse_quantity

# names of each side in [steel], the first is the one asked for
_KEYS: Final[Mapping[str, tuple[str, ...]]] = {
    "length": ("coupon_length", "length"),
    "width": ("coupon_width", "width"),
    "thickness": ("coupon_thickness", "thickness"),
}
SIZE_UNTOLD: Final = "the size of a coupon is not told"
_EXAMPLES: Final = {"length": "60 mm", "width": "10 mm", "thickness": "2.5 mm"}


@dataclass(frozen=True)
class CouponSize:
    """Sides of a flat coupon.

    Attributes
    ----------
    length_mm, width_mm, thickness_mm : float or None
        [mm]; None: not told.
    """

    length_mm: float | None = None
    width_mm: float | None = None
    thickness_mm: float | None = None

    @property
    def sides(self) -> tuple[float, float, float] | None:
        """Length, width and thickness [mm]; None when one is not told."""
        if self.length_mm is None or self.width_mm is None or self.thickness_mm is None:
            return None
        return self.length_mm, self.width_mm, self.thickness_mm

    @property
    def kilograms(self) -> float | None:
        """Mass at 7800 kg/m3; None when a side is not told.

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

    def words(self) -> str:
        r"""Size in print, or what is to be told.

        >>> CouponSize(60, 10, 2.5).words()
        '60 × 10 × 2.5\xa0mm'
        """
        if self.sides is not None:
            return " × ".join(f"{side:g}" for side in self.sides) + "\u00a0mm"
        missing = [
            f'{_KEYS[name][0]} = "{_EXAMPLES[name]}"'
            for name in _KEYS
            if getattr(self, f"{name}_mm") is None
        ]
        return f"size of a coupon not told: write {listed(missing)} below [steel]"


def coupon_size(study: Study) -> CouponSize:
    """Size of a coupon from ``[steel]``.

    Parameters
    ----------
    study : Study

    Returns
    -------
    CouponSize
        A side that is not told, or has no length that can be read, is None: it is asked for.
    """
    return CouponSize(**{f"{name}_mm": _side(study.steel, keys) for name, keys in _KEYS.items()})


def grams_text(kilograms: float) -> str:
    """Mass in print: grams below a kilogram."""
    if kilograms < 1:
        return f"{number_text(1000 * kilograms, 1 if kilograms < 0.1 else 0)}\u00a0g"
    return f"{number_text(kilograms, 2)}\u00a0kg"


def _side(steel: Mapping[str, object], keys: tuple[str, ...]) -> float | None:
    for key in keys:
        if key in steel:
            try:
                side = parse_quantity(str(steel[key]), "length")
            except UnitError:
                return None
            return side if side > 0 else None
    return None
