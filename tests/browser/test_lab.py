"""The first minutes in JupyterLab: the Launcher, its tile, and the start page of a new study."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.lab import LAB_TIMEOUT, LabServer, running_lab, wait_for_lab

import quenchbook as qb

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
    launcher.locator(".jp-Dialog").get_by_role("textbox").fill("o1_freezer")
    launcher.keyboard.press("Enter")
    output = launcher.locator(".jp-OutputArea-output")
    first = output.get_by_text("Next: say in study.toml what is asked")
    expect(first).to_be_visible(timeout=LAB_TIMEOUT)
    assert qb.read_study(lab_server.root / "o1_freezer").key == "o1_freezer"

    output.get_by_role("link", name="01_plan.ipynb").click()
    plan = launcher.get_by_role("heading", name="1 Plan: what is asked")
    expect(plan).to_be_visible(timeout=LAB_TIMEOUT)
    expect(launcher.locator(".Toastify__toast")).to_have_count(0)


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
