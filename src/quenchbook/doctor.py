"""Say what is installed, what is missing, and what to do about it."""

from __future__ import annotations

import importlib.metadata
import platform
import sys
import tempfile
from pathlib import Path

PACKAGES = (
    "jupyterlab", "nbconvert", "nbclient", "pandas", "numpy", "scipy", "statsmodels", "seaborn",
    "matplotlib", "pingouin", "pint", "typst", "pypandoc-binary",
)  # fmt: skip


OPTIONAL = {"ortools": ("to search for timetables", "timetable")}
"""Packages that some of the job can use, what for, and the extra that installs them."""


def checkup() -> tuple[list[str], bool]:
    """Check the installation.

    Returns
    -------
    lines : list of str
        What was found, for people and for bug reports.
    healthy : bool
        Whether the whole job can be done.
    """
    from quenchbook import __version__

    healthy = True
    lines = [f"quenchbook {__version__}, Python {platform.python_version()} ({sys.executable})"]
    for name in PACKAGES:
        try:
            lines.append(f"  {name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            healthy = healthy and name == "typst"  # a browser may do in its place, see below
            lines.append(f"  {name} is MISSING: run pip install quenchbook again")
    for name, (purpose, extra) in OPTIONAL.items():
        try:
            found = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found = f'is not installed: pip install "quenchbook[{extra}]"'
        lines.append(f"  {name} {found} (optional, {purpose})")
    told, works = _pdf_lines()
    lines += told
    writes = _can_write(Path())
    lines.append(f"writing here: {'yes' if writes else 'NO'}")
    return lines, healthy and works and writes


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
