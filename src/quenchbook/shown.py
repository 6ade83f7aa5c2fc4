"""How every result shows itself: the finding first, then the table, then what belongs to it.

A result says what it found, once, as a `Shown`; the forms for a terminal and for a notebook are
made from that in one place, so that all results look alike.
"""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from html import escape
from typing import TYPE_CHECKING, Any, Final

from quenchbook.made_by import Made, MadeBy, made_by
from quenchbook.references import Citation, cite
from quenchbook.written_table import Column, WrittenTable, joined, written_table

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Shown:
    """What a person sees of a result.

    Attributes
    ----------
    finding : str
        One sentence.
    table : DataFrame or None
        The numbers behind it, at full precision; they are rounded where they are written.
    notes : tuple of str
        What a reader must know.
    method : tuple of str
        Test, strata, degrees of freedom.
    listings : mapping of title to DataFrame
        Long tables, such as all coupons: folded in a notebook, left out of the text.
    confidence : float or None
        Confidence level of the limits in the table.
    unit : str
        Of the estimates, where it limits how many decimals help.
    """

    finding: str
    table: pd.DataFrame | None = None
    notes: tuple[str, ...] = ()
    method: tuple[str, ...] = ()
    listings: Mapping[str, pd.DataFrame] = field(default_factory=dict)
    confidence: float | None = None
    unit: str = ""

    def written(self) -> WrittenTable | None:
        """Table as people read it; None where there is none."""
        if self.table is None or self.table.empty:
            return None
        return written_table(self.table, confidence=self.confidence, unit=self.unit)

    def text(self) -> str:
        """Finding, table, notes and method as lines."""
        table = self.written()
        return joined([self.finding, *(table.lines() if table else []), *self.notes, *self.method])


class ShowsItself(Made):
    """What all results have in common; a result tells `shown`, or `summary` if it is only words."""

    def shown(self) -> Shown:
        """What a person sees of it, to be written as text or for a notebook."""
        finding, *notes = self.summary().split("\n")
        return Shown(finding, notes=tuple(notes), listings=self.listings())

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title, shown folded in a notebook."""
        return {}

    def summary(self) -> str:
        """The finding, then the table, then notes."""
        return self.shown().text()

    def plot(self, **options: Any) -> Any:
        """Draw the figure of this result; options are those of `quenchbook.plot`.

        Raises
        ------
        ReportError
            If results of this kind have no figure; it says which have one.
        """
        # The one exception to "numbers need no drawing code": the door of the package is opened by
        # its name, when a person asks for a figure, so that no result knows the figures.
        return importlib.import_module("quenchbook").plot(self, **options)

    @property
    def made_by(self) -> MadeBy:
        """Versions of the programs, plan and seeds that this result comes from."""
        return made_by(self)

    def cite(self) -> Citation:
        """Published sources of the method, as `quenchbook.cite` tells them."""
        return cite(self)

    def __str__(self) -> str:
        return self.summary()

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text("..." if cycle else self.summary())

    def _repr_html_(self) -> str:
        return html_of(self.shown(), self.made_by, self.cite())


# --- in a notebook -------------------------------------------------------------------------------

# Colours and faces are those of the page, so the light and the dark theme both fit; styles stand on
# the elements because a notebook that is not trusted loses its style sheets.
_RULE: Final = "1px solid var(--jp-border-color2, rgba(128, 128, 128, 0.4))"
_CELL: Final = "padding:2px 14px 2px 0;vertical-align:top;background:none;white-space:normal;"
_WORDS: Final = _CELL + "text-align:left;max-width:34em;"
_DIGITS: Final = _CELL + "text-align:right;font-variant-numeric:tabular-nums;white-space:nowrap;"
_SENTENCE: Final = 28  # letters from which on a cell needs room to be read
_QUIET: Final = "margin:2px 0;max-width:46em;"


def html_of(shown: Shown, made: MadeBy, sources: Citation) -> str:
    """A result for a notebook; everything that came from a file is escaped.

    Parameters
    ----------
    shown : Shown
    made : MadeBy
    sources : Citation
        References of the method.
    """
    parts = [finding_html(shown.finding)]
    table = shown.written()
    if table is not None:
        parts.append(_table(table, "Numbers of this result"))
    for title, frame in shown.listings.items():
        if len(frame):
            parts.append(_folded(f"{title} ({len(frame)})", _table(written_table(frame), title)))
    # Three notes are read where they stand; more of them would push the next cell off the page.
    if shown.notes:
        notes = "".join(f'<p style="{_QUIET}">{escape(note)}</p>' for note in shown.notes)
        count = len(shown.notes)
        parts.append(_folded(f"Notes ({count})", notes, is_open=count <= 3))
    parts.append(_folded("Method", _lines(shown.method)) if shown.method else "")
    parts.append(origin_html(made, sources))
    return f'<div class="quenchbook-result">{"".join(parts)}</div>'


def finding_html(words: str) -> str:
    """The sentence that stands first."""
    return f'<p style="max-width:46em"><strong>{escape(words)}</strong></p>'


def origin_html(made: MadeBy, sources: Citation) -> str:
    """References, and how a result was computed, folded; they stand last."""
    return _folded("References", _lines(sources.lines())) + _folded(
        "How this was computed", _lines(made.lines())
    )


@dataclass(frozen=True, eq=False, repr=False)
class ShownTable:
    """A data frame as people read it; see `shown_table`.

    Attributes
    ----------
    frame : DataFrame
    caption : str
    """

    frame: pd.DataFrame
    caption: str

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table at full precision."""
        return self.frame.copy()

    def summary(self) -> str:
        """The caption, then the table."""
        return joined([self.caption, *written_table(self._rows()).lines()])

    def _rows(self) -> pd.DataFrame:
        """The frame with its row labels as columns, where they say something."""
        index = self.frame.index
        told = index.nlevels > 1 or index.name is not None or index.dtype == object
        return self.frame.reset_index() if told else self.frame

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<ShownTable: {len(self.frame)} rows>"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text("..." if cycle else self.summary())

    def _repr_html_(self) -> str:
        table = written_table(self._rows())
        if not table.rows:
            return f'<div class="quenchbook-result">{_lines([f"{self.caption}: nothing."])}</div>'
        heads = [f"{own.head}: {own.meaning}." for own in table.columns if own.meaning]
        meanings = _folded("What the columns mean", _lines(heads)) if heads else ""
        return (
            f'<div class="quenchbook-result">{_lines([self.caption])}'
            f"{_table(table, self.caption)}{meanings}</div>"
        )


def shown_table(frame: pd.DataFrame, caption: str) -> ShownTable:
    """Show a table of numbers for people: rounded, its columns explained below it.

    Parameters
    ----------
    frame : DataFrame
        Any table of quenchbook or of your own; it is not changed.
    caption : str
        What the table shows.

    Returns
    -------
    ShownTable
        Shows itself at the end of a cell; `to_frame` gives the numbers at full precision.

    Examples
    --------
    >>> import pandas as pd
    >>> print(shown_table(pd.DataFrame({"term": ["delay"], "df_error": [72.0]}), "Error df"))
    Error df
    term   df error
    delay        72
    """
    return ShownTable(frame, caption)


def _lines(lines: list[str] | tuple[str, ...]) -> str:
    return "".join(f'<p style="{_QUIET}">{escape(line)}</p>' for line in lines)


def _folded(title: str, content: str, *, is_open: bool = False) -> str:
    return (
        f'<details style="margin:2px 0"{" open" if is_open else ""}>'
        f'<summary style="cursor:pointer">{escape(title)}</summary>'
        f'<div style="margin:2px 0 6px 1.1em">{content}</div></details>'
    )


def _table(table: WrittenTable, caption: str) -> str:
    heads = "".join(_head(own) for own in table.columns)
    rows = []
    for row in table.rows:
        cells = [
            f'<td style="{_DIGITS if own.is_number else _WORDS}">{_marked(own.head, cell)}</td>'
            for cell, own in zip(row, table.columns, strict=True)
        ]
        if not table.columns[0].is_number:  # what a row is about, for those who hear the table
            cells[0] = f'<th scope="row" style="{_WORDS}font-weight:normal">{escape(row[0])}</th>'
        rows.append(f"<tr>{''.join(cells)}</tr>")
    hidden = "position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)"
    return (
        '<div style="overflow-x:auto" role="group" tabindex="0" '  # a wide one moves by the keys
        f'aria-label="{escape(caption)}">'
        '<table style="border-collapse:collapse;margin:4px 0">'
        f'<caption><span style="{hidden}">{escape(caption)}</span></caption>'
        f'<thead><tr style="border-bottom:{_RULE}">{heads}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>{_lines(table.more())}"
    )


def _marked(head: str, cell: str) -> str:
    """Cell, escaped; a verdict is read first, so it is bold."""
    return f"<b>{escape(cell)}</b>" if head == "verdict" else escape(cell)


def _head(own: Column) -> str:
    title = f' title="{escape(own.meaning)}"' if own.meaning else ""
    style = _DIGITS.replace("nowrap", "normal") if own.is_number else _WORDS
    if not own.is_number and max(map(len, own.cells), default=0) > _SENTENCE:
        style += (
            "min-width:16em;"  # else many numbers beside it press a sentence to one word a line
        )
    return f'<th scope="col" style="{style}font-weight:bold"{title}>{escape(own.head)}</th>'
