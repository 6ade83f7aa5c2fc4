"""Stretches of a tested range: certain, possible, excluded."""

from __future__ import annotations

from typing import Final

import pandas as pd

from quenchbook.fit.fitted_curve import FittedCurve
from quenchbook.fit.inversion import Piece, hull
from quenchbook.shown import Shown, ShowsItself
from quenchbook.units import listed

ZONES: Final = ("certain", "possible", "excluded")


class Zones(ShowsItself):
    """What results with zones can say of themselves.

    Attributes
    ----------
    certain, possible, excluded : tuple of (float, float)
        Stretches of the tested range [storage unit of the factor].
    """

    certain: tuple[Piece, ...]
    possible: tuple[Piece, ...]
    excluded: tuple[Piece, ...]
    notes: tuple[str, ...]
    curve: FittedCurve

    @property
    def not_excluded(self) -> Piece:
        """Hull of what is certain or possible."""
        return hull([*self.certain, *self.possible])

    def to_frame(self) -> pd.DataFrame:
        """Return the stretches: ``zone, from_place, to_place``."""
        rows = [
            {"zone": zone, "from_place": first, "to_place": last}
            for zone in ZONES
            for first, last in getattr(self, zone)
        ]
        return pd.DataFrame(rows, columns=["zone", "from_place", "to_place"])

    def shown(self) -> Shown:
        """What is certain and what is possible, then the stretches."""
        parts = [f"{zone} {self._ranges(zone)}" for zone in ZONES if getattr(self, zone)]
        return Shown(
            f"{self.what()}: {'; '.join(parts) or 'nowhere'}.", self.to_frame(), self.notes
        )

    def what(self) -> str:
        """What the zones are about, as a sentence begins with it."""
        return "Zones"

    def _ranges(self, zone: str) -> str:
        return listed([self.curve.range_word(*own) for own in getattr(self, zone)])
