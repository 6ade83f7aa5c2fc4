"""Licences that a study may name by their SPDX identifier, and what the archive says of them.

Titles and addresses from the SPDX licence list and creativecommons.org, from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Licence:
    """A licence: SPDX identifier, title, address of the deed, what it asks in a sentence."""

    key: str
    title: str
    url: str
    words: str


_BY: Final = (
    "You may share and adapt the data for any purpose if you name the author, link the licence "
    "and say what you changed."
)

LICENCES: Final = {
    own.key: own
    for own in (
        Licence(
            "CC-BY-4.0",
            "Creative Commons Attribution 4.0 International",
            "https://creativecommons.org/licenses/by/4.0/",
            _BY,
        ),
        Licence(
            "CC-BY-SA-4.0",
            "Creative Commons Attribution-ShareAlike 4.0 International",
            "https://creativecommons.org/licenses/by-sa/4.0/",
            f"{_BY} What you build from them carries the same licence.",
        ),
        Licence(
            "CC0-1.0",
            "CC0 1.0 Universal",
            "https://creativecommons.org/publicdomain/zero/1.0/",
            "The author gives up all rights as far as the law allows; naming the author is fair.",
        ),
    )
}


def licence_of(text: str) -> Licence | None:
    """Licence that a study names by its SPDX identifier alone; None for any other words."""
    return LICENCES.get(text.strip())


def licence_statement(text: str, author: str) -> str:
    """Text of ``LICENSE.txt``: the identifier and where the licence stands, not its legal code."""
    known = licence_of(text)
    if known:
        return (
            f"Data and text of this archive: {known.title}\n"
            f"SPDX-License-Identifier: {known.key}\n"
            f"Author: {author}\n\n"
            f"{known.words}\n"
            f"The licence itself, which alone counts: {known.url}\n"
        )
    named = [own for own in LICENCES.values() if own.key in text]
    links = "".join(f"{own.key}: {own.title}, {own.url}\n" for own in named)
    return (
        "The study file says of the licence of data and text of this archive:\n\n"
        f"    {text}\n\nAuthor: {author}\n{links}"
    )
