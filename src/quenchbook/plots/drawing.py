"""A figure with its caption, its alternative text and the numbers behind it."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from html import escape

import pandas as pd
from matplotlib.figure import Figure

from quenchbook.plots.style import PAPER, drawing_rules


@dataclass(frozen=True, eq=False, repr=False)
class Drawing:
    """One finished figure.

    Attributes
    ----------
    key : str
        Short name, such as ``coupon_matrix``.
    figure : Figure
    finding : str
        What the figure shows, as a sentence: the bold part of the caption, without a number.
    reading : str
        How to read marks, ties and bands.
    notes : tuple of str
        Notes of the result.
    alt : str
        Alternative text, 40 to 400 characters.
    data : DataFrame
        The numbers behind the figure.
    """

    key: str
    figure: Figure
    finding: str
    reading: str
    notes: tuple[str, ...]
    alt: str
    data: pd.DataFrame

    def svg(self, *, white: bool = False) -> str:
        """Return the figure as SVG text, the same bytes each time.

        Parameters
        ----------
        white : bool
            White ground for a printed page in place of paper.
        """
        page = io.BytesIO()
        rules = {"svg.hashsalt": f"quenchbook {self.key}", "svg.fonttype": "none"}
        with drawing_rules(**rules):
            self.figure.savefig(
                page, format="svg", facecolor="white" if white else PAPER, metadata={"Date": None}
            )
        return page.getvalue().decode("utf-8")

    def png(self, dpi: int = 200) -> bytes:
        """Return the figure as PNG bytes.

        Parameters
        ----------
        dpi : int
            Dots for each inch.
        """
        page = io.BytesIO()
        with drawing_rules():
            self.figure.savefig(page, format="png", dpi=dpi, facecolor=PAPER)
        return page.getvalue()

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the numbers behind the figure."""
        return self.data.copy()

    def caption(self) -> str:
        """Return the caption as plain text: finding, reading, notes."""
        return " ".join(part for part in (self.finding, self.reading, *self.notes) if part)

    def __repr__(self) -> str:
        return f"<Drawing {self.key}: {self.finding}>"

    def _repr_mimebundle_(self, **_: object) -> dict[str, str]:
        source = base64.b64encode(self.png()).decode("ascii")
        notes = "".join(f"<br><small>{escape(note)}</small>" for note in self.notes)
        html = (
            f'<figure style="max-width:460px"><img alt="{escape(self.alt)}" style="max-width:100%"'
            f' src="data:image/png;base64,{source}"><figcaption><strong>{escape(self.finding)}'
            f"</strong> {escape(self.reading)}{notes}</figcaption></figure>"
        )
        return {"text/html": html, "text/plain": self.alt}
