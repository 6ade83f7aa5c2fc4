"""quenchbook: plan, run, analyse and publish small heat-treatment studies on steel.

The public names are loaded when first used, so that ``import quenchbook`` takes milliseconds.
"""

from __future__ import annotations

import importlib
from typing import Any

__version__ = "0.1.0"

_HOME = {
    "read_study": "study.files",
    "Study": "study.definition",
    "coupon_matrix": "plan.randomization",
    "published_matrix": "plan.randomization",
    "CouponMatrix": "plan.randomization",
    "write_plan": "plan.files",
    "read_plan": "plan.files",
}

__all__ = ["__version__", *sorted(_HOME)]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module 'quenchbook' has no attribute '{name}'")
    value = getattr(importlib.import_module(f"quenchbook.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
