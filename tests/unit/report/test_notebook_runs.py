"""Running a notebook: parameters, this Python, plain messages."""

from __future__ import annotations

import sys

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from quenchbook.errors import ReportError
from quenchbook.report.from_notebook import edition_cells
from quenchbook.report.run import executed, parameters_source


def _file(folder, *sources, tags=("parameters",)):
    cells = [new_markdown_cell("# Q")]
    for number, source in enumerate(sources):
        metadata = {"tags": list(tags)} if number == 0 else {}
        cells.append(new_code_cell(source, metadata=metadata, id=f"c{number}"))
    path = folder / "own.ipynb"
    nbformat.write(new_notebook(cells=cells), path)
    return path


def test_a_run_uses_the_parameters_this_python_and_the_folder(tmp_path):
    path = _file(tmp_path, "seed = 1", "import sys, os\nprint(sys.executable, seed, os.getcwd())")
    before, seen = path.read_bytes(), []
    work = tmp_path / "work"
    work.mkdir()
    notebook = executed(
        path, parameters={"seed": 7}, folder=work, progress=lambda *counts: seen.append(counts)
    )
    assert notebook.cells[3].outputs[0].text.split() == [sys.executable, "7", str(work.resolve())]
    assert notebook.cells[2].metadata.tags == ["injected-parameters"]
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert "execution" not in notebook.cells[3].metadata
    assert "widgets" not in notebook.metadata
    assert path.read_bytes() == before


def test_a_failing_cell_is_told_by_its_last_line_without_a_traceback(tmp_path):
    path = _file(tmp_path, "x = 1", "x = 2\n1 / 0  # here\n")
    with pytest.raises(ReportError) as caught:
        executed(path, parameters={}, folder=tmp_path)
    assert str(caught.value) == (
        "own.ipynb cell 3, '1 / 0  # here': ZeroDivisionError: division by zero."
    )


def test_a_failing_cell_has_its_number_in_the_notebook_of_the_author(tmp_path):
    path = _file(tmp_path, "x = 1", "extra", "1 / 0")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells[2].metadata["tags"] = ["supporters"]
    nbformat.write(notebook, path)
    with pytest.raises(ReportError, match=r"own\.ipynb cell 4, '1 / 0'"):
        executed(path, parameters={"x": 2}, folder=tmp_path, without=("supporters",))


def test_a_name_that_only_a_cell_left_out_makes_is_explained(tmp_path):
    path = _file(tmp_path, "x = 1", "y = 2", "print(y)")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells[2].metadata["tags"] = ["supporters"]
    nbformat.write(notebook, path)
    with pytest.raises(ReportError, match=r"NameError.*Cells tagged supporters were not run"):
        executed(path, parameters={}, folder=tmp_path, without=("supporters",))


def test_cells_that_are_left_out_are_not_run_and_not_there(tmp_path):
    path = _file(tmp_path, "x = 1", "open('ran', 'w').close()", "print(x)")
    notebook = nbformat.read(path, as_version=4)
    notebook.cells[2].metadata["tags"] = ["appendix", "supporters"]
    nbformat.write(notebook, path)
    done = executed(path, parameters={"x": 2}, folder=tmp_path, without=("supporters",))
    assert [cell.id for cell in done.cells if cell.cell_type == "code"] == [
        "c0", "injected-parameters", "c2",
    ]  # fmt: skip
    assert not (tmp_path / "ran").exists()
    assert [number for number, _ in edition_cells(done, "public")][-1] == 4


def test_a_cell_that_takes_too_long_is_told(tmp_path):
    path = _file(tmp_path, "import time; time.sleep(30)")
    with pytest.raises(ReportError, match=r"cell 2, 'import time.*longer than 1 s"):
        executed(path, parameters={}, folder=tmp_path, timeout=1)


def test_parameters_injected_before_are_replaced(tmp_path):
    notebook = new_notebook(
        cells=[
            new_code_cell("seed = 1", metadata={"tags": ["parameters"]}, id="a"),
            new_code_cell("seed = 2", metadata={"tags": ["injected-parameters"]}, id="b"),
            new_code_cell("print(seed)", id="c"),
        ]
    )
    path = tmp_path / "own.ipynb"
    nbformat.write(notebook, path)
    done = executed(path, parameters={"seed": 3}, folder=tmp_path)
    assert [cell.source for cell in done.cells][1] == "# injected parameters\nseed = 3"
    assert done.cells[2].outputs[0].text == "3\n"


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda folder: folder / "none.ipynb", "cannot be read as a notebook"),
        (lambda folder: _file(folder, "x = 1", tags=()), "0 cells tagged 'parameters'"),
    ],
)
def test_a_notebook_that_cannot_run_is_told(tmp_path, make, message):
    with pytest.raises(ReportError, match=message):
        executed(make(tmp_path), parameters={"seed": 1}, folder=tmp_path)


def test_a_file_that_is_no_notebook_is_told(tmp_path):
    path = tmp_path / "own.ipynb"
    path.write_text("not json", encoding="utf-8")
    with pytest.raises(ReportError, match="cannot be read as a notebook"):
        executed(path, parameters={}, folder=tmp_path)


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        ({"a b": 1}, "'a b' cannot be the name"),
        ({"x": object()}, "Parameter 'x' is <object"),
        ({"x": float("nan")}, "Parameter 'x' is nan"),
    ],
)
def test_only_plain_values_are_parameters(parameters, message):
    with pytest.raises(ReportError, match=message):
        parameters_source(parameters)


def test_hostile_parameters_stay_values(tmp_path):
    text = '\'\nimport os\n""" \\'
    namespace: dict[str, object] = {}
    exec(parameters_source({"x": text, "y": [1, {"k": (2.5, None)}]}), namespace)
    assert namespace["x"] == text
    assert namespace["y"] == [1, {"k": [2.5, None]}]
