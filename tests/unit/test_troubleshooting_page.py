"""The messages that the page of troubleshooting explains are messages of the code."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest
from tests.conftest import ROOT

import quenchbook as qb
from quenchbook.errors import RecordError
from quenchbook.plan.entry_tables import FARTHEST_DELTA_C
from quenchbook.records.other_scales import HIGHEST_RELATED_HRC, LOWEST_RELATED_HRC
from quenchbook.steps import copy_example
from quenchbook.study.plausible_levels import plausible_range
from quenchbook.study.plausible_readings import plausible

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


JOINING = {
    "study.toml line 66: austenitize level": "level",
    "study.toml line 244: 'toughness'": "toughness Known",
    "This plan cannot answer anything": "first",
    "A plan exists": "away",
    "Margin of hardness was": "Margin was",
    "cold batch 1-2: has freezer": "has and but",
    "hardness.csv row 3: ZZZZ": "coupon again",
    "hardness.csv row 4, coupon DEFR": "readings were row",
    "hardness.csv row 3, coupon 4FTD: hardness_hrc is 616": "point",
    "hardness.csv row 3: '61,6'": "has has",
    "hardness.csv row 3, coupon 4FTD: 21.6 lies": "lies indents",
    "deviations.csv row 9, furnace load 3": "Known",
    "corrections.csv row 5": "row",
    "hardness.csv row 3, coupon 4FTD: hardness_hrc reading 1 was": "reading now",
    "20 coupons without": "coupons without more",
    "Output 'word'": "Output word",
    "x.zip: is damaged": "File zip file",  # told by zipfile
}
"""Words between two values that are filled in: reviewed, each stands in the code by itself."""


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
    rest = re.sub(r"'[^' ]* ?'|\b\S*[_/.,]\S+|\b[A-Z0-9]{3,}\b", "|", rest)
    return [own for own in re.findall(r"[^\W\d_]{3,}", rest) if own not in NAMES]


def test_there_are_twenty_messages_and_more() -> None:
    assert len(MESSAGES) >= 20
    assert len(set(MESSAGES)) == len(MESSAGES)


@pytest.mark.parametrize("message", MESSAGES, ids=lambda own: own[:40])
def test_each_message_is_made_of_texts_of_the_code(message: str, pieces: list[str]) -> None:
    joining = next((own for start, own in JOINING.items() if message.startswith(start)), "")
    assert left_over(message, pieces) == joining.split()


def test_every_reviewed_message_stands_on_the_page() -> None:
    stale = [own for own in JOINING if not any(text.startswith(own) for text in MESSAGES)]
    assert stale == []


def test_each_limit_that_a_message_tells_is_that_of_the_code() -> None:
    study = qb.read_study(ROOT / "data" / "plane_irons")
    furnace = plausible_range("austenitize")
    coolest, hottest = 790, 820  # levels of the study that the messages were taken from
    known = {
        plausible(study.response("hardness_hrc")).words,
        f"{furnace.low:g} to {furnace.high:g}",
        f"{coolest - FARTHEST_DELTA_C:g} to {hottest + FARTHEST_DELTA_C:g}",
        f"{LOWEST_RELATED_HRC:g} to {HIGHEST_RELATED_HRC:g}",
        "1 to 12",  # furnace loads of that study
    }
    told = {own for text in MESSAGES for own in re.findall(r"\d+(?:\.\d+)? to \d+(?:\.\d+)?", text)}
    assert told == known


def test_a_reading_without_its_point_is_told_as_on_the_page(tmp_path: Path) -> None:
    folder = copy_example("plane_irons", tmp_path / "study")
    path = folder / "records" / "hardness_session_1.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("4FTD,64.7,", "4FTD,647,"), encoding="utf-8")
    with pytest.raises(RecordError) as caught:
        qb.read_folder(folder)
    told = next(own for own in MESSAGES if "Was the decimal point lost" in own)
    for there, here in (("616", "647"), ("61.6", "64.7"), ("hardness.csv", path.name)):
        told = told.replace(there, here)
    assert told in str(caught.value).replace("\N{NO-BREAK SPACE}", " ")


def test_a_message_that_nobody_says_is_found(pieces: list[str]) -> None:
    said = "The controller would rather have another cup of tea before it heats this load."
    assert len(left_over(said, pieces)) > 8


def test_one_invented_word_in_a_message_is_found(pieces: list[str]) -> None:
    said = next(own for own in MESSAGES if "is not empty" in own)
    assert left_over(said, pieces) == []
    assert left_over(said.replace("nothing is overwritten", "nothing is burnt"), pieces) != []
