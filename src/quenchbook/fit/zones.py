"""Stretches of a tested range: certain, possible, excluded."""

from __future__ import annotations

from typing import Final

import pandas as pd

from quenchbook.fit.inversion import Piece, hull

ZONES: Final = ("certain", "possible", "excluded")


class Zones:
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

    def summary(self) -> str:
        """Show the stretches."""
        return "\n".join([self.to_frame().round(2).to_string(index=False), *self.notes])

    def _repr_html_(self) -> str:
        from html import escape

        notes = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        return self.to_frame().round(2).to_html(index=False, border=0, na_rep="") + notes
