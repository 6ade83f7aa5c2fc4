"""What stands around a page of the handbook: the way to the parts, to the page before and after."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources
from typing import Final

from quenchbook import __version__
from quenchbook.handbook.names_index import NAMES
from quenchbook.handbook.own_blocks import WRITERS
from quenchbook.handbook.site_page import SitePage
from quenchbook.report.html import escape
from quenchbook.report.page_frame import PageFrame

FACES: Final = "/* fonts of the handbook */"
"""Stands where the fonts go that all pages share."""

_SHORT: Final = {
    "index": "Questions",
    "first_study": "First study",
    "how_the_statistics_work": "Statistics",
    "glossary": "Glossary",
    "cautions": "Cautions",
    "troubleshooting": "Troubleshooting",
    "new_methods": "New methods",
}
_PARTS: Final = {"questions": "index", "reference": "reference"}
"""Entry of the menu for pages that have none of their own."""


def frame_of(page: SitePage, pages: Sequence[SitePage]) -> PageFrame:
    """Frame of a page of the handbook."""
    style = resources.files("quenchbook.handbook").joinpath("handbook.css")
    return PageFrame(
        head=f"<span>quenchbook handbook</span><span>version {escape(__version__)}</span>",
        navigation=_menu(page, pages),
        after=_neighbours(page, pages),
        foot=f"quenchbook {escape(__version__)}. This handbook is a folder of pages; it asks for "
        "nothing from any network.",
        style=style.read_text(encoding="utf-8"),
        faces=FACES,
        has_contents=page.name != NAMES,
        writers=WRITERS,
    )


def menu_words(page: SitePage) -> str:
    """Words of a page in the menu; empty if it has no place of its own there."""
    if page.menu or page.part != "words":
        return page.menu
    return _SHORT.get(page.name, page.title)


def _menu(page: SitePage, pages: Sequence[SitePage]) -> str:
    shown = [(own.name, own.file, menu_words(own)) for own in pages if menu_words(own)]
    here = page.name if menu_words(page) else _PARTS.get(page.part, "")
    lines = []
    for name, file, words in shown:
        mark = ' aria-current="page"' if name == page.name else ""
        mark = mark or (' aria-current="true"' if name == here else "")
        lines.append(f'<li><a href="{escape(file)}"{mark}>{escape(words)}</a></li>')
    return f'<nav class="menu" aria-label="Handbook"><ul>{"".join(lines)}</ul></nav>'


def _neighbours(page: SitePage, pages: Sequence[SitePage]) -> str:
    place = [own.name for own in pages].index(page.name)
    parts = []
    for step, words, kind in ((-1, "Before", "prev"), (1, "Next", "next")):
        if 0 <= place + step < len(pages):
            own = pages[place + step]
            parts.append(
                f'<p class="{kind}">{words}: <a rel="{kind}" href="{escape(own.file)}">'
                f"{escape(own.title)}</a></p>"
            )
    return f'<nav class="neighbours" aria-label="Pages before and after">{"".join(parts)}</nav>'
