"""The whole handbook in Chromium, built once: quiet, within its width, open to all, and valid."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser
from tests.browser.pages import MODES, axe_source, html_errors
from tests.browser.test_published_pages import OVER_THE_EDGE, Listener
from tests.conftest import ROOT
from tests.executed_questions import QUESTIONS, executed_question, is_kept, keep

from quenchbook.handbook.building import write_handbook
from quenchbook.handbook.gallery import executed_questions

pytestmark = pytest.mark.browser


@pytest.fixture(scope="session")
def handbook(
    pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, Path]:
    """Pages by name. Notebooks that the fast lane has run are taken from it; others are run here."""
    missing = [path for path in QUESTIONS if not is_kept(path, pytestconfig)]
    if missing:
        run = executed_questions(missing)
        for path in missing:
            keep(path, run[path.stem], pytestconfig)
    notebooks = {path.stem: executed_question(path, pytestconfig) for path in QUESTIONS}
    folder = tmp_path_factory.mktemp("handbook") / "book"
    return {path.stem: path for path in write_handbook(folder, notebooks=notebooks)}


RULES = {
    "light": {},
    "dark": {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}},
    "narrow": {"rules": {"color-contrast": {"enabled": False}}},
}
"""Rules of accessibility for each way of looking: in the dark only colours differ, on a phone not."""

VIOLATIONS = """
async rules => {
  const found = await axe.run(document, {resultTypes: ["violations"], ...rules});
  return found.violations.flatMap(rule => rule.nodes.map(
    node => `${rule.id}: ${node.html.slice(0, 160)}: ${node.failureSummary}`));
}
"""


def test_every_page_asks_for_nothing_keeps_its_width_and_breaks_no_rule_of_accessibility(
    browser: Browser, handbook: dict[str, Path]
) -> None:
    found: list[str] = []
    page = browser.new_page()
    listener = Listener(page)
    for name, path in handbook.items():
        listener.heard.clear()
        page.goto(path.as_uri())
        page.evaluate(axe_source())
        for mode, (width, colours) in MODES.items():
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme=colours)
            broken = page.evaluate(VIOLATIONS, RULES[mode])
            over = page.evaluate(OVER_THE_EDGE)
            if page.evaluate("document.documentElement.scrollWidth") != width:
                over.append("the page")
            found += [f"{name} {mode}: {own}" for own in broken]
            found += [f"{name} {mode} is too wide: {own}" for own in over]
        found += [f"{name} asks for {own}" for own in listener.beside(path)]
    page.close()
    assert found == []


def test_the_validator_finds_no_error_in_the_handbook(handbook: dict[str, Path]) -> None:
    assert html_errors(list(handbook.values())) == []


def test_no_page_names_a_folder_of_this_machine(handbook: dict[str, Path]) -> None:
    for name, path in handbook.items():
        page = path.read_text(encoding="utf-8")
        assert str(ROOT) not in page, name
        assert str(path.parent) not in page, name
