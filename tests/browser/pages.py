"""Published pages as files, written once for the browser lane, and the tools that judge them."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any, Final, Literal

from playwright.sync_api import Page

from quenchbook.study.stock import OtherPieces, Stock, StockBar

HERE = Path(__file__).parent
MODULES = HERE / "node_modules"
AXE = MODULES / "axe-core" / "axe.min.js"
NU = MODULES / "vnu-jar" / "build" / "dist" / "vnu.jar"
CHROMIUM = "/usr/bin/chromium"
INSTALL = "(cd tests/browser && npm ci --no-audit --no-fund --ignore-scripts)"

STOCK: Final = Stock(
    (StockBar(500.0),), 25.0, 1.6, 10.0, pieces=(OtherPieces("spare share", 60.0),), labels=True
)
"""Stock that gives the booklet of the demonstration all its sheets."""

PAGES: Final[dict[str, tuple[str, str, bool]]] = {
    "plane_irons": ("plane_irons", "public", False),
    "plane_irons_code": ("plane_irons", "public", True),
    "plane_irons_supporters": ("plane_irons", "supporters", False),
    "plane_irons_supporters_code": ("plane_irons", "supporters", True),
    "coated_bars": ("coated_bars", "public", False),
    "coated_bars_code": ("coated_bars", "public", True),
    "coated_bars_supporters": ("coated_bars", "supporters", False),
    "coated_bars_supporters_code": ("coated_bars", "supporters", True),
    "booklet_plane_irons": ("plane_irons", "", False),
    "booklet_coated_bars": ("coated_bars", "", False),
    "phone": ("plane_irons", "", False),
}
"""Pages by name: the example, the edition of a report, whether its code is shown."""

MODES: Final[dict[str, tuple[int, Literal["light", "dark"]]]] = {
    "light": (1100, "light"),
    "dark": (1100, "dark"),
    "narrow": (360, "light"),
}
"""How a page is looked at: width [CSS px] and colours."""

AXE_RUN = """
async place => {
  const found = await axe.run(place || document, {resultTypes: ["violations"]});
  return found.violations.flatMap(rule => rule.nodes.map(
    node => `${rule.id}: ${node.html.slice(0, 160)}: ${node.failureSummary}`));
}
"""


@cache
def axe_source() -> str:
    """Rules of accessibility, as a script for a page."""
    return _there(AXE).read_text(encoding="utf-8")


def axe_violations(page: Page, place: str = "") -> list[str]:
    """What breaks a rule of accessibility on a page, or in one place of it."""
    page.evaluate(axe_source())
    found: list[str] = page.evaluate(AXE_RUN, place)
    return found


def html_errors(paths: Sequence[Path]) -> list[str]:
    """Errors of HTML, CSS and SVG in files, by the Nu validator."""
    command = ["java", "-jar", _there(NU), "--errors-only", "--format", "json", *paths]
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        raise RuntimeError(
            "The validator needs java. Install it (Debian: apt-get install default-jre-headless)."
        ) from None
    messages: list[dict[str, Any]] = json.loads(done.stderr)["messages"]
    return [
        f"{Path(own.get('url', '?')).name} line {own.get('lastLine')}: {own['message']}: "
        f"{own.get('extract', '')!r:.160}"
        for own in messages
    ]


def _there(path: Path) -> Path:
    if not path.is_file():
        raise RuntimeError(f"{path} is missing. Install what checks the pages: {INSTALL}")
    return path
