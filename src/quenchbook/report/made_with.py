"""What a report was made with: versions of the packages that computed and drew it."""

from __future__ import annotations

import importlib.metadata
import platform
from typing import Final

PACKAGES: Final = (
    "numpy", "pandas", "scipy", "statsmodels", "formulaic", "pint", "python-calamine",
    "matplotlib", "nbconvert", "typst",
)  # fmt: skip
"""Packages whose versions can change a number or a page."""

MISSING: Final = "not installed"


def versions_used() -> dict[str, str]:
    """Versions of quenchbook, Python and the packages it computes with; no clock, no machine.

    Returns
    -------
    dict of name to version
        ``not installed`` for a package that is missing.
    """
    from quenchbook import __version__

    found = {"quenchbook": __version__, "Python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            found[name] = MISSING
    return found
