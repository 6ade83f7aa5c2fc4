"""What stands in the filled places of pages: tables from the code's own data, never typed again."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from importlib import resources
from typing import Final

from quenchbook.errors import Problem, ReportError
from quenchbook.handbook.docstrings import doc_runs, doc_sections
from quenchbook.handbook.own_blocks import Definition, Definitions
from quenchbook.report.blocks import Block, Cautions, Column, Paragraph, Run, TableBlock
from quenchbook.units import NO_BREAK, number_text

COLUMN_ANCHOR: Final = "column-"
_JUDGED: Final = {
    "together": "one level shared by all questions",
    "each": "each question on its own",
}


def filled(name: str, *, where: str) -> list[Block]:
    """Blocks of a filled place.

    Parameters
    ----------
    name : str
        ``measured_rates``, ``glossary_columns``, ``cautions``, ``verdicts`` or ``references``.
    where : str
        Name of the page, for messages.
    """
    if name not in _PLACES:
        raise ReportError(
            Problem(
                where,
                f"'{{{{ {name} }}}}' is not known",
                f"Write one of: {', '.join(_PLACES)}, gallery.",
            )
        )
    return _PLACES[name]()


def measured_rates_blocks() -> list[Block]:
    """How often a sentence was false in simulated studies, as measured."""
    from quenchbook.report.measured_rates import FILE

    text = resources.files("quenchbook.report").joinpath(FILE).read_text(encoding="utf-8")
    measured = json.loads(text)
    percent = f"{NO_BREAK}%"
    rows = tuple(
        (
            _JUDGED[row["level"]],
            str(row["what"]),
            number_text(100 * row["rate"], 1) + percent,
            f"{number_text(100 * row['low'], 1)} to {number_text(100 * row['high'], 1)}{percent}",
            f"{row['of']:,}",
        )
        for row in measured["rows"]
    )
    columns = (
        Column("judged with"),
        Column("what was counted"),
        Column("rate", align="right"),
        Column(f"{100 * measured['confidence']:g}{percent} limits", align="right"),
        Column("of", align="right"),
    )
    caption = (
        f"How often it happened in {measured['studies']:,} simulated studies with "
        f"{measured['questions']:,} questions at {100 * measured['confidence']:g}{percent}"
    )
    note = (
        f"Measured with quenchbook {measured['version']} ({measured['measured']}) by "
        f"{measured['command']}."
    )
    return [TableBlock("measured-rates", caption, columns, rows, notes=(note,))]


def glossary_columns_blocks() -> list[Block]:
    """Every column of our tables, its meaning and unit."""
    from quenchbook.columns import GLOSSARY

    entries = tuple(
        Definition(
            name,
            ((meaning,),),
            aside=unit,
            anchor=f"{COLUMN_ANCHOR}{name}",
            is_code=True,
            sort="column",
        )
        for name, (meaning, unit) in sorted(GLOSSARY.items())
    )
    return [Definitions(entries, name="Columns of tables")]


def cautions_blocks() -> list[Block]:
    """The usual cautions for every hazard, and who has the last word."""
    from quenchbook.bench.safety import CAUTIONS, LAST_WORD

    blocks: list[Block] = [Paragraph((Run(LAST_WORD, strong=True),))]
    blocks += [
        Cautions(own.hazard, (*own.sentences, f"Source: {_sentence(own.source)}"))
        for own in CAUTIONS.values()
    ]
    return blocks


def verdicts_blocks() -> list[Block]:
    """The five verdicts and what each means."""
    from quenchbook.findings.verdicts import MEANINGS

    rows = tuple((word, meaning) for word, meaning in MEANINGS.items())
    columns = (Column("verdict"), Column("meaning"))
    return [TableBlock("verdicts", "The five verdicts", columns, rows)]


def references_blocks() -> list[Block]:
    """Published sources, as the docstrings of the public names give them."""
    import quenchbook

    found: dict[str, list[str]] = {}
    for name in sorted(set(quenchbook.__all__) - {"__version__"}):
        for section in doc_sections(getattr(quenchbook, name).__doc__ or ""):
            if section.title == "References":
                for source in _sources(section.lines):
                    found.setdefault(source, []).append(name)
    entries = tuple(
        Definition(", ".join(names), (doc_runs(source),), is_code=True)
        for source, names in sorted(found.items(), key=lambda own: own[1])
    )
    return [Definitions(entries, name="References")]


def _sources(lines: tuple[str, ...]) -> list[str]:
    paragraphs = re.split(r"\n\s*\n", "\n".join(lines).strip())
    return [" ".join(own.split()).removeprefix("- ") for own in paragraphs if own.strip()]


def _sentence(words: str) -> str:
    """Words as a sentence in the middle of another one."""
    return words[:1].lower() + words[1:] if words.startswith("Common") else words


_PLACES: Final[Mapping[str, Callable[[], list[Block]]]] = {
    "measured_rates": measured_rates_blocks,
    "glossary_columns": glossary_columns_blocks,
    "cautions": cautions_blocks,
    "verdicts": verdicts_blocks,
    "references": references_blocks,
}
