"""Say what is installed, what is missing, and what to do about it."""

from __future__ import annotations

import importlib.metadata
import platform
import sys
import tempfile
from pathlib import Path

ALSO_NAMED = ("numpy", "ipykernel")
"""Packages that others bring along; a report of a fault needs their versions."""

OPTIONAL = {
    "ortools": ("to search for timetables", "timetable"),
    "pyarrow": ("to keep what was read of many studies", "library"),
    "pycalphad": ("austenite from a database of your own", "calphad"),
}
"""Packages that some of the job can use, what for, and the extra that installs them."""


def checkup() -> tuple[list[str], bool]:
    """Check the installation.

    Returns
    -------
    lines : list of str
        What was found, for people and for bug reports; the last one is the verdict.
    healthy : bool
        Whether the whole job can be done.
    """
    from quenchbook import __version__
    from quenchbook.jupyter_checkup import jupyter_checkup

    lines = [
        f"quenchbook {__version__}, Python {platform.python_version()} ({sys.executable}), "
        f"{platform.platform()}"
    ]
    found, missing = _package_lines()
    lines += found
    told, works = _pdf_lines()
    lines += told
    missing += not works
    for line, there in (_font_line(), _writing_line()):
        lines.append(line)
        missing += not there
    told, absent = jupyter_checkup()
    lines += told
    missing += absent
    if missing:
        things = "thing needs" if missing == 1 else "things need"
        verdict = f'{missing} {things} your hand: see NO, MISSING and "outside" above.'
    else:
        verdict = "Everything is there that the whole job needs."
    return [*lines, verdict], not missing


def requirements() -> dict[str, tuple[str, str]]:
    """What the installation says it needs on this machine.

    Returns
    -------
    dict of package name to (bounds, extra)
        Bounds such as ``>=3.0,<4``; the extra is blank for what is always needed. Empty if
        quenchbook runs without being installed.
    """
    from packaging.requirements import Requirement

    try:
        told = importlib.metadata.metadata("quenchbook")
    except importlib.metadata.PackageNotFoundError:
        return {}
    extras = ["", *(told.get_all("Provides-Extra") or [])]
    needed: dict[str, tuple[str, str]] = {}
    for text in told.get_all("Requires-Dist") or []:
        own = Requirement(text)
        for extra in extras:
            if own.marker is None or own.marker.evaluate({"extra": extra}):
                needed.setdefault(own.name, (str(own.specifier), extra))
                break
    return needed


def _package_lines() -> tuple[list[str], int]:
    """Version of each package against its bounds, and how many are missing or do not fit."""
    needed = requirements()
    always = {name: bounds for name, (bounds, extra) in needed.items() if not extra}
    lines, missing = [], 0
    if not needed:
        lines.append("  quenchbook itself is not installed: pip install quenchbook")
        missing += 1
    for name in [*always, *(own for own in ALSO_NAMED if own not in always)]:
        line, fits = _package_line(name, always.get(name, ""))
        lines.append(line)
        missing += not fits and name != "typst"  # a browser may do in its place, see the PDF
    for name, (purpose, extra) in OPTIONAL.items():
        bounds = needed.get(name, ("", ""))[0]
        line, _ = _package_line(name, bounds)
        if "MISSING" in line:
            line = f'  {name} is not installed: pip install "quenchbook[{extra}]"'
        lines.append(f"{line} (optional, {purpose})")
    return lines, missing


def _package_line(name: str, bounds: str) -> tuple[str, bool]:
    from packaging.specifiers import SpecifierSet

    wanted = f"{name}{bounds}"
    try:
        version = importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return f'  {name} is MISSING: pip install "{wanted}"', False
    if SpecifierSet(bounds).contains(version, prereleases=True):
        return f"  {name} {version}", True
    return f'  {name} {version} is outside {bounds}: pip install "{wanted}"', False


def _font_line() -> tuple[str, bool]:
    """Fonts of reports (they come with quenchbook) and of figures (with matplotlib)."""
    from matplotlib.font_manager import findfont

    from quenchbook.plots.style import FONT
    from quenchbook.report.page_fonts import font_file, page_font_names

    absent = [name for name in page_font_names() if not font_file(name).is_file()]
    try:
        findfont(FONT, fallback_to_default=False)
    except ValueError:
        absent.append(FONT)
    if absent:
        return (
            f"fonts: MISSING {', '.join(absent)}. Install quenchbook and matplotlib again.",
            False,
        )
    return "fonts of reports and figures: yes", True


def _writing_line() -> tuple[str, bool]:
    if _can_write(Path()):
        return "writing here: yes", True
    return f"writing here: NO. Go to a folder of your own; {Path.cwd()} cannot be written.", False


def _pdf_lines() -> tuple[list[str], bool]:
    """What makes the PDF of a report, and what would in its place."""
    from quenchbook.errors import TypesettingError
    from quenchbook.report.browser_print import NAMED_BY, installed_browser
    from quenchbook.report.pdf import compile_typst

    why = ""
    try:
        compile_typst("= Test", {}, title="Test")
    except TypesettingError as error:
        why = str(error)
    try:
        browser = installed_browser()
        found = f"{browser}" if browser else "none found"
    except TypesettingError as error:
        browser, found = None, str(error)
    printing = f"browser that would print a PDF if Typst fails: {found}"
    if not why:
        return ["PDF reports: yes, set by Typst", printing], True
    if browser is not None:
        return [f"PDF reports: printed by {browser}, not PDF/UA. {why}"], True
    return [
        f"PDF reports: NO. {why}",
        f"{printing}. Install typst (pip install typst), Chromium, Chrome or Edge; "
        f"{NAMED_BY} may name it.",
    ], False


def _can_write(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False
