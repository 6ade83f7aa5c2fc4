"""The alternative text of every figure of every example: form, length, words, numbers."""

from __future__ import annotations

import io
import math
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import quenchbook as qb
from quenchbook.plots.style import ROUTE_STYLES
from quenchbook.report.blocks import FigureBlock

DATA = Path(__file__).parents[3] / "data"
EXAMPLES = ("plane_irons", "coated_bars", "steel_bars", "springs", "leaf_springs", "two_lots")
COLOURS = re.compile(
    r"\b(red|green|blue|navy|orange|brown|violet|purple|yellow|straw|gr[ae]y|black|white|pale|dark)\b",
    re.IGNORECASE,
)
NUMBER = re.compile(r"(?<![\w.,])\d+(?:,\d{3})*(?:\.\d+)?(?![\w])")


@pytest.fixture(scope="module", params=EXAMPLES)
def figures(request: pytest.FixtureRequest) -> list[FigureBlock]:
    analysis = qb.analyse(qb.read_folder(DATA / request.param)[2])
    parts = (qb.report_questions, qb.report_noise, qb.report_evidence, qb.report_method)
    blocks = [block for part in parts for block in part(analysis)]
    found = [block for block in blocks if isinstance(block, FigureBlock)]
    assert len(found) >= 3
    return found


def test_the_text_has_its_length_and_form(figures: list[FigureBlock]) -> None:
    for figure in figures:
        assert 40 <= len(figure.alt) <= 400, figure.key
        first, _, rest = figure.alt.partition(". ")
        assert re.search(r"\bagainst\b|\bby\b|[Dd]ifference", first), figure.alt
        assert rest, figure.alt
        assert figure.alt.endswith("."), figure.alt


def test_the_text_names_no_colour(figures: list[FigureBlock]) -> None:
    for figure in figures:
        assert not COLOURS.search(figure.alt), figure.alt
        assert not any(style.colour in figure.alt for style in ROUTE_STYLES.values())


def test_every_number_of_the_text_is_in_the_caption_or_the_data(
    figures: list[FigureBlock],
) -> None:
    for figure in figures:
        known = set(_numbers(" ".join((figure.finding, figure.reading, *figure.notes))))
        values = _values(pd.read_csv(io.StringIO(figure.data_csv)))
        for number in _numbers(figure.alt):
            decimals = len(number.partition(".")[2])
            near = np.abs(values - float(number)) <= 0.5000001 * 10.0**-decimals
            assert number in known or near.any(), f"{figure.key}: {number} of {figure.alt}"


def _numbers(text: str) -> list[str]:
    return [own.replace(",", "") for own in NUMBER.findall(text)]


def _values(frame: pd.DataFrame) -> np.ndarray:
    """Sizes of all numbers of the data, ratios in per cent too, and how many of a thing there are."""
    numbers = frame.select_dtypes("number").to_numpy(dtype=float).ravel()
    numbers = numbers[np.isfinite(numbers)]
    small = numbers[np.abs(numbers) < math.log(20)]
    counts = [float(len(frame)), *(float(frame[name].nunique()) for name in frame)]
    counts += [float(n) for name in frame for n in frame[name].value_counts()]
    texts = map(str, frame.select_dtypes(exclude="number").stack().dropna())
    words = [float(number) for text in texts for number in _numbers(text)]
    return np.abs(np.concatenate([numbers, 100 * np.expm1(small), counts, words]))
