"""Words that stand the same in HTML and in PDF."""

from __future__ import annotations

import datetime
from typing import Final

from quenchbook.report.blocks import FigureBlock, TableBlock
from quenchbook.report.characters import shown
from quenchbook.report.document import Document

INVENTED: Final = "The data are invented: they show the method and say nothing about a steel."
SHORT_TABLE: Final = 12  # rows of a table that stays on one sheet of paper


def day_text(date: datetime.date) -> str:
    """Write a day as ``14 January 2026``, whatever the machine's language."""
    months = (
        "January", "February", "March", "April", "May", "June", "July", "August", "September",
        "October", "November", "December",
    )  # fmt: skip
    return f"{date.day} {months[date.month - 1]} {date.year}"


def signature(document: Document) -> str:
    """Author and day as far as they are known."""
    day = day_text(document.date) if document.date else ""
    return ", ".join(filter(None, (document.author, day)))


def safe_link(link: str | None, document: Document) -> str:
    """Target of a link if a page may carry it; empty for any other scheme or a missing anchor."""
    if not link:
        return ""
    if link.startswith("#"):
        return link if link[1:] in document.anchors else ""
    plain = shown(link)
    allowed = plain.lower().startswith(("https://", "http://", "mailto:"))
    return plain if allowed and not any(c.isspace() for c in plain) else ""


def caption_parts(block: FigureBlock, label: str) -> tuple[str, str, str]:
    """The three parts of a caption: numbered finding, how to read it, the notes."""
    notes = " ".join(note if note.endswith((".", "!", "?")) else f"{note}." for note in block.notes)
    return f"{label}. {block.finding}", block.reading, notes


def table_caption(block: TableBlock, label: str) -> str:
    """Numbered caption of a table; a table without a caption has no number either."""
    return f"{label}. {block.caption}" if block.caption else ""
