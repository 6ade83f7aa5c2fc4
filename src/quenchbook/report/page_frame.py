"""What stands around a document that is one page of several: head, way to others, own blocks."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from quenchbook.report.blocks import Block, Runs

BESIDE: Final = re.compile(r"(?:[\w-]+\.html)?(?:#[^\s<>\"]*)?")
"""A link to a page in the same folder, or to a place on the page itself."""

Writer = Callable[[Any, str, Callable[[Runs], str]], str]
"""Block, its anchor and the function that writes runs, to HTML."""


@dataclass(frozen=True)
class PageFrame:
    """Surroundings of a page; every text but `skip` is HTML.

    Attributes
    ----------
    head, navigation, after, foot : str
        Inside of the head; between head and text; after the text; inside of the foot.
    skip : str
        Words of the link that skips to the text.
    style : str
        Rules after those of `page.css`.
    faces : str
        Rules that carry the fonts, the same for all pages; without them each page has its own.
    has_contents : bool
        Whether a page of several sections lists them.
    writers : mapping of block type to Writer
        HTML of blocks that only these pages have.
    """

    head: str
    navigation: str = ""
    after: str = ""
    foot: str = ""
    skip: str = "Skip to the text"
    style: str = ""
    faces: str = ""
    has_contents: bool = True
    writers: Mapping[type[Block], Writer] = field(default_factory=dict)
