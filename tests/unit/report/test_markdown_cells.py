"""Markdown cells: what passes, what becomes text."""

from __future__ import annotations

import pytest

from quenchbook.errors import QuenchbookWarning
from quenchbook.report.blocks import Bullets, Paragraph, Preformatted, Quote, Run, Section
from quenchbook.report.markdown import markdown_blocks


def _one(source):
    (block,) = markdown_blocks(source, where="cell 1")
    return block


def test_words_keep_their_style():
    assert _one("a **b** *c* ***d*** `e<`").runs == (
        "a ",
        Run("b", strong=True),
        " ",
        Run("c", emphasis=True),
        " ",
        Run("d", strong=True, emphasis=True),
        " ",
        Run("e<", code=True),
    )


@pytest.mark.parametrize(
    "link", ["https://example.org/a?b=1", "http://example.org", "mailto:a@example.org", "#figure-x"]
)
def test_plain_links_stay(link):
    assert _one(f"[words]({link})").runs == (Run("words", link=link),)


@pytest.mark.parametrize(
    "link",
    [
        "javascript:alert(1)", "JaVaScRiPt:alert(1)", "java&#115;cript:alert(1)",
        "data:text/html,x", "file:///etc/passwd", "vbscript:x", "//example.org", "../secret.csv",
        "&#106;avascript:alert(1)", "\x01javascript:alert(1)",
    ],
)  # fmt: skip
def test_other_links_lose_their_target_and_keep_their_words(link):
    assert _one(f"[words](<{link}>)").runs == ("words",)


def test_html_is_shown_as_it_is_written():
    assert _one("<div onclick=x>a</div>") == Paragraph("<div onclick=x>a</div>")
    assert _one("a <b>b</b>").runs == ("a <b>b</b>",)


def test_a_formula_keeps_its_tex():
    assert _one("$x_1^2$ and $$y$$").runs == (
        Run("x_1^2", math="inline"),
        " and ",
        Run("y", math="display"),
    )


def test_lists_keep_their_lists():
    block = _one("1. a\n\n   more\n   - b\n2. c")
    assert block == Bullets(
        (("a", "\n", "more"), ("c",)), ordered=True, below=(Bullets((("b",),), below=(None,)), None)
    )


def test_quotes_code_headings_and_tables():
    assert _one("> a\n>\n> b") == Quote((("a",), ("b",)))
    assert _one("```\nx = 1\n```") == Preformatted("x = 1", is_code=True)
    assert _one("### A *b* `c`") == Section("A b c", 3)
    block = _one("| a | n |\n|---|--:|\n| **x** | 2 \\| 3 |")
    assert block.rows == (("x", "2 | 3"),)
    assert [column.align for column in block.columns] == ["left", "right"]
    assert block.key == "cell-1-1"


def test_entities_are_read_once():
    assert _one("a &lt;script&gt; &amp;lt;").runs == ("a <script> &lt;",)


def test_a_picture_is_not_fetched_and_the_author_is_told():
    with pytest.warns(QuenchbookWarning, match="cell 1: a picture in markdown is not shown"):
        block = _one("![a load](https://example.org/x.png)")
    assert block.runs == ("a load",)


def test_deep_nesting_ends_without_an_error():
    assert markdown_blocks(">" * 400 + " a", where="cell 1")
