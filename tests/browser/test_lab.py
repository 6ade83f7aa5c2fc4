"""The first minutes in JupyterLab: the Launcher, its tile, and the start page of a new study."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_notebook
from playwright.sync_api import Browser, Page, expect
from tests.browser.lab import LAB_TIMEOUT, LabServer, running_lab, wait_for_lab

import quenchbook as qb
from quenchbook.steps import new_study

pytestmark = pytest.mark.browser

TILE = "New heat-treatment study"


@pytest.fixture(scope="module")
def lab_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[LabServer]:
    place = tmp_path_factory.mktemp("lab")
    (place / "root" / "workshop").mkdir(parents=True)
    with running_lab(place / "root", place / "home") as server:
        yield server


@pytest.fixture
def launcher(browser: Browser, lab_server: LabServer) -> Iterator[Page]:
    """The Launcher as JupyterLab opens it first; an error on the console fails the test."""
    page = browser.new_page(viewport={"width": 1200, "height": 800})
    page.set_default_timeout(LAB_TIMEOUT)
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on(
        "console", lambda message: wrong.append(message.text) if message.type == "error" else None
    )
    page.goto(lab_server.page())
    wait_for_lab(page)
    yield page
    page.close()
    assert wrong == []


def test_the_tile_makes_a_study_and_opens_its_start_page(
    launcher: Page, lab_server: LabServer
) -> None:
    tile = launcher.locator(".jp-LauncherCard", has_text=TILE)
    expect(tile).to_be_in_viewport(timeout=LAB_TIMEOUT)
    drawing = tile.locator("svg")
    expect(drawing).to_have_count(1)
    assert drawing.bounding_box()["width"] > 40  # an icon that is missing is a letter, or nothing
    expect(launcher.locator(".Toastify__toast")).to_have_count(0)  # asks whether news are wanted

    tile.click()
    dialog = launcher.locator(".jp-Dialog")
    expect(dialog).to_contain_text("made in the top folder of the file browser:")
    dialog.get_by_role("textbox").fill("o1_freezer")
    launcher.keyboard.press("Enter")
    output = launcher.locator(".jp-OutputArea-output")
    first = output.get_by_text("Next: say in study.toml what is asked")
    expect(first).to_be_visible(timeout=LAB_TIMEOUT)
    assert qb.read_study(lab_server.root / "o1_freezer").key == "o1_freezer"

    output.get_by_role("link", name="01_plan.ipynb").click()
    plan = launcher.get_by_role("heading", name="1 Plan: what is asked")
    expect(plan).to_be_visible(timeout=LAB_TIMEOUT)
    expect(launcher.locator(".Toastify__toast")).to_have_count(0)


def test_the_tile_clicked_in_a_study_says_where_it_goes_and_makes_one_beside_it(
    browser: Browser, lab_server: LabServer
) -> None:
    new_study(lab_server.root / "workshop" / "demo")
    page = browser.new_page()
    page.set_default_timeout(LAB_TIMEOUT)
    page.goto(lab_server.page("workshop/demo/notebooks") + "&reset")  # no tabs of an earlier visit
    wait_for_lab(page)
    page.evaluate(
        """() => { void window.jupyterapp.commands.execute(
          "quenchbook:new-study", { cwd: "workshop/demo/notebooks" }); }"""
    )
    dialog = page.locator(".jp-Dialog")
    expect(dialog).to_contain_text('made in "workshop", beside the study that is open:')
    dialog.get_by_role("textbox").fill("second")
    page.keyboard.press("Enter")
    page.wait_for_function(
        """() => (window.jupyterapp.shell.currentWidget?.context?.path ?? "")
          .startsWith("workshop/second/")"""
    )
    output = page.locator(".jp-OutputArea-output")
    expect(output.get_by_text("Next: say in study.toml")).to_be_visible(timeout=LAB_TIMEOUT)
    page.close()
    assert qb.read_study(lab_server.root / "workshop" / "second").key == "second"


def test_a_name_that_would_leave_the_folder_is_told_and_nothing_is_made(
    browser: Browser, lab_server: LabServer
) -> None:
    page = browser.new_page()
    page.goto(lab_server.page())
    wait_for_lab(page)
    before = sorted(lab_server.root.parent.rglob("study.toml"))
    answer = page.evaluate(
        """async () => {
          const mark = document.cookie.match(/_xsrf=([^;]+)/)[1];
          const ask = (headers, body) => fetch("/quenchbook/studies",
            {method: "POST", headers, body: JSON.stringify(body)});
          const marked = {"X-XSRFToken": mark};
          const named = await ask(marked, {folder: "workshop", name: "../../out"});
          const above = await ask(marked, {folder: "../..", name: "out"});
          const bare = await ask({}, {folder: "", name: "unmarked"});
          return [named.status, (await named.json()).message, above.status, bare.status];
        }"""
    )
    page.close()
    assert answer[0] == 409
    assert "'../../out' is not a name" in answer[1]
    assert answer[2:] == [409, 403]
    assert sorted(lab_server.root.parent.rglob("study.toml")) == before
    assert not (Path(lab_server.root) / "unmarked").exists()


def test_only_the_new_page_runs_when_another_tab_comes_to_the_front_meanwhile(
    launcher: Page, lab_server: LabServer
) -> None:
    other = new_notebook(cells=[new_code_cell("print(1)")])
    other.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
    nbformat.write(other, lab_server.root / "other.ipynb")

    # as somebody who opens another page while the kernel of the new one still starts
    launcher.evaluate(
        """() => {
          const app = window.jupyterapp;
          const execute = app.commands.execute.bind(app.commands);
          window.seen = [];
          app.commands.execute = async (id, args) => {
            if (id === "notebook:run-all-cells") {
              const page = await execute("docmanager:open", { path: "other.ipynb" });
              await page.context.ready;
              await page.sessionContext.ready;
              app.shell.activateById(page.id);
              window.seen.push(app.shell.currentWidget.context.path);
            }
            return execute(id, args);
          };
          void execute("quenchbook:new-study", { cwd: "" });
        }"""
    )
    launcher.locator(".jp-Dialog").get_by_role("textbox").fill("o1_elsewhere")
    launcher.keyboard.press("Enter")
    launcher.wait_for_function("() => window.seen.length", timeout=LAB_TIMEOUT)
    first = launcher.locator(".jp-OutputArea-output").get_by_text("Next: say in study.toml")
    expect(first).to_be_attached(timeout=LAB_TIMEOUT)
    assert launcher.evaluate("() => window.seen") == ["other.ipynb"]
    ran = launcher.evaluate(
        """() => [...window.jupyterapp.shell.widgets("main")]
          .filter((page) => page.context?.path === "other.ipynb")
          .map((page) => page.content.widgets[0].model.executionCount)"""
    )
    assert ran == [None]
    assert launcher.evaluate("() => window.jupyterapp.shell.currentWidget.context.path") == (
        "other.ipynb"  # who looks at another page stays there
    )
