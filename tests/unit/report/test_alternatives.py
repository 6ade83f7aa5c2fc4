"""An author's alternative text replaces the composed one, and nothing else of the figure."""

from __future__ import annotations

import pytest

from quenchbook.errors import ReportError
from quenchbook.report.alternatives import with_alt
from quenchbook.report.blocks import FigureBlock, Section

WORDS = "Hardness of four bars in ink marks; the second load lies 0.4 HRC above all others."


def _figure(key: str) -> FigureBlock:
    return FigureBlock(key, "<svg/>", "", "A finding.", alt="Composed words of the figure, long.")


def test_own_words_replace_the_alternative_text_and_leave_the_caption() -> None:
    title, figure = with_alt([Section("Noise"), _figure("noise_budget")], {"noise_budget": WORDS})
    assert isinstance(figure, FigureBlock)
    assert (figure.alt, figure.finding) == (WORDS, "A finding.")
    assert title == Section("Noise")


def test_the_second_figure_of_a_key_has_a_number() -> None:
    first, second = with_alt([_figure("contrasts"), _figure("contrasts")], {"contrasts-2": WORDS})
    assert isinstance(first, FigureBlock)
    assert isinstance(second, FigureBlock)
    assert first.alt.startswith("Composed")
    assert second.alt == WORDS


def test_a_key_of_no_figure_names_those_that_are_here() -> None:
    with pytest.raises(ReportError, match=r"no figure has this key; here are noise_budget"):
        with_alt([_figure("noise_budget")], {"noise": WORDS})


@pytest.mark.parametrize("words", ["Too short.", "word " * 90])
def test_words_of_the_wrong_length_are_refused(words: str) -> None:
    with pytest.raises(ReportError, match="expected 40 to 400"):
        with_alt([_figure("noise_budget")], {"noise_budget": words})
