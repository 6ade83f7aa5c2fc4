"""Notebook to document: editions, numbers, headings, what is refused."""

from __future__ import annotations

import datetime

import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from quenchbook.errors import ReportError
from quenchbook.report.blocks import FigureBlock, Headline, Preformatted, Section, table
from quenchbook.report.document import Document
from quenchbook.report.from_notebook import report_document


def _labels(document):
    return [placed.label for placed in document.placed if placed.label]


def _words(document):
    return repr(document.blocks)


def test_figures_and_tables_are_numbered_once_in_order(careful):
    document = report_document(careful)
    assert _labels(document) == ["Figure 1", "Figure 2", "Table 1", "Table 2"]
    assert len(document.anchors) == sum(bool(placed.anchor) for placed in document.placed)


def test_details_come_from_the_notebook_and_give_way_to_those_given(careful):
    document = report_document(careful, details={"author": "B. Hand", "date": ""})
    assert document.author == "B. Hand"
    assert document.date == datetime.date(2026, 1, 14)
    assert document.study == "Plane irons, A2"
    assert document.running_head == "Plane irons, A2, invented data"


def test_a_long_study_name_never_hides_that_data_are_invented(notebook_showing):
    document = report_document(notebook_showing(study="s" * 300))
    assert len(document.running_head) <= 80
    invented = Document("t", (Headline("t", invented=True),), study="s" * 300)
    assert invented.running_head.endswith("…, invented data")


def test_the_public_edition_has_no_trace_of_what_supporters_get(careful):
    assert "paid for the steel" not in _words(report_document(careful))
    assert "paid for the steel" in _words(report_document(careful, edition="supporters"))


def test_an_appendix_can_be_left_out_and_numbers_follow(careful):
    assert _labels(report_document(careful, appendix=False))[-1] == "Table 1"


@pytest.mark.parametrize("tag", ["setup", "remove-cell"])
def test_cells_for_the_machine_never_show(tag):
    cell = new_code_cell(
        "import quenchbook", metadata={"tags": [tag]},
        outputs=[new_output("stream", name="stdout", text="noise")],
    )  # fmt: skip
    notebook = new_notebook(cells=[new_markdown_cell("# Q"), cell])
    assert len(report_document(notebook, show_code=True).blocks) == 1


def test_code_shows_only_when_asked(careful):
    assert "qb.report" not in _words(report_document(careful))
    assert (
        Preformatted("qb.report(...)", is_code=True)
        in report_document(careful, show_code=True).blocks
    )


def test_outputs_without_a_block_show_their_plain_text_only():
    outputs = [
        new_output("execute_result", data={"text/plain": "0.94", "text/html": "<b>x</b>"}),
        new_output("stream", name="stdout", text="\x1b[1mK7TC\x1b[0m\n"),
        new_output("stream", name="stderr", text="private.py: warning"),
        new_output("display_data", data={"text/plain": "<IPython.core.display.HTML object>"}),
    ]
    notebook = new_notebook(cells=[new_markdown_cell("# Q"), new_code_cell("x", outputs=outputs)])
    assert report_document(notebook).blocks[1:] == (Preformatted("0.94"), Preformatted("K7TC"))


def test_a_failed_cell_is_named():
    output = new_output("error", ename="ValueError", evalue="no load 13", traceback=["secret"])
    cell = new_code_cell("\n\nqb.read_records('x')", outputs=[output])
    with pytest.raises(ReportError, match=r"cell 2 \('qb.read_records\('x'\)'\).*no load 13") as e:
        report_document(new_notebook(cells=[new_markdown_cell("# Q"), cell]))
    assert "secret" not in str(e.value)


def test_a_figure_without_alternative_text_is_named(notebook_showing, drawn):
    figure = FigureBlock("noise", drawn.svg, "", "Loads differ.", alt="  ")
    with pytest.raises(ReportError, match="figure 'noise': it has no alternative text"):
        report_document(notebook_showing(figure))


def test_all_mistakes_are_told_at_once(notebook_showing, drawn):
    empty = FigureBlock("empty", "", "", "f", alt="a")
    with pytest.raises(ReportError) as caught:
        report_document(notebook_showing(Section("deep", 4), drawn, empty, Section("\u202e ")))
    told = str(caught.value)
    assert "heading 'deep': level 4 follows level 1. Make it level 2." in told
    assert "figure 'empty': it has no picture" in told
    assert "it has no words" in told


def test_a_second_title_is_refused_but_the_same_question_in_markdown_is_not(notebook_showing):
    same = notebook_showing()
    same.cells.insert(0, new_markdown_cell("# Is it so?"))
    assert len(report_document(same).blocks) == 1
    other = notebook_showing(Section("Another question?", 1))
    with pytest.raises(ReportError, match="a second heading of level 1"):
        report_document(other)


def test_a_title_from_the_metadata_becomes_the_first_heading():
    notebook = new_notebook(
        cells=[new_markdown_cell("## Part")], metadata={"quenchbook": {"title": "Is it so?"}}
    )
    assert report_document(notebook).blocks[0] == Section("Is it so?", 1)


@pytest.mark.parametrize(
    ("details", "message"),
    [
        ({"date": "14.1.2026"}, "expected a day such as 2026-01-14"),
        ({"language": "<x>"}, "is no language"),
    ],
)
def test_details_are_checked(notebook_showing, details, message):
    with pytest.raises(ReportError, match=message):
        report_document(notebook_showing(), details=details)


def test_a_notebook_without_a_title_is_refused():
    with pytest.raises(ReportError, match="it has no title"):
        report_document(new_notebook(cells=[new_markdown_cell("words")]))


def test_an_unknown_edition_is_refused(careful):
    with pytest.raises(ReportError, match="write public or supporters"):
        report_document(careful, edition="friends")


def test_headings_of_the_same_words_get_anchors_of_their_own(notebook_showing):
    document = report_document(notebook_showing(Section("Loads"), Section("Loads")))
    anchors = [placed.anchor for placed in document.placed]
    assert anchors == ["Is-it-so", "Loads", "Loads-2"]


def test_figures_of_one_key_get_anchors_of_their_own(notebook_showing, drawn):
    document = report_document(notebook_showing(drawn, drawn))
    assert [placed.anchor for placed in document.placed][1:] == ["figure-one", "figure-one-2"]
    assert _labels(document) == ["Figure 1", "Figure 2"]


def test_a_table_is_not_confused_with_a_figure_of_the_same_key(notebook_showing, drawn):
    import pandas as pd

    block = table(pd.DataFrame({"a": [1]}), key="one", caption="c")
    document = report_document(notebook_showing(drawn, block))
    assert _labels(document) == ["Figure 1", "Table 1"]
