"""What a reading of a response can be: limits that catch a slip of the pen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from quenchbook.study.definition import Response
from quenchbook.units import convert, is_energy

LOWEST_HRC: Final = 0.0
HIGHEST_HRC: Final = 70.0  # common practice, no source: nothing hardened by heat reads higher
HIGHEST_IMPACT_J: Final = 1000.0  # common practice, no source: more than pendulums hold


@dataclass(frozen=True)
class Limits:
    """What a reading can be.

    Attributes
    ----------
    low, high : float
        Limits in the unit of the response.
    low_is_in : bool
        Whether the lower limit itself is plausible.
    words : str
        The limits in words: ``0 to 70``.
    """

    low: float
    high: float
    low_is_in: bool
    words: str

    def holds(self, value: float) -> bool:
        """Whether a value is plausible."""
        return (self.low <= value if self.low_is_in else self.low < value) and value <= self.high


def plausible(response: Response) -> Limits:
    """Limits of a reading of this response."""
    if response.unit == "HRC":
        return Limits(LOWEST_HRC, HIGHEST_HRC, True, f"{LOWEST_HRC:g} to {HIGHEST_HRC:g}")
    if response.kind == "impact" and is_energy(response.unit):
        most = HIGHEST_IMPACT_J / convert(1.0, response.unit, "energy")
        return Limits(0.0, most, False, f"above 0, up to {most:.4g}")
    if response.kind != "other" or response.scale == "log":
        return Limits(0.0, float("inf"), False, "above 0")
    return Limits(float("-inf"), float("inf"), True, "a number")
