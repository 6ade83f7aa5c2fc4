from __future__ import annotations

import ast
import html
import re
from pathlib import Path

import nbformat
import pytest
from tests.conftest import ROOT
from tests.executed_questions import executed_question
from tests.notebooks.told_numbers import findings_of, not_shown, shown_text, told_numbers

from quenchbook.report.run import executed
from quenchbook.steps import NOTEBOOKS, copy_example

PATHS = [ROOT / "notebooks" / f"{name}.ipynb" for name in NOTEBOOKS]
QUESTIONS = sorted((ROOT / "notebooks" / "questions").glob("*.ipynb"))

FOUND = {
    "does_waiting_spoil_it": (
        "costs 0.23 HRC", "not yet lost after 24 h", "no upper limit", "<td>0.05 to 0.50</td>",
    ),
    "how_many_coupons": (
        "12 furnace loads with 96 coupons", "8 furnace loads with 64 coupons",
        "if there is none 8 times in 10", "0.82 instead of 0.50 HRC", "<td>712 EUR",
    ),
    "how_many_furnace_loads": (
        "1.65 HRC", "1.66 HRC", "1.02 HRC", "1.23 HRC", "4.4 HRC", "No plan here finds",
        "<td>0.5</td>", "<td>0.47</td>",
    ),
    "how_sure_is_a_published_table": (
        "+23.00 percentage points (95 % interval 16.65 to 29.35)", "rests on one spare unit",
        "There was one group",
    ),
    "is_a_freezer_enough": (
        "hardness +0.63 HRC (95 % interval 0.47 to 0.79)", "+0.64 HRC (95 % interval 0.48 to 0.80)",
        "any difference is smaller than the margin of 0.5 HRC", "<td>134.31</td>",
    ),
    "lot_against_lot": ("+14 °C (95 % interval +8 to +24 °C", "margin is not settled"),
    "no_difference_that_matters": (
        "+0.01 HRC (90 % interval −0.12 to +0.14)", "−0.15 to +0.17; margin 0.1 HRC",
        "about 5.1 times", "−17 % to +13 %", "in 79 % of such studies", "hardly ever",
    ),
    "tougher_or_only_softer": (
        "neither a difference nor its absence was shown", "about 2.4 times",
        "never had the same hardness",
    ),
    "what_can_a_fraction_not_tell": (
        "<td>transfer_time:hold_down_time</td>", "−0.260 in (95 % interval −0.336 to −0.183)",
        "+0.029 in (95 % interval −0.048 to +0.105)", "F(1, 6) = 27.88", "<td>38</td>",
        "Variation between runs is estimated as 0",
    ),
    "what_did_my_studies_find": (
        "6 studies", "<td>0.267</td>", "<td>0.229</td>", "<td>0.417</td>", "<td>61.75 to 62.51</td>", "<td>−1.28</td>", "<td>−1.03</td>",
        "two_lots is left out: cold_route was not varied",
    ),
    "what_did_others_find": (
        "−0.8 % on average (95 % interval −25 % to +32 %)",
        "−9.1 % on average (95 % interval −31 % to +20 %)", "too few to pool",
        "inside what a further study was expected to find",
    ),
    "what_does_the_steel_model_say": (
        "215 (170 to 260)", "143 (98 to 188)", "0.49 (0.38 to 0.60)", "0.32 to 0.54",
        "0.99 (0.87 to 1.12)", "0.66 to 0.87", "Constant 18.3, standard error 1.2", "A prior, not a measurement",
    ),
    "what_is_noise": (
        "standard deviation 34 (19 to 129)", "<td>2.75</td>", "<td>0.209</td>", "<td>0.002</td>",
        "<td>0.024</td>", "<td>0.003</td>", "<td>0.386</td>", "<td>0.852</td>",
    ),
    "what_went_differently": (
        "982 °C, planned 970 °C", "Delay of cold batch 1-4 was 85 min", "JCY9 (lost: cracked",
        "<td>0.74</td>", "<td>1.54</td>", "+0.63 HRC", "+0.64 HRC", "Nothing unusual was found",
        '"differs" stays in 10 of 12 cases', '"exceeds" without furnace load 3 or 5',
    ),
    "where_is_it_hardest": (
        "+27 °C (95 % interval +18 to +47 °C", "certainly from 992 to 1014 °C",
        "<td>981.7</td>", "<td>1022</td>",
    ),
    "which_coupons_next": (
        "Try tempers cooler than 150 °C", "Only longer delays can tell more",
        "Is a freezer enough to make it harder? expected interval ±0.19 HRC",
        "Is a freezer enough to make it harder? expected interval ±0.16 HRC",
    ),
    "which_temper": ("155 °C with dry ice gives 63 HRC", "168 °C or cooler", "5.8 (4.1 to 7.4)"),
}  # fmt: skip
"""Words and cells of outputs that have to stand there as they are, so that no slip of a digit fits."""

NOT_SHOWN = {
    "lot_against_lot": {"20": "the truth"},
    "tougher_or_only_softer": {"\N{MINUS SIGN}1": "the truth", "\N{MINUS SIGN}5": "the truth"},
    "what_can_a_fraction_not_tell": {"32": "combinations of five factors at two levels"},
    "what_does_the_steel_model_say": {"998": "shown by the page where_is_it_hardest"},
    "which_coupons_next": {
        "32": "coupons of four loads", "0.63": "shown by the page is_a_freezer_enough",
    },
}  # fmt: skip
"""Numbers of the words that no output of the same page shows; test_told_truth computes each."""


@pytest.mark.parametrize("path", [*PATHS, *QUESTIONS], ids=lambda path: path.stem)
def test_a_committed_notebook_is_clean_and_thin(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    assert notebook.metadata.kernelspec.name == "python3"
    assert "widgets" not in notebook.metadata
    assert notebook.cells[0].cell_type == "markdown"
    assert notebook.cells[0].source.startswith("# ")
    tagged = [cell for cell in notebook.cells if "parameters" in cell.metadata.get("tags", [])]
    assert len(tagged) == 1
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert cell.outputs == []
            assert cell.execution_count is None
            assert len(cell.source.splitlines()) <= 12
            kinds = (ast.FunctionDef, ast.ClassDef, ast.For, ast.While)
            assert not any(isinstance(node, kinds) for node in ast.walk(ast.parse(cell.source)))


@pytest.mark.parametrize("path", [*PATHS, *QUESTIONS], ids=lambda path: path.stem)
def test_the_cells_of_a_notebook_keep_their_ids(path: Path) -> None:
    ids = [cell.id for cell in nbformat.read(path, as_version=4).cells]
    assert len(set(ids)) == len(ids)
    prefix = ids[0].removesuffix("-00")
    assert all(re.fullmatch(rf"{prefix}-\d\d[a-z]?", own) for own in ids)


@pytest.mark.parametrize("path", QUESTIONS, ids=lambda path: path.stem)
def test_a_page_of_one_question_says_what_it_found_and_what_not(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    words = [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]
    assert words[0].splitlines()[0].endswith("?")
    heads = [text.splitlines()[0] for text in words]
    assert "## The finding on the demonstration, in words" in heads
    assert "## What it does not say" in heads
    assert any(head.startswith("## On your own") for head in heads)


@pytest.mark.parametrize("path", QUESTIONS, ids=lambda path: path.stem)
def test_a_page_of_one_question_shows_what_its_words_say(
    path: Path, request: pytest.FixtureRequest
) -> None:
    notebook = executed_question(path, request.config)  # kept for the handbook of the browser lane
    outputs = [out for cell in notebook.cells for out in cell.get("outputs", [])]
    shown = " ".join(out.get("data", {}).get("text/html", "") for out in outputs)
    shown = re.sub(r"</?(?:strong|em|b)>", "", re.sub(r"<td [^>]*>", "<td>", shown))
    shown = html.unescape(shown).replace("\xa0", " ")
    assert [words for words in FOUND[path.stem] if words not in shown] == []
    assert "data:image/png" in shown


@pytest.mark.parametrize("path", QUESTIONS, ids=lambda path: path.stem)
def test_each_number_of_the_short_answer_and_the_finding_is_shown_by_the_page(
    path: Path, request: pytest.FixtureRequest
) -> None:
    notebook = executed_question(path, request.config)
    shown = told_numbers(shown_text(notebook))
    for cell in notebook.cells:
        if "parameters" in cell.metadata.get("tags", []):
            shown += told_numbers(cell.source)
    told = [own for words in findings_of(notebook) for own in told_numbers(words)]
    assert len(told) >= 3
    left = {own.sign + own.digits for own in not_shown(told, shown)}
    assert left == set(NOT_SHOWN.get(path.stem, {}))


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    place = tmp_path_factory.mktemp("studies")
    names = ("plane_irons", "coated_bars")
    return {name: copy_example(name, place / name) for name in names}


CASES = [(name, example) for name in NOTEBOOKS for example in ("plane_irons", "coated_bars")]
CASES.remove(("05_report", "plane_irons"))  # half a minute; `report_of` executes it for all tests


@pytest.mark.parametrize(("name", "example"), CASES)
def test_a_notebook_runs_from_a_clean_kernel(
    name: str, example: str, folders: dict[str, Path]
) -> None:
    folder = folders[example]
    path = folder / "notebooks" / f"{name}.ipynb"
    check_outputs(executed(path, parameters={"study_folder": ".."}, folder=path.parent))


def test_the_report_notebook_runs_from_a_clean_kernel_on_the_demonstration(report_of) -> None:
    check_outputs(report_of("plane_irons").notebook)


def check_outputs(notebook: nbformat.NotebookNode) -> None:
    """There are outputs, none is an error, and some are to be read."""
    outputs = [out for cell in notebook.cells for out in cell.get("outputs", [])]
    assert outputs
    assert all(out.output_type != "error" for out in outputs)
    shown = [out.get("data", {}).get("text/html", "") for out in outputs]
    assert any("<" in text for text in shown)


@pytest.mark.parametrize("example", ["steel_bars", "springs", "leaf_springs", "two_lots"])
def test_the_analysis_runs_on_every_study_that_comes_with_it(example: str) -> None:
    path = ROOT / "notebooks" / "04_analysis.ipynb"
    folder = ROOT / "data" / example
    notebook = executed(path, parameters={"study_folder": str(folder)}, folder=path.parent)
    outputs = [out for cell in notebook.cells for out in cell.get("outputs", [])]
    shown = " ".join(out.get("data", {}).get("text/html", "") for out in outputs)
    assert "This study does not ask it" in shown
