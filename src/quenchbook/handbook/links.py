"""Links of a folder of pages: each must lead to a page that is there, and to a place in it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Final
from urllib.parse import unquote, urlsplit

from quenchbook.errors import Problem

OUTWARD: Final = ("https", "http", "mailto")
_LEADS: Final = {"a": "href", "link": "href", "img": "src", "script": "src", "iframe": "src"}


def link_problems(pages: Mapping[str, str]) -> list[Problem]:
    """What is wrong with the links of pages.

    Parameters
    ----------
    pages : mapping of str to str
        HTML of every page by its file name, all in one folder.

    Returns
    -------
    list of Problem
        Each names the page and the target. Links to other sites are only allowed from words, not
        for pictures, styles or scripts; where they lead is not looked up.
    """
    read = {name: _read(page) for name, page in pages.items()}
    return [
        Problem(name, problem, "Mend the link or its target.")
        for name, found in read.items()
        for tag, target in found.targets
        for problem in _problems(name, tag, target, read)
    ]


@dataclass
class _Found(HTMLParser):
    targets: list[tuple[str, str]] = field(default_factory=list)
    places: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        own = dict(attrs)
        if own.get("id"):
            self.places.append(str(own["id"]))
        if _LEADS.get(tag) in own:
            self.targets.append((tag, own[_LEADS[tag]] or ""))


def _read(page: str) -> _Found:
    found = _Found()
    found.feed(page)
    found.close()
    return found


def _problems(page: str, tag: str, target: str, read: Mapping[str, _Found]) -> Iterator[str]:
    parts = urlsplit(target)
    if parts.scheme == "data" and tag == "img":
        return
    if parts.scheme or parts.netloc:
        if tag != "a" or parts.scheme not in OUTWARD:
            yield f"'{target:.80}' leads out of the handbook"
        return
    file = unquote(parts.path) or page
    if file not in read:
        yield f"the link to {target} leads to no page"
    elif parts.fragment and unquote(parts.fragment) not in read[file].places:
        yield f"the link to {target} leads to no place on {file}"
    elif not target:
        yield "a link has no target"
