"""A walk through the notebooks as a person takes it: opened in JupyterLab, all cells run.

With ``WALK_PICTURES=FOLDER`` a picture of each notebook, whole, is left there to look at.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.lab import LAB_TIMEOUT, LabServer, running_lab, wait_for_lab
from tests.browser.pages import axe_violations
from tests.conftest import ROOT

from quenchbook.steps import NOTEBOOKS, copy_example

pytestmark = pytest.mark.walk

STEPS = [f"study/notebooks/{name}.ipynb" for name in NOTEBOOKS]
QUESTIONS = [
    f"notebooks/questions/{path.name}"
    for path in sorted((ROOT / "notebooks" / "questions").glob("*.ipynb"))
]
LONGEST_RUN = 180_000  # milliseconds, beside other work; alone some 10 s

READY = """
() => {
  const own = window.jupyterapp?.shell.currentWidget?.context?.sessionContext;
  return own?.isReady && own.session?.kernel?.connectionStatus === "connected"
    && own.session.kernel.status === "idle";
}
"""
ALL_RUN = """
() => {
  const own = window.jupyterapp.shell.currentWidget;
  return own.context.sessionContext.session.kernel.status === "idle"
    && [...own.content.model.cells].every(cell => cell.type !== "code"
      || !cell.sharedModel.source.trim() || cell.executionCount !== null);
}
"""
WRONG = """
() => [...window.jupyterapp.shell.currentWidget.content.model.cells]
  .filter(cell => cell.type === "code")
  .flatMap(cell => cell.sharedModel.outputs)
  .filter(out => out.output_type === "error" || out.name === "stderr")
  .map(out => `${out.ename || "stderr"}: ${out.evalue || out.text}`)
"""
DRAW_ALL = """
async () => {
  const notebook = window.jupyterapp.shell.currentWidget.content;
  notebook.notebookConfig = {...notebook.notebookConfig, windowingMode: "none"};
  await new Promise(done => setTimeout(done, 500));
  return Math.ceil(notebook.node.querySelector(".jp-WindowedPanel-outer").scrollHeight);
}
"""
TO_TOP = """
() => {
  const notebook = window.jupyterapp.shell.currentWidget.content;
  notebook.activeCellIndex = 0;
  notebook.node.querySelector(".jp-WindowedPanel-outer").scrollTop = 0;
}
"""
TOO_WIDE = """
() => [...document.querySelectorAll(".jp-OutputArea-output")]
  .filter(out => out.scrollWidth > out.clientWidth + 1)
  .map(out => `${out.scrollWidth} px in ${out.clientWidth}: ${out.innerText.slice(0, 80)}`)
"""


@pytest.fixture(scope="module")
def lab_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LabServer]:
    """JupyterLab on a copy of the demonstration and of the gallery."""
    place = tmp_path_factory.mktemp("walk")
    root = place / "root"
    copy_example("plane_irons", root / "study")
    for name in ("data", "notebooks"):
        shutil.copytree(ROOT / name, root / name)
    with running_lab(root, place / "home") as server:
        yield server


@pytest.mark.parametrize("path", [*STEPS, *QUESTIONS], ids=lambda path: Path(path).stem)
def test_every_cell_of_a_notebook_runs_and_its_outputs_can_be_read(
    browser: Browser, lab_server: LabServer, path: str
) -> None:
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.set_default_timeout(LAB_TIMEOUT)
    told: list[str] = []
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on(
        "console", lambda message: told.append(message.text) if message.type == "error" else None
    )
    page.goto(lab_server.page(path) + "&reset")
    wait_for_lab(page)
    run_all(page)
    assert page.evaluate(WRONG) == []
    height = page.evaluate(DRAW_ALL)
    page.set_viewport_size({"width": 1200, "height": min(height + 150, 16_000)})
    keep_picture(page, Path(path).stem)
    assert axe_violations(page, ".jp-Notebook .jp-RenderedHTMLCommon.jp-OutputArea-output") == []
    assert page.evaluate(TOO_WIDE) == []
    page.evaluate("() => window.jupyterapp.serviceManager.sessions.shutdownAll()")
    page.close()
    assert told == []


def run_all(page: Page) -> None:
    """Run all cells of the notebook that is open, and wait for the last."""
    page.wait_for_function(READY)
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_function(ALL_RUN, timeout=LONGEST_RUN)


def keep_picture(page: Page, name: str) -> None:
    """Leave a picture to look at, where one is wanted."""
    if folder := os.environ.get("WALK_PICTURES"):
        page.evaluate(TO_TOP)
        page.wait_for_timeout(500)  # figures and fonts
        page.screenshot(path=Path(folder) / f"{name}.png")
