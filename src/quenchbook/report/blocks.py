"""The blocks a report is made of: what an analysis hands to a page, as plain data.

A block shows itself in JupyterLab and carries itself, as JSON, in the output of its cell. The two
exporters read that JSON and nothing else, so HTML and PDF hold the same words.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Final, Protocol

from quenchbook.errors import ReportError
from quenchbook.plots.share_words import ShareWords
from quenchbook.report.block_json import decoded, encoded

if TYPE_CHECKING:
    import pandas as pd

MIME: Final = "application/vnd.quenchbook.v1+json"


@dataclass(frozen=True)
class Run:
    """A piece of text in one style; `note` becomes a footnote, `link` a link.

    With `math` the text is a formula in TeX: ``inline`` in the line, ``display`` on one of its own.
    """

    text: str
    strong: bool = False
    emphasis: bool = False
    note: str | None = None
    code: bool = False
    link: str | None = None
    math: str = ""

    def __post_init__(self) -> None:
        if self.math not in ("", "inline", "display"):
            raise ReportError(f"A formula is inline or display, not '{self.math}'.")

    @property
    def written(self) -> str:
        """The text as its author wrote it: a formula stands between dollars."""
        mark = {"": "", "inline": "$", "display": "$$"}[self.math]
        return f"{mark}{self.text}{mark}"


Runs = tuple[str | Run, ...]


def runs(*parts: str | Run) -> Runs:
    """Pieces of text in one sentence: ``runs("Yes, by ", Run("44 °C", strong=True))``."""
    return parts


def plain_text(parts: Runs) -> str:
    """The words of runs without style or notes."""
    return "".join(part if isinstance(part, str) else part.written for part in parts)


@dataclass(frozen=True)
class Block:
    """What every block can do: go to JSON, come back, show itself."""

    kind: ClassVar[str] = ""

    def to_json(self) -> dict[str, Any]:
        """Plain data, ready for ``json.dumps``."""
        return {"kind": self.kind, **encoded(self)}

    def _repr_mimebundle_(self, **_of_jupyter: Any) -> dict[str, Any]:
        from quenchbook.report.inline_view import inline_html, inline_text

        return {
            MIME: self.to_json(),
            "text/html": inline_html(self),
            "text/plain": inline_text(self),
        }


@dataclass(frozen=True)
class Headline(Block):
    """The question, who asked it with how much steel, and the answer with its interval."""

    kind: ClassVar[str] = "headline"
    question: str
    byline: str = ""
    answer: Runs = ()
    invented: bool = False

    def __post_init__(self) -> None:
        _keep_runs(self, "answer")


@dataclass(frozen=True)
class FindingRow:
    """One finding: verdict with glyph, statement, gauge, estimate and interval.

    `link` leads from the statement to the place that shows it.
    """

    verdict: str
    glyph_svg: str
    gauge_svg: str
    statement: str
    estimate_text: str
    interval_text: str
    link: str = ""


@dataclass(frozen=True)
class FindingRows(Block):
    """The findings, one ruled row each; `reading` says how to read their gauges."""

    kind: ClassVar[str] = "finding_rows"
    rows: tuple[FindingRow, ...]
    reading: str = ""


@dataclass(frozen=True)
class Section(Block):
    """A heading; the headline is level 1. Links lead to `anchor`, or else to its title."""

    kind: ClassVar[str] = "section"
    title: str
    level: int = 2
    anchor: str = ""


@dataclass(frozen=True)
class Paragraph(Block):
    """A paragraph; a line end in its text is a line end on the page."""

    kind: ClassVar[str] = "paragraph"
    runs: Runs

    def __post_init__(self) -> None:
        _keep_runs(self, "runs")


@dataclass(frozen=True)
class Bullets(Block):
    """A list; `below` holds the list under each item, or nothing."""

    kind: ClassVar[str] = "bullets"
    items: tuple[Runs, ...]
    ordered: bool = False
    below: tuple[Bullets | None, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "items", tuple(map(_as_runs, self.items)))


@dataclass(frozen=True)
class Quote(Block):
    """Words of somebody else, by paragraphs."""

    kind: ClassVar[str] = "quote"
    paragraphs: tuple[Runs, ...]


@dataclass(frozen=True)
class Preformatted(Block):
    """Code, or an output that has only a plain text."""

    kind: ClassVar[str] = "preformatted"
    text: str
    is_code: bool = False


@dataclass(frozen=True)
class FigureBlock(Block):
    """A picture with its caption in three parts, its alternative text and the numbers behind it."""

    kind: ClassVar[str] = "figure"
    key: str
    svg: str
    png_base64: str
    finding: str
    reading: str = ""
    notes: tuple[str, ...] = ()
    alt: str = ""
    data_csv: str = ""
    bitmap: str = "png"
    """What `png_base64` really holds: ``png``, or ``jpeg`` for a photograph."""

    def __post_init__(self) -> None:
        if self.bitmap not in ("png", "jpeg"):
            raise ReportError(f"A bitmap is png or jpeg, not '{self.bitmap:.20}'.")


@dataclass(frozen=True)
class Column:
    """Head of a table column; numbers of one column have the same decimals."""

    title: str
    unit: str = ""
    align: str = "left"
    decimals: int | None = None

    def __post_init__(self) -> None:
        if self.align not in ("left", "right"):
            raise ReportError(f"A column is aligned left or right, not '{self.align}'.")


@dataclass(frozen=True)
class TableBlock(Block):
    """A table of texts that are already written for people."""

    kind: ClassVar[str] = "table"
    key: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for number, row in enumerate(self.rows, start=1):
            if len(row) != len(self.columns):
                raise ReportError(
                    f"Table '{self.key}' row {number} has {len(row)} cells, "
                    f"expected {len(self.columns)}."
                )


@dataclass(frozen=True)
class Cautions(Block):
    """What can hurt somebody, and who has the last word on it."""

    kind: ClassVar[str] = "cautions"
    title: str
    items: tuple[str, ...]


@dataclass(frozen=True)
class Summary(Block):
    """What the one-page summary and the share pictures are made from; no page of a report shows it.

    Attributes
    ----------
    words : ShareWords
        What share pictures say.
    counts, holds_for, not_told, plan : str
        Coupons, loads and readings; the inference space in one line; what cannot be told in one
        line; study and plan hash.
    """

    kind: ClassVar[str] = "summary"
    words: ShareWords
    counts: str
    holds_for: str
    not_told: str
    plan: str


@dataclass(frozen=True)
class PageBreak(Block):
    """What follows starts on a new sheet when it is printed."""

    kind: ClassVar[str] = "page_break"


KINDS: Final[Mapping[str, type[Block]]] = {
    kind.kind: kind
    for kind in (
        Headline, FindingRows, Section, Paragraph, Bullets, Quote, Preformatted,
        FigureBlock, TableBlock, Cautions, PageBreak, Summary,
    )
}  # fmt: skip


def from_json(data: Any) -> Block:
    """Block from the plain data that `Block.to_json` made; ReportError if it does not fit."""
    kind = KINDS.get(data.get("kind", "")) if isinstance(data, dict) else None
    if kind is None:
        raise ReportError(
            f"A report block of an unknown kind: {data!r:.60}. It may come from a newer quenchbook."
        )
    block = decoded(data, kind, kind.kind)
    assert isinstance(block, Block)  # decoded() returned an instance of `kind`
    return block


class DrawnFigure(Protocol):
    """What a drawing of `quenchbook.plots` offers to a report."""

    @property
    def key(self) -> str:
        """Short name."""

    @property
    def finding(self) -> str:
        """Bold sentence of the caption."""

    @property
    def reading(self) -> str:
        """How to read the marks."""

    @property
    def notes(self) -> tuple[str, ...]:
        """Notes of the result."""

    @property
    def alt(self) -> str:
        """Alternative text."""

    def to_frame(self) -> pd.DataFrame:
        """Numbers behind the picture."""

    def svg(self) -> str:
        """Picture as SVG."""

    def png(self) -> bytes:
        """Picture as PNG."""


def from_drawing(drawing: DrawnFigure) -> FigureBlock:
    """Figure of a report from a drawing of `quenchbook.plots`."""
    return FigureBlock(
        key=drawing.key,
        svg=drawing.svg(),
        png_base64=base64.b64encode(drawing.png()).decode("ascii"),
        finding=drawing.finding,
        reading=drawing.reading,
        notes=tuple(drawing.notes),
        alt=drawing.alt,
        data_csv=drawing.to_frame().to_csv(index=False, lineterminator="\n"),
    )


def table(
    frame: pd.DataFrame,
    *,
    key: str,
    caption: str,
    titles: Mapping[str, str] | None = None,
    units: Mapping[str, str] | None = None,
    decimals: Mapping[str, int] | int | None = None,
    notes: Sequence[str] = (),
    missing: str = "",
) -> TableBlock:
    """Table of a report from a data frame, its numbers written for people.

    See `quenchbook.report.table_cells.table_block`, which does it.
    """
    from quenchbook.report.table_cells import table_block

    return table_block(
        frame, key=key, caption=caption, titles=titles, units=units, decimals=decimals,
        notes=notes, missing=missing,
    )  # fmt: skip


def _keep_runs(block: Block, name: str) -> None:
    """Take a plain text for runs: a text is also a sequence, of its letters."""
    object.__setattr__(block, name, _as_runs(getattr(block, name)))


def _as_runs(value: str | Iterable[str | Run]) -> Runs:
    return (value,) if isinstance(value, str) else tuple(value)
