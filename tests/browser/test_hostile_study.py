"""The report of a hostile study in Chromium: no dialog, no request, no error of the page."""

from __future__ import annotations

from pathlib import Path

import pytest
from playwright.sync_api import Browser
from tests.hostile_study import publish_hostile_study

FIRE = "document.querySelectorAll('*').forEach(own => own.dispatchEvent(new Event('error')))"
WIDER = "document.documentElement.scrollWidth - document.documentElement.clientWidth"

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    paths = publish_hostile_study(tmp_path_factory.mktemp("hostile") / "study")
    return [path for path in paths if path.suffix == ".html"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1100])
@pytest.mark.parametrize("edition", [0, 1])
def test_nothing_of_a_hostile_study_runs(
    browser: Browser, pages: list[Path], edition: int, width: int, scheme: str
) -> None:
    page = browser.new_page(viewport={"width": width, "height": 740}, color_scheme=scheme)
    told: list[str] = []
    page.on("dialog", lambda dialog: (told.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: told.append(request.url))
    page.on("pageerror", lambda error: told.append(str(error)))
    page.on("console", lambda message: told.append(message.text))
    page.goto(pages[edition].as_uri())
    page.evaluate(FIRE)
    page.wait_for_timeout(200)
    assert [one for one in told if not one.startswith(("data:", pages[edition].as_uri()))] == []
    assert page.evaluate(WIDER) <= 0
    page.close()
