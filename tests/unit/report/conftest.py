"""A notebook with every block: one as a careful author writes it, one with hostile words."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
import pytest
from nbformat import NotebookNode
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from quenchbook.errors import QuenchbookWarning
from quenchbook.plots.share_words import ShareWords, ShortVerdict
from quenchbook.report.blocks import (
    Block,
    Bullets,
    Cautions,
    FigureBlock,
    FindingRow,
    FindingRows,
    Headline,
    PageBreak,
    Paragraph,
    Preformatted,
    Quote,
    Run,
    Section,
    Summary,
    from_drawing,
    runs,
    table,
)
from quenchbook.report.from_notebook import report_document
from quenchbook.report.html import html_page
from quenchbook.report.pdf import pdf_bytes

HOSTILE = (
    "<script>alert(1)</script>",
    '#panic("x")',
    '"] #read("/etc/passwd")',
    "$x$ \\ *a* _b_ `c` @d <e>",
    "</style></title></svg><img src=x onerror=alert(2)>",
    "bench \N{FIRE} note",
    "שלום K7TC",
    "w" * 300,
    "bell\x07 nul\x00 turn\u202eback private\ue000",
)

GLYPHS = {
    "exceeds": '<path d="M4 3 L17 10 L4 17 Z" fill="currentColor"/>',
    "slight": '<path d="M16 3 L3 10 L16 17 Z" fill="none" stroke="currentColor" stroke-width="2"/>',
    "equivalent": '<rect x="2" y="2" width="16" height="16" fill="none" stroke="currentColor" '
    'stroke-width="2"/><path d="M6 8H14M6 12H14" stroke="currentColor" stroke-width="2"/>',
    "undecided": '<circle cx="10" cy="10" r="8" fill="none" stroke="currentColor" '
    'stroke-width="2"/><text x="10" y="14" text-anchor="middle" font-family="DejaVu Sans" '
    'font-weight="bold" font-size="11" fill="currentColor">?</text>',
}


def glyph(verdict: str) -> str:
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20">{GLYPHS[verdict]}</svg>'


def gauge(low: float, middle: float, high: float) -> str:
    def x(value: float) -> float:
        return 80 + 53 * value

    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 160 28" width="160" height="28">'
        f'<rect x="{x(-0.5)}" y="1" width="{x(0.5) - x(-0.5)}" height="26" '
        'fill="currentColor" fill-opacity="0.1"/>'
        f'<path d="M{x(-0.5)} 1V27M{x(0.5)} 1V27" stroke="currentColor" stroke-dasharray="1.5 2"/>'
        f'<rect x="{x(low)}" y="6" width="{x(high) - x(low)}" height="16" fill="currentColor" '
        'fill-opacity="0.32"/>'
        f'<path d="M{x(low)} 6V22M{x(high)} 6V22" stroke="currentColor" stroke-width="1.3"/>'
        f'<path d="M{x(middle)} 3V25" stroke="currentColor" stroke-width="3"/></svg>'
    )


@dataclass(frozen=True)
class FakeDrawing:
    """The part of a drawing a report needs."""

    key: str
    finding: str
    reading: str
    notes: tuple[str, ...]
    alt: str
    height: float = 3.2

    def _page(self, kind: str, **options: Any) -> bytes:
        import matplotlib
        from matplotlib.figure import Figure

        rules = {"svg.fonttype": "none", "svg.hashsalt": self.key, "font.size": 9}
        with matplotlib.rc_context(rules):
            figure = Figure((4.6, self.height), facecolor="#FDFCF9", layout="constrained")
            axes = figure.subplots()
            axes.set_facecolor("#FDFCF9")
            x = np.linspace(940, 1030, 40)
            axes.fill_between(x, 63 - ((x - 985) / 60) ** 2, 64 - ((x - 985) / 60) ** 2, alpha=0.15)
            axes.plot(x, 63.5 - ((x - 985) / 60) ** 2, label="dry ice")
            axes.set_title("Hardness, HRC", loc="left", fontsize=9.5)
            axes.set_xlabel("Austenitize, °C", loc="right")
            page = io.BytesIO()
            figure.savefig(page, format=kind, **options)
        return page.getvalue()

    def to_frame(self) -> pd.DataFrame:
        return pd.DataFrame({"coupon": ["A2K"], "value": [61.25]})

    def svg(self) -> str:
        return self._page("svg", metadata={"Date": None}).decode()

    def png(self) -> bytes:
        return self._page("png", dpi=60)


def shown_by(*blocks: Block, tags: tuple[str, ...] = ()) -> NotebookNode:
    """Code cell whose outputs are the blocks."""
    cell = new_code_cell("qb.report(...)", metadata={"tags": list(tags)})
    for block in blocks:
        bundle = block._repr_mimebundle_()
        cell.outputs.append(new_output("display_data", data=bundle))
    return cell


def notebook_of(*cells: NotebookNode, **details: Any) -> NotebookNode:
    for number, cell in enumerate(cells):
        cell["id"] = f"cell-{number}"
    return new_notebook(cells=list(cells), metadata={"quenchbook": details})


def careful_notebook() -> NotebookNode:
    """A report as it is meant to be."""
    rng = np.random.default_rng(7)
    coupons = pd.DataFrame(
        {
            "coupon": [f"K{n:03d}" for n in range(70)],
            "furnace_load": np.repeat(np.arange(1, 8), 10),
            "cold_route": np.resize(["none", "dry_ice", "freezer"], 70),
            "delay_minutes": np.resize([np.nan, 60.0, 1440.0], 70),
            "hardness_hrc": 62 + rng.normal(size=70),
        }
    )
    contrasts = pd.DataFrame(
        {
            "contrast": ["dry ice less no cold step", "liquid nitrogen less dry ice"],
            "estimate": [0.94, -0.04],
            "std_error": [0.125, np.nan],
        }
    )
    drawing = FakeDrawing(
        "response_curves",
        "Colder routes peak at a hotter austenitize.",
        "Each mark is a coupon; each tie is one furnace load. Band: 95\u00a0% interval of the "
        "curve. An arrow means the interval runs past the temperatures tried.",
        ("Means over an even mix of tempers", "Mixed model; strata: load, cold batch, coupon"),
        "Hardness against austenitize temperature for four cold routes; 96 coupons in 12 furnace "
        "loads. Peak 956 °C without a cold step, 1000 °C with dry ice. Nothing unusual.",
    )
    second = FakeDrawing("noise", "Loads differ by 0.3 HRC.", "Ticks are indents.", (), "Noise.")
    return notebook_of(
        new_markdown_cell("# Does dry ice move the hardness peak of A2?"),
        shown_by(
            Headline(
                "Does dry ice move the hardness peak of A2?",
                "A. Writer, 14 January 2026. 96 coupons, 12 furnace loads, 3 days.",
                runs(
                    Run("Yes, by 44\u00a0°C", strong=True),
                    " (95\u00a0% interval 25 to 114\u00a0°C), from 956 to 1000\u00a0°C",
                    Run(".", note="Peak of the fitted curve; see the model."),
                    " Liquid nitrogen and dry ice agree within the margin of 0.5\u00a0HRC.",
                ),
                invented=True,
            ),
            FindingRows(
                (
                    FindingRow("exceeds", glyph("exceeds"), gauge(0.69, 0.94, 1.19),
                               "Dry ice makes it harder", "+0.94\u00a0HRC", "0.69 to 1.19"),
                    FindingRow("slight", glyph("slight"), gauge(-0.29, -0.23, -0.18),
                               "A temper 10 °C hotter softens it", "−0.23\u00a0HRC",
                               "−0.29 to −0.18"),
                    FindingRow("equivalent", glyph("equivalent"), gauge(-0.29, -0.04, 0.22),
                               "Liquid nitrogen and dry ice", "−0.04\u00a0HRC", "−0.29 to 0.22"),
                    FindingRow("undecided", glyph("undecided"), gauge(-0.11, 0.26, 0.63),
                               "The freezer at 970 °C; eight more coupons would decide it",
                               "+0.26\u00a0HRC", "−0.11 to 0.63"),
                )
            ),
        ),
        new_markdown_cell("## The curves\n\nHardness **rises**, then *falls*. "
            "See [the model](#The-model)."),
        shown_by(from_drawing(drawing)),
        new_markdown_cell(
            "## The model\n\nLoads are [strata](https://example.org/strata). `load_sd` is 0.3.\n\n"
            "- one\n  - under one\n- two\n\n1. first\n2. second\n\n> Words of a bench hand.\n\n"
            "| route | coupons |\n|---|--:|\n| none | 24 |\n| dry ice | 24 |\n\n"
            "### Noise\n\n$x^2$ stays."
        ),
        shown_by(
            from_drawing(second),
            table(contrasts, key="contrasts", caption="Differences of marginal means.",
                  units={"estimate": "HRC", "std_error": "HRC"}, decimals=2, missing="not known",
                  notes=("Satterthwaite degrees of freedom.",)),
            Cautions("Before you begin",
                     ("Quench oil burns.", "Local codes and licensed practice come first.")),
            Quote((("Two paragraphs.",), ("Of somebody else.",))),
            Bullets((("a point",), runs("a ", Run("strong", strong=True), " point"))),
            Preformatted("plain output\n  of a cell"),
        ),
        shown_by(Paragraph("Only for those who paid for the steel."), tags=("supporters",)),
        shown_by(PageBreak(), tags=("appendix",)),
        new_markdown_cell("## Appendix", metadata={"tags": ["appendix"]}),
        shown_by(
            table(coupons, key="coupons", caption="Every coupon.", decimals={"hardness_hrc": 1}),
            tags=("appendix",),
        ),
        author="A. Writer", date="2026-01-14", study="Plane irons, A2",
        foot="Plan 5f2c91ab",
    )  # fmt: skip


def summary_saying(words: str) -> Summary:
    """Summary with the same words everywhere, without a figure."""
    verdicts = (ShortVerdict(words, "undecided", -1, words),) * 3
    share = ShareWords(words, words, words, verdicts, words, words)
    return Summary(share, words, words, words, words)


def hostile_notebook() -> NotebookNode:
    """Hostile words in every field of every block."""
    words = " ".join(HOSTILE)
    drawing = FakeDrawing(words, words, words, HOSTILE, words)
    frame = pd.DataFrame({"note": list(HOSTILE), words: np.arange(len(HOSTILE)) - 1.5})
    evil_svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 20" onload="alert(3)">'
        "<script>alert(4)</script><style>*{display:none}</style>"
        '<image href="https://example.org/x.png"/><a href="javascript:alert(5)"><text>a</text></a>'
        '<foreignObject><p xmlns="http://www.w3.org/1999/xhtml">p</p></foreignObject>'
        '<rect id="r" width="9" height="9" fill="url(https://example.org/#p)" onclick="x()"/></svg>'
    )
    row = FindingRow(words, evil_svg, evil_svg, words, words, words)
    markdown = "\n\n".join(
        [*HOSTILE[:7], "[go](javascript:alert(6)) <b onclick=x>b</b>", HOSTILE[7]]
    )
    output = new_output(
        "display_data", data={"text/html": "<script>alert(7)</script>", "text/plain": words}
    )
    plain = new_code_cell(words, outputs=[output])
    return notebook_of(
        shown_by(
            Headline(words, words,
                     (words, Run(words, note=words), Run("x", link="javascript:x")), True),
            FindingRows((row, row)),
            Section(words, 2),
            Paragraph(words),
            Bullets(tuple((word,) for word in HOSTILE), below=(Bullets(((words,),)),)),
            Quote(((words,),)),
            Preformatted(words),
            from_drawing(drawing),
            FigureBlock("only png", "", base64.b64encode(drawing.png()).decode(), words, alt=words),
            table(frame, key=words, caption=words, units={words: words}, notes=HOSTILE),
            Cautions(words, HOSTILE),
            summary_saying(words),
        ),
        new_markdown_cell(markdown),
        plain,
        author=words, study=words, foot=words,
    )  # fmt: skip


@pytest.fixture(scope="session")
def careful() -> NotebookNode:
    return careful_notebook()


@pytest.fixture(scope="session")
def hostile() -> NotebookNode:
    return hostile_notebook()


@pytest.fixture(scope="session")
def careful_page(careful: NotebookNode) -> str:
    return html_page(report_document(careful))


@pytest.fixture(scope="session")
def hostile_page(hostile: NotebookNode) -> str:
    return html_page(report_document(hostile))


@pytest.fixture(scope="session")
def careful_pdf(careful: NotebookNode) -> bytes:
    return pdf_bytes(report_document(careful))


@pytest.fixture(scope="session")
def hostile_pdf(hostile: NotebookNode) -> bytes:
    with pytest.warns(QuenchbookWarning, match=r"U\+1F525"):
        return pdf_bytes(report_document(hostile))


@pytest.fixture(scope="session")
def hostile_words() -> tuple[str, ...]:
    return HOSTILE


@pytest.fixture
def notebook_showing() -> Callable[..., NotebookNode]:
    """Make a notebook that shows blocks after a headline."""

    def made(*blocks: Block, **details: Any) -> NotebookNode:
        return notebook_of(shown_by(Headline("Is it so?"), *blocks), **details)

    return made


@pytest.fixture(scope="session")
def drawn() -> FigureBlock:
    return from_drawing(FakeDrawing("one", "It is so.", "A mark is a coupon.", (), "Words."))
