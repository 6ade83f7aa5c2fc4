"""Blocks: plain data there and back, texts of a table."""

from __future__ import annotations

import json

import pandas as pd
import pytest

from quenchbook.errors import ReportError
from quenchbook.report.blocks import (
    KINDS,
    MIME,
    Bullets,
    Headline,
    Paragraph,
    Run,
    from_json,
    table,
)


def _blocks_of(notebook):
    for cell in notebook.cells:
        for output in cell.get("outputs", []):
            if MIME in output["data"]:
                yield from_json(output["data"][MIME])


def test_every_kind_of_block_survives_json(careful, hostile):
    blocks = [*_blocks_of(careful), *_blocks_of(hostile)]
    assert {block.kind for block in blocks} == set(KINDS)
    for block in blocks:
        assert from_json(json.loads(json.dumps(block.to_json()))) == block


def test_a_block_shows_itself_escaped_in_the_notebook(hostile):
    for block in _blocks_of(hostile):
        bundle = block._repr_mimebundle_(include=None, exclude=None)
        assert bundle[MIME]["kind"] == block.kind
        assert "<script" not in bundle["text/html"]
        assert "<img src=x" not in bundle["text/html"]
        assert bundle["text/plain"]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ({"kind": "gallery"}, "a report block of an unknown kind"),
        ("headline", "a report block of an unknown kind"),
        ({"kind": "headline"}, "headline is incomplete"),
        ({"kind": "headline", "question": 7}, r"headline\.question .* is 7, expected a text"),
        ({"kind": "section", "title": "a", "level": True}, r"section\.level .*expected a number"),
        ({"kind": "section", "title": "a", "colour": "red"}, "unknown field 'colour'"),
        ({"kind": "paragraph", "runs": [7]}, r"paragraph\.runs\[0\] .* is 7"),
        ({"kind": "paragraph", "runs": [{"text": "a", "strong": 1}]}, r"strong .*true or false"),
        ({"kind": "finding_rows", "rows": {}}, r"rows .*expected a list"),
        (
            {"kind": "table", "key": "k", "caption": "c", "columns": [], "rows": [["a"]]},
            "row 1 has 1 cells, expected 0",
        ),
        (
            {"kind": "table", "key": "k", "caption": "", "rows": [],
             "columns": [{"title": "a", "align": "top"}]},
            "aligned left or right, not 'top'",
        ),
    ],
)  # fmt: skip
def test_data_that_is_no_block_is_named(data, message):
    with pytest.raises(ReportError, match=f"(?i){message}"):
        from_json(data)


def test_a_text_in_place_of_runs_is_one_run():
    assert Paragraph("K7TC").runs == ("K7TC",)
    assert Headline("q", answer="yes").answer == ("yes",)
    assert Bullets(("one", (Run("two", strong=True),))).items[0] == ("one",)


def test_numbers_of_a_table_are_written_for_people():
    frame = pd.DataFrame(
        {
            "coupon": ["K7TC", None],
            "austenitize_c": [970.0, 1000.0],
            "gain": [-0.126, float("nan")],
            "kept": [True, False],
            "load": [1, 12],
        }
    )
    block = table(
        frame,
        key="k",
        caption="c",
        titles={"austenitize_c": "austenitize"},
        units={"austenitize_c": "degC", "gain": "HRC"},
        decimals={"gain": 2},
        missing="not known",
    )
    assert block.rows == (
        ("K7TC", "970", "\u22120.13", "yes", "1"),
        ("not known", "1000", "not known", "no", "12"),
    )
    assert [column.title for column in block.columns][1:3] == ["austenitize", "gain"]
    assert [column.unit for column in block.columns] == ["", "°C", "HRC", "", ""]
    assert [column.align for column in block.columns] == ["left", "right", "right", "left", "right"]


@pytest.mark.parametrize(
    ("values", "written"),
    [
        ([1.0, 2.25, 10.5], ["1.00", "2.25", "10.50"]),
        ([0.1 + 0.2, 1 / 3], ["0.300000", "0.333333"]),
        ([1234567.8, -0.0], ["1234568", "0"]),
        ([float("nan"), 3.0], ["", "3"]),
    ],
)
def test_a_column_has_the_decimals_its_numbers_need(values, written):
    block = table(pd.DataFrame({"x": values}), key="k", caption="c")
    assert [row[0] for row in block.rows] == written
