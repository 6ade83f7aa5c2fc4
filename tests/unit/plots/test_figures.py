"""What every figure keeps: same bytes, words that do not touch, an alternative text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import Any

import matplotlib
import pandas as pd
import pytest
from matplotlib.text import Text

from quenchbook.plots.drawing import Drawing
from quenchbook.plots.sheet import WIDTH_IN, new_figure

COLOURS = (
    "red", "green", "blue", "orange", "brown", "purple", "violet", "grey", "gray", "black", "white",
    "yellow", "straw", "pink", "navy", "colour", "color",
)  # fmt: skip


def test_words_do_not_touch_each_other(drawing: Drawing, shapes: Any) -> None:
    assert shapes.overlapping_words(drawing) == []


def test_words_stay_on_the_page(drawing: Drawing, shapes: Any) -> None:
    assert shapes.words_off_the_page(drawing) == []


def test_width_is_always_the_same(drawing: Drawing) -> None:
    assert drawing.figure.get_figwidth() == pytest.approx(WIDTH_IN)


def test_no_text_is_smaller_than_8_points(drawing: Drawing) -> None:
    sizes = [text.get_fontsize() for text in drawing.figure.findobj(Text) if text.get_text()]
    assert min(sizes) >= 8.0


def test_svg_has_the_same_bytes_twice(drawing: Drawing) -> None:
    assert drawing.svg() == drawing.svg()


def test_svg_is_well_formed_and_keeps_words_as_text(drawing: Drawing, shapes: Any) -> None:
    svg = drawing.svg()
    texts = {
        "".join(node.itertext()) for node in ET.fromstring(svg).iter() if node.tag.endswith("text")
    }
    assert {text for text, _ in shapes.words_of(drawing)} <= texts
    assert "<dc:date>" not in svg


def test_alternative_text_follows_the_pattern(drawing: Drawing) -> None:
    assert 40 <= len(drawing.alt) <= 400
    assert " against " in drawing.alt
    assert drawing.alt.endswith((".", "…"))
    found = [word for word in COLOURS if re.search(rf"\b{word}\b", drawing.alt, re.IGNORECASE)]
    assert found == []


def test_finding_is_a_sentence_without_a_number_of_its_own(drawing: Drawing) -> None:
    assert drawing.finding[0].isupper() or drawing.finding[0].isdigit()
    assert drawing.finding.endswith(".")
    assert not drawing.finding.startswith("Figure")


def test_notebook_view_carries_picture_caption_and_alternative_text(drawing: Drawing) -> None:
    bundle = drawing._repr_mimebundle_(include=None, exclude=None)
    assert bundle["text/plain"] == drawing.alt
    html = bundle["text/html"]
    assert html.startswith("<figure")
    assert 'src="data:image/png;base64,iVBOR' in html
    assert "<figcaption><strong>" in html


def test_drawing_anew_gives_the_same_bytes(anew: Any) -> None:
    assert anew().svg() == anew().svg()


def test_settings_of_the_session_change_nothing_and_are_left_alone(anew: Any) -> None:
    plain = anew().svg()
    theme = {"font.family": ["serif"], "lines.linewidth": 9.0, "axes.facecolor": "#123456"}
    with matplotlib.rc_context(theme):
        assert anew().svg() == plain
        assert matplotlib.rcParams["lines.linewidth"] == 9.0


def test_white_ground_changes_the_ground_only(drawing: Drawing) -> None:
    paper, white = drawing.svg().split("\n"), drawing.svg(white=True).split("\n")
    changed = [b for a, b in zip(paper, white, strict=True) if a != b]
    assert len(changed) == 1
    assert "fill: #ffffff" in changed[0]


def test_frame_of_a_figure_is_a_copy(drawing: Drawing) -> None:
    frame = drawing.to_frame()
    assert len(frame) > 0
    frame["more"] = 1
    assert "more" not in drawing.data


def test_notebook_view_escapes_what_authors_write() -> None:
    hostile = '<script>alert("x")</script> & "quoted"'
    drawing = Drawing("key", new_figure(1.0), hostile, hostile, (hostile,), hostile, pd.DataFrame())
    html = drawing._repr_mimebundle_()["text/html"]
    assert "<script" not in html
    assert html.count("&lt;script&gt;alert(&quot;x&quot;)") == 4
