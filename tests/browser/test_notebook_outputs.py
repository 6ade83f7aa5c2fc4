"""HTML that our results show under a cell, as JupyterLab exports it: read by all, and valid."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from nbconvert import HTMLExporter
from nbformat import NotebookNode
from playwright.sync_api import Browser
from tests.browser.pages import axe_violations, html_errors
from tests.conftest import ROOT
from tests.example_reports import ExampleReport

from quenchbook.report.run import executed

pytestmark = pytest.mark.browser

ALLOWED = "file:", "data:"


@pytest.fixture(scope="module", params=["analysis", "report"])
def notebook(
    request: pytest.FixtureRequest, report_of: Callable[[str], ExampleReport]
) -> NotebookNode:
    if request.param == "report":
        return report_of("coated_bars").notebook
    folder = ROOT / "data" / "coated_bars"
    path = ROOT / "notebooks" / "04_analysis.ipynb"
    return executed(path, parameters={"study_folder": str(folder)}, folder=path.parent)


def shown(notebook: NotebookNode) -> list[str]:
    """HTML of the outputs."""
    return [
        "".join(out["data"]["text/html"])
        for cell in notebook.cells
        for out in cell.get("outputs", [])
        if "text/html" in out.get("data", {})
    ]


def test_outputs_break_no_rule_of_accessibility_in_the_export_of_the_lab(
    browser: Browser, notebook: NotebookNode, tmp_path: Path
) -> None:
    """The page around them is not ours; it is neither judged nor let onto the network."""
    path = tmp_path / "lab.html"
    page_text, _ = HTMLExporter(template_name="lab").from_notebook_node(notebook)
    path.write_text(page_text, encoding="utf-8")
    page = browser.new_page(viewport={"width": 1100, "height": 800})
    page.route(
        "**/*",
        lambda own: own.continue_() if own.request.url.startswith(ALLOWED) else own.abort(),
    )
    page.goto(path.as_uri(), wait_until="domcontentloaded")
    found = axe_violations(page, ".jp-RenderedHTML")
    page.close()
    assert found == []


def test_the_validator_finds_no_error_in_outputs(notebook: NotebookNode, tmp_path: Path) -> None:
    outputs = shown(notebook)
    assert outputs
    path = tmp_path / "outputs.html"
    body = "\n".join(f"<div>{own}</div>" for own in outputs)
    path.write_text(
        '<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Outputs</title></head>'
        f"<body>{body}</body></html>",
        encoding="utf-8",
    )
    assert html_errors([path]) == []
