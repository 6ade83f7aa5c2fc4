"""Numbers of a Markdown cell, and whether the outputs of its notebook show them."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable
from typing import NamedTuple

from nbformat import NotebookNode

NUMBER = re.compile(
    r"(?<![\w.])(?P<sign>(?<![\w)])[+\-\N{MINUS SIGN}])?(?P<size>\d+(?:\.\d+)?)(?![\w.]*\w)"
    r"(?: ?(?P<unit>HRC|°C|%|minutes|min|hours|h|EUR|coupons|(?:furnace )?loads)(?!\w))?"
)
"""A number that stands by itself; codes such as A2, JCY9 or K07 are none."""

FINDING = "## The finding on the demonstration, in words"
SHORT_ANSWER = "**Short answer.**"


SAME_UNIT = {"minutes": "min", "hours": "h", "furnace loads": "loads"}


class ToldNumber(NamedTuple):
    """A number as it is written: its sign ("" without one), its digits, its unit (or "")."""

    sign: str
    digits: str
    unit: str = ""

    @property
    def places(self) -> int:
        return len(self.digits.partition(".")[2])


def told_numbers(text: str) -> list[ToldNumber]:
    """Numbers of a text, in order; what stands in backquotes is code and no number."""
    plain = re.sub(r"`[^`]*`", " ", text).replace("\N{NO-BREAK SPACE}", " ")
    return [
        ToldNumber(
            (own["sign"] or "").replace("-", "\N{MINUS SIGN}"),
            own["size"],
            SAME_UNIT.get(own["unit"], own["unit"] or ""),
        )
        for own in NUMBER.finditer(plain)
    ]


def shown_text(notebook: NotebookNode) -> str:
    """What a reader sees of all outputs, without marks and pictures."""
    outputs = [own.get("data", {}) for cell in notebook.cells for own in cell.get("outputs", [])]
    shown = " ".join(own.get("text/html") or own.get("text/plain", "") for own in outputs)
    shown = re.sub(r"<(style|script)\b.*?</\1>", " ", shown, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]+>", " ", shown))


def findings_of(notebook: NotebookNode) -> list[str]:
    """The short answer, if there is one, and the finding in words."""
    words = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
    short = [
        part for part in words[0].split("\n\n") if part.startswith(SHORT_ANSWER)
    ]
    return short + [text for text in words if text.startswith(FINDING)]


def not_shown(told: Iterable[ToldNumber], shown: Iterable[ToldNumber]) -> list[ToldNumber]:
    """Told numbers that no shown number rounds to; a sign that is told has to be shown."""
    shown = set(shown)
    return [own for own in told if not any(_agree(own, other) for other in shown)]


def _agree(told: ToldNumber, shown: ToldNumber) -> bool:
    if told.sign and (told.sign == "+") == (shown.sign == "\N{MINUS SIGN}"):
        return False
    if told.unit and shown.unit and told.unit != shown.unit:
        return False
    gap = abs(float(told.digits) - float(shown.digits))
    if len(told.digits.replace(".", "").lstrip("0")) < 2:  # 0.5 or 6: nearly anything rounds to it
        return gap < 1e-9
    # the half of the last digit is allowed: 0.125 may be told as 0.12 or as 0.13
    return told.places <= shown.places and gap <= 0.5 * 10.0**-told.places + 1e-9
