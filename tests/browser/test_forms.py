"""The forms in a real JupyterLab: found by their labels, live, saved, read by a screen reader."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import nbformat
import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.lab import running_lab
from tests.browser.pages import axe_violations
from tests.conftest import ROOT

import quenchbook as qb

pytestmark = pytest.mark.browser

RUNNING = """() => {
  const kernel = window.jupyterapp?.shell.currentWidget?.context?.sessionContext?.session?.kernel;
  return kernel?.connectionStatus == "connected" && kernel?.status == "idle"; }"""


@pytest.fixture(scope="module")
def study_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demonstration without its records, with one notebook for each form."""
    folder = tmp_path_factory.mktemp("lab") / "study"
    source = ROOT / "data" / "plane_irons"
    shutil.copytree(source / "plan", folder / "plan")
    shutil.copy(source / "study.toml", folder)
    for form in ("plan_form", "entry_form"):
        notebook = nbformat.v4.new_notebook(
            cells=[nbformat.v4.new_code_cell(f"import quenchbook as qb\nqb.{form}('.')")],
            metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}},
        )
        nbformat.write(notebook, folder / f"{form}.ipynb")
    return folder


@pytest.fixture(scope="module")
def open_form(
    study_folder: Path, browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[str], Page]]:
    """Opens a notebook and runs its cells."""
    with running_lab(study_folder, tmp_path_factory.mktemp("home")) as server:
        page = browser.new_page(viewport={"width": 1250, "height": 1500})

        def opened(name: str) -> Page:
            page.goto(f"{server.page(f'{name}.ipynb')}&reset", wait_until="domcontentloaded")
            page.wait_for_function(RUNNING, timeout=90_000)
            page.evaluate("window.jupyterapp.commands.execute('notebook:run-all-cells')")
            page.locator(".jp-OutputArea-output .widget-text").first.wait_for(timeout=60_000)
            page.wait_for_function(RUNNING, timeout=60_000)
            return page

        yield opened
        page.close()


def said(page: Page, words: str) -> None:
    """Wait until a live region says these words."""
    live = page.locator("[aria-live]", has_text=re.compile(words))
    expect(live.first).to_be_visible(timeout=30_000)


def test_a_value_changed_by_its_label_is_previewed_and_saved_and_the_tab_key_leads_on(
    open_form: Callable[[str], Page], study_folder: Path
) -> None:
    page = open_form("plan_form")
    region = page.get_by_role("status").filter(has_text="Nothing is changed.")
    region.evaluate("region => { region.dataset.seen = 'before'; }")
    before = (study_folder / "study.toml").read_text(encoding="utf-8")
    page.get_by_label("Furnace loads", exact=True).fill("8")
    said(page, "64 coupons in 8 furnace loads")
    expect(
        page.get_by_role("img", name=re.compile("^64 coupons in 8 furnace loads"))
    ).to_be_visible()
    said(page, "study file now asks for 8 furnace loads, the plan has 12")
    page.keyboard.press("Tab")
    expect(page.get_by_label("Coupons in a load")).to_be_focused()
    page.keyboard.insert_text("none")
    said(page, "coupons_per_load is '.*none'. Write a whole number, 1 or more")
    field = page.get_by_label("Coupons in a load")
    expect(field).to_have_accessible_description(re.compile("Write a whole number, 1 or more"))
    expect(field).to_have_attribute("aria-invalid", "true")
    # said by a region that was there before the words, or many screen readers say nothing
    expect(page.locator("[role=status][aria-live=polite][data-seen=before]")).to_contain_text(
        "This cannot be saved"
    )
    page.get_by_label("Coupons in a load").fill("8")
    page.get_by_role("button", name="Save study.toml").click()
    said(page, "Not saved.*A plan is kept already")
    page.get_by_label(re.compile("A plan is kept already")).check()
    page.get_by_role("button", name="Save study.toml").click()
    said(page, r"Saved study.toml at .*Furnace loads")
    after = (study_folder / "study.toml").read_text(encoding="utf-8")
    assert after == before.replace("furnace_loads = 12\n", "furnace_loads = 8\n")
    assert axe_violations(page, ".jp-OutputArea-output") == []


def test_a_coupon_is_entered_and_kept_at_once(
    open_form: Callable[[str], Page], study_folder: Path
) -> None:
    page = open_form("entry_form")
    page.get_by_label("Indent 1").fill("621")
    page.get_by_label("Indent 2").fill("62,4")
    said(page, r"hardness_hrc is 621.*Was the decimal point lost \(62.1\)")
    for number, value in enumerate(("62,1", "62.4", "62.2", "61.9", "62.3"), start=1):
        page.get_by_label(f"Indent {number}").fill(value)
    page.get_by_role("button", name="Accept coupon").click()
    said(page, "Kept in hardness_entered_1.csv: 4FTD")
    expect(page.get_by_label("Indent 1")).to_be_focused()
    assert axe_violations(page, ".jp-OutputArea-output") == []
    records = qb.read_records(
        study_folder / "records",
        qb.read_plan(study_folder / "plan", qb.read_study(ROOT / "data" / "plane_irons")),
    )
    assert records.readings["value"].tolist() == [62.1, 62.4, 62.2, 61.9, 62.3]
    assert set(records.readings["coupon"]) == {"4FTD"}


def test_a_reopened_notebook_shows_a_summary_in_place_of_the_form(
    open_form: Callable[[str], Page], study_folder: Path
) -> None:
    page = open_form("entry_form")
    expect(page.locator(".quenchbook-form-summary")).to_be_hidden()
    page.evaluate("window.jupyterapp.commands.execute('docmanager:save')")
    page.wait_for_function("() => !window.jupyterapp.shell.currentWidget.context.model.dirty")
    shutil.copy(study_folder / "entry_form.ipynb", study_folder / "again.ipynb")
    page.goto(page.url.partition("/lab/")[0] + "/lab/tree/again.ipynb?reset")
    page.wait_for_function(RUNNING, timeout=90_000)
    expect(page.locator(".quenchbook-form-summary")).to_be_visible()
    page.get_by_text("Error displaying widget").wait_for(state="hidden")
    expect(page.get_by_text("Loading widget")).to_be_hidden()
