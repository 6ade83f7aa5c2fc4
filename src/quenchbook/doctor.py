"""Say what is installed, what is missing, and what to do about it."""

from __future__ import annotations

import importlib.metadata
import platform
import shutil
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
            healthy = False
            lines.append(f"  {name} is MISSING: run pip install quenchbook again")
    for name, (purpose, extra) in OPTIONAL.items():
        try:
            found = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found = f'is not installed: pip install "quenchbook[{extra}]"'
        lines.append(f"  {name} {found} (optional, {purpose})")
    for words, works in (("PDF reports", _pdf_works()), ("writing here", _can_write(Path()))):
        healthy = healthy and works
        lines.append(f"{words}: {'yes' if works else 'NO'}")
    browser = next(
        (name for name in ("chromium", "google-chrome", "msedge") if shutil.which(name)), None
    )
    lines.append(
        "browser for looking at reports: "
        f"{browser or 'none on the path; open the HTML file yourself'}"
    )
    return lines, healthy


def _pdf_works() -> bool:
    try:
        import typst

        return typst.compile(b"= Test").startswith(b"%PDF")
    except Exception:
        return False


def _can_write(folder: Path) -> bool:
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False
