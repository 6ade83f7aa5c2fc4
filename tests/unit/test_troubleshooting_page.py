"""The messages that the page of troubleshooting explains are messages of the code."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib import resources

import pytest
from tests.conftest import ROOT

PAGE = (resources.files("quenchbook.handbook") / "pages" / "troubleshooting.md").read_text("utf-8")
MESSAGES = re.findall(r"^```text\n(.*?)\n```$", PAGE, re.DOTALL | re.MULTILINE)

WORDS_OF_PYTHON = "Expected ']' at the end of a table declaration (at line 70, column 37)"
"""Told by tomllib: no words of ours."""


NAMES = (
    "austenitize", "temper", "hardness", "freezer", "none", "lost", "note", "freezr", "html", "pdf",
    "summary", "fragment", "figures", "archive", "degC", "degF", "Does", "the", "make", "harder",
    "cold", "route",
)  # fmt: skip
"""Names and words of the study that the messages were taken from."""


def fragments() -> Iterator[str]:
    """Every piece of text of the code that has a space in it, between what is filled in."""
    for path in sorted((ROOT / "src" / "quenchbook").rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                piece = node.value.strip()
                if " " in piece and 6 <= len(piece) <= 400:
                    yield piece


@pytest.fixture(scope="module")
def pieces() -> list[str]:
    return sorted(set(fragments()), key=len, reverse=True)


def left_over(message: str, pieces: list[str]) -> list[str]:
    """Words that no text of the code explains; names of the study and of files are left out."""
    place, _, said = message.partition(": ")
    is_place = said and len(place) <= 45 and re.search(r"line|row|batch|[.]|^\w$", place)
    rest = said if is_place else message
    rest = rest.replace(WORDS_OF_PYTHON, "|").replace("\N{NO-BREAK SPACE}", " ")
    for own in pieces:
        rest = rest.replace(own, "|")
    rest = re.sub(r"'[^']*'|\b\S*[_/.,]\S+|\b[A-Z0-9]{3,}\b", "|", rest)
    return [own for own in re.findall(r"[^\W\d_]{3,}", rest) if own not in NAMES]


def test_there_are_twenty_messages_and_more() -> None:
    assert len(MESSAGES) >= 20
    assert len(set(MESSAGES)) == len(MESSAGES)


@pytest.mark.parametrize("message", MESSAGES, ids=lambda own: own[:40])
def test_each_message_is_made_of_texts_of_the_code(message: str, pieces: list[str]) -> None:
    assert len(left_over(message, pieces)) <= 3


def test_a_message_that_nobody_says_is_found(pieces: list[str]) -> None:
    said = "The controller would rather have another cup of tea before it heats this load."
    assert len(left_over(said, pieces)) > 8
