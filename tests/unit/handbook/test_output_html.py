from __future__ import annotations

import pandas as pd
import pytest

from quenchbook.handbook.output_html import output_blocks
from quenchbook.report.blocks import (
    Bullets,
    FigureBlock,
    Paragraph,
    Preformatted,
    Run,
    TableBlock,
    plain_text,
)


def test_a_frame_becomes_a_table_without_its_row_numbers() -> None:
    frame = pd.DataFrame({"coupon": ["K01", "K02"], "hardness_hrc": [61.5, 62.0]})
    (found,) = output_blocks(frame._repr_html_(), "cell")
    assert isinstance(found, TableBlock)
    assert [own.title for own in found.columns] == ["coupon", "hardness_hrc"]
    assert [own.align for own in found.columns] == ["left", "right"]
    assert found.rows == (("K01", "61.5"), ("K02", "62.0"))


def test_names_of_rows_and_columns_of_a_frame_stand_in_one_head() -> None:
    frame = pd.DataFrame(
        {
            "study": ["a", "a", "b"],
            "load": [1, 2, 1],
            "what": ["x", "x", "x"],
            "value": [1.0, 2.0, 3.0],
        }
    ).pivot_table(index=["study", "load"], columns="what", values="value")
    (found,) = output_blocks(frame._repr_html_(), "cell")
    assert isinstance(found, TableBlock)
    assert [own.title for own in found.columns] == ["study", "load", "x"]
    assert found.rows == (("a", "1", "1.0"), ("a", "2", "2.0"), ("b", "1", "3.0"))


def test_a_result_keeps_its_bold_words_and_its_foldable_parts() -> None:
    page = (
        "<p><b>equivalent</b>: no more than<br>the margin.</p>"
        "<details><summary>Notes</summary><ul><li>one</li><li>two</li></ul></details>"
        "<pre>a\n  b</pre>"
    )
    first, notes, items, code = output_blocks(page, "cell")
    assert first == Paragraph(
        (Run("equivalent", strong=True), ": no more than", "\n", "the margin.")
    )
    assert notes == Paragraph((Run("Notes", strong=True),))
    assert items == Bullets((("one",), ("two",)))
    assert code == Preformatted("a\n  b")


def test_a_figure_keeps_its_words() -> None:
    page = (
        '<figure><img alt="Dots." src="data:image/png;base64,iVBO"><figcaption><strong>It is 1.</strong>'
        " A dot is a coupon.<br><small>Shrunken.</small></figcaption></figure><p>After.</p>"
    )
    found, after = output_blocks(page, "cell")
    assert isinstance(found, FigureBlock)
    assert (found.alt, found.png_base64) == ("Dots.", "iVBO")
    assert (found.finding, found.reading, found.notes) == (
        "It is 1.", "A dot is a coupon.", ("Shrunken.",),
    )  # fmt: skip
    assert isinstance(after, Paragraph)


@pytest.mark.parametrize(
    "page",
    [
        "<script>alert(1)</script>",
        '<img src="https://example.org/a.png" alt="a">',
        '<img src="data:image/svg+xml;base64,AAAA" alt="a">',
        '<img src="data:image/png;base64,AAAA">',
        "<style>body{display:none}</style><iframe src='x'></iframe>",
        "<table></table><ul></ul><p> </p>",
    ],
)
def test_what_blocks_cannot_say_leaves_nothing(page: str) -> None:
    assert output_blocks(page, "cell") == []


def test_links_and_attributes_do_not_pass() -> None:
    (found,) = output_blocks(
        '<p onclick="x()"><a href="javascript:x()">Word</a> &lt;b&gt;</p>', "cell"
    )
    assert found == Paragraph(("Word <b>",)) or plain_text(found.runs) == "Word <b>"


def test_a_cell_that_claims_a_huge_span_costs_nothing() -> None:
    page = '<table><tr><td colspan="999999999" rowspan="999999999">a</td></tr></table>'
    (found,) = output_blocks(page, "cell")
    assert isinstance(found, TableBlock)
    assert len(found.columns) == 200
