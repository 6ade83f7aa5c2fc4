"""Every page that we publish, in Chromium: quiet, within its width, open to all, and valid."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page
from tests.browser.pages import MODES, PAGES, axe_violations, html_errors

pytestmark = pytest.mark.browser

OVER_THE_EDGE = """
() => [...document.querySelectorAll("body *")]
  .filter(own => !own.closest("svg, .sheet, .skip, thead, [hidden]"))
  .filter(own => own.getBoundingClientRect().right > document.documentElement.clientWidth + 1)
  .map(own => `${own.tagName} ${own.className}`)
"""


class Listener:
    """What a page asked for and complained of."""

    def __init__(self, page: Page) -> None:
        self.heard: list[str] = []
        page.on("request", lambda own: self.heard.append(own.url))
        page.on("dialog", lambda own: (self.heard.append(f"dialog {own.message}"), own.dismiss()))
        page.on("pageerror", lambda own: self.heard.append(f"error {own}"))
        page.on(
            "console",
            lambda own: self.heard.append(f"{own.type} {own.text}") if own.type in ("error", "warning") else None,
        )  # fmt: skip

    def beside(self, path: Path) -> list[str]:
        """All that was heard beside the file itself and data inside it."""
        return [own for own in self.heard if own != path.as_uri() and not own.startswith("data:")]


def opened(browser: Browser, mode: str) -> Page:
    width, colours = MODES[mode]
    return browser.new_page(viewport={"width": width, "height": 800}, color_scheme=colours)


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_for_nothing_and_breaks_no_rule_of_accessibility(
    browser: Browser, published_pages: dict[str, Path], name: str, mode: str
) -> None:
    path = published_pages[name]
    page = opened(browser, mode)
    listener = Listener(page)
    page.goto(path.as_uri())
    found = axe_violations(page)
    asked = listener.beside(path)
    page.close()
    assert found == []
    assert asked == []


@pytest.mark.parametrize("name", PAGES)
def test_nothing_runs_over_the_edge_of_a_phone(
    browser: Browser, published_pages: dict[str, Path], name: str
) -> None:
    page = opened(browser, "narrow")
    page.goto(published_pages[name].as_uri())
    wide = page.evaluate("document.documentElement.scrollWidth")
    over = page.evaluate(OVER_THE_EDGE)
    page.close()
    assert wide == 360
    assert over == []


@pytest.mark.parametrize("mode", MODES)
def test_every_screen_of_the_phone_page_breaks_no_rule_of_accessibility(
    browser: Browser, published_pages: dict[str, Path], mode: str
) -> None:
    page = opened(browser, mode)
    page.goto(published_pages["phone"].as_uri())
    for screen in ("Furnace", "Test", "Save"):
        page.get_by_role("button", name=screen, exact=True).click()
        assert axe_violations(page) == [], screen
    page.close()


def test_the_validator_finds_no_error(published_pages: dict[str, Path]) -> None:
    assert html_errors(list(published_pages.values())) == []


def test_the_rules_and_the_validator_find_what_is_wrong(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "wrong.html"
    path.write_text(
        "<!DOCTYPE html><html><head><title>t</title></head><body><main><img src='data:,'>"
        "<p style='color:#ccc;background:#fff'>pale</p></div></main></body></html>",
        encoding="utf-8",
    )
    page = opened(browser, "light")
    page.goto(path.as_uri())
    found = " ".join(axe_violations(page))
    page.close()
    assert {"image-alt", "color-contrast", "html-has-lang"} <= {
        rule for rule in ("image-alt", "color-contrast", "html-has-lang") if f"{rule}: " in found
    }
    errors = " ".join(html_errors([path]))
    assert "Stray end tag" in errors
    assert "alt" in errors
