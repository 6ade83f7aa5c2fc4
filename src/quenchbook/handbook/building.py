"""The handbook as one folder of pages that need no network: built, checked, written."""

from __future__ import annotations

import html
from collections.abc import Callable, Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import Problem, ReportError
from quenchbook.handbook.filled_places import filled
from quenchbook.handbook.gallery import (
    card_of,
    executed_questions,
    plain_notebook,
    question_notebooks,
    question_page,
)
from quenchbook.handbook.glossary import terms_as_definitions
from quenchbook.handbook.links import link_problems
from quenchbook.handbook.names_index import index_page
from quenchbook.handbook.own_blocks import Card, Cards
from quenchbook.handbook.page_source import PageSource, check_links
from quenchbook.handbook.reference import known_names, reference_pages
from quenchbook.handbook.site_folder import check_free, write_site
from quenchbook.handbook.site_page import SitePage, with_links
from quenchbook.handbook.surroundings import FACES, frame_of
from quenchbook.report.blocks import Block, Section
from quenchbook.report.html import html_page
from quenchbook.report.markdown import markdown_blocks
from quenchbook.report.page_fonts import font_faces, serif_faces

if TYPE_CHECKING:
    from nbformat import NotebookNode

DEFAULT: Final = "quenchbook-handbook"
INDEX: Final = "index"
GALLERY: Final = "gallery"
_BEFORE: Final = (INDEX, "first_study")
_AFTER: Final = (
    "how_the_statistics_work", "glossary", "cautions", "troubleshooting", "new_methods",
)  # fmt: skip


def write_handbook(
    folder: str | Path = DEFAULT,
    *,
    run: bool = True,
    notebooks: Mapping[str, NotebookNode] | None = None,
    commands: Mapping[str, str] | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> list[Path]:
    """Write the handbook: the gallery of questions, pages of words, the reference.

    Every link is checked, and the same quenchbook writes the same bytes.

    Parameters
    ----------
    folder : path-like
        Is made; a handbook that was written there before is replaced, anything else is refused.
    run : bool
        Whether the notebooks of the gallery are run [about 5 s each]; without it their pages hold
        words and code, and say so.
    notebooks : mapping of str to NotebookNode, optional
        Executed notebooks by their names, taken instead of running them.
    commands : mapping of str to str, optional
        Verbs of the command line with their help texts, for a page of their own.
    progress : callable, optional
        Called with the number of notebooks done and the number of all.

    Returns
    -------
    list of pathlib.Path
        The pages, the first to open first.

    Raises
    ------
    ReportError
        If the folder holds anything else, a notebook fails, or a link leads nowhere; nothing is
        written then.
    """
    folder = Path(folder)
    check_free(folder)
    given = _given(run, notebooks, progress)
    pages = handbook_pages(page_sources(), given, commands or {}, ran=run or notebooks is not None)
    texts = bare_html(pages)
    if problems := link_problems(texts):
        raise ReportError(problems)
    written = with_fonts(texts)
    return write_site(folder, {name: text.encode("utf-8") for name, text in written.items()})


def page_sources() -> list[PageSource]:
    """Markdown pages that come with quenchbook, in order of their names."""
    place = resources.files("quenchbook.handbook") / "pages"
    files = sorted(
        (own for own in place.iterdir() if own.name.endswith(".md")), key=lambda f: f.name
    )
    return [PageSource(own.name[:-3], own.read_text(encoding="utf-8")) for own in files]


def handbook_pages(
    sources: Sequence[PageSource],
    notebooks: Mapping[str, NotebookNode],
    commands: Mapping[str, str],
    *,
    ran: bool = True,
) -> list[SitePage]:
    """All pages in the order in which they are read."""
    told = [name for own in sources if own.name == INDEX for name in _shown_on(own)]
    order = [*(name for name in told if name in notebooks), *notebooks]
    questions = [
        question_page(name, notebooks[name], ran=ran) for name in dict.fromkeys(order)
    ]  # one follows the other as their cards do
    cards = {page.name: card_of(page) for page in questions}
    words = {own.name: words_page(own, cards) for own in sources}
    if INDEX not in words:
        raise ReportError(Problem("index.md", "is missing", "A handbook begins with it."))
    others = [name for name in words if name not in (*_BEFORE, *_AFTER)]
    ordered = [
        *(words[name] for name in _BEFORE if name in words),
        *questions,
        *(words[name] for name in (*_AFTER, *others) if name in words),
        *reference_pages(commands),
    ]
    names = known_names()
    linked = [with_links(page, names) for page in ordered]
    return [*linked, index_page(linked)]


def words_page(source: PageSource, cards: Mapping[str, Card]) -> SitePage:
    """Page of a Markdown file, its filled places filled.

    ``{{ gallery NAME NAME }}`` shows the cards of these notebooks, ``{{ gallery }}`` those that no
    other place of the page shows; without such a line the index ends with it.
    """
    check_links(source.text, source.where)
    segments = list(source.segments())
    if source.name == INDEX and (GALLERY, "") not in segments:
        segments.append((GALLERY, ""))
    told = {own for name, words in segments if name == GALLERY for own in words.split()}
    blocks: list[Block] = []
    for number, (name, words) in enumerate(segments, start=1):
        if name == GALLERY:
            wanted = words.split() or [own for own in cards if own not in told]
            shown = _gallery(wanted, cards, source.where)
            if not shown and blocks and isinstance(blocks[-1], Section):
                blocks.pop()  # a heading over nothing
            blocks += shown
        elif name:
            blocks += filled(name, where=source.where)
        else:
            blocks += markdown_blocks(words, where=f"{source.where} part {number}")
    title = next((b.title for b in blocks if isinstance(b, Section) and b.level == 1), source.title)
    return SitePage(source.name, title, tuple(terms_as_definitions(source.name, blocks)), "words")


def bare_html(pages: Sequence[SitePage]) -> dict[str, str]:
    """HTML of the pages by their file names, the fonts left out."""
    return {page.file: html_page(page.document(), frame_of(page, pages)) for page in pages}


def with_fonts(texts: Mapping[str, str]) -> dict[str, str]:
    """Pages with fonts: the same in each, with the characters of all of them."""
    found = set().union(*(html.unescape(text) for text in texts.values()))
    characters = "".join(sorted(found))
    faces = f"{font_faces(characters)}\n{serif_faces(characters)}"
    return {name: text.replace(FACES, faces, 1) for name, text in texts.items()}


def _given(
    run: bool,
    notebooks: Mapping[str, NotebookNode] | None,
    progress: Callable[[int, int], None] | None,
) -> Mapping[str, NotebookNode]:
    if notebooks is not None:
        return notebooks
    paths = question_notebooks()
    if run:
        return executed_questions(paths, progress)
    return {path.stem: plain_notebook(path) for path in paths}


def _shown_on(source: PageSource) -> list[str]:
    """Questions that a page names in its gallery."""
    return [own for name, words in source.segments() if name == GALLERY for own in words.split()]


def _gallery(wanted: Sequence[str], cards: Mapping[str, Card], where: str) -> list[Block]:
    missing = [name for name in wanted if name not in cards]
    if missing:
        raise ReportError(
            Problem(
                where,
                f"the gallery has no question {missing[0]}",
                f"Write some of: {', '.join(cards)}.",
            )
        )
    return [Cards(tuple(cards[name] for name in wanted))] if wanted else []
