from __future__ import annotations

import ast
from pathlib import Path

import nbformat
import pytest
from tests.conftest import ROOT

from quenchbook.report.run import executed
from quenchbook.steps import NOTEBOOKS, copy_example

PATHS = [ROOT / "notebooks" / f"{name}.ipynb" for name in NOTEBOOKS]


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)
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


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    place = tmp_path_factory.mktemp("studies")
    names = ("plane_irons", "coated_bars")
    return {name: copy_example(name, place / name) for name in names}


@pytest.mark.parametrize("example", ["plane_irons", "coated_bars"])
@pytest.mark.parametrize("name", NOTEBOOKS)
def test_a_notebook_runs_from_a_clean_kernel(name: str, example: str, folders: dict[str, Path]) -> None:
    folder = folders[example]
    path = folder / "notebooks" / f"{name}.ipynb"
    notebook = executed(path, parameters={"study_folder": ".."}, folder=path.parent)
    outputs = [out for cell in notebook.cells for out in cell.get("outputs", [])]
    assert outputs
    assert all(out.output_type != "error" for out in outputs)
    shown = [out.get("data", {}).get("text/html", "") for out in outputs]
    assert any("<" in html for html in shown)
