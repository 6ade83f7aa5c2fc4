"""Write ``src/quenchbook/__init__.pyi``: what a type checker or an editor sees of the public names.

The names are loaded when first used (PEP 562), which no type checker follows. Run this after a
change of ``_HOME``: ``python tests/compatibility/public_types.py``; a test compares the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

STUB = Path(__file__).parents[2] / "src" / "quenchbook" / "__init__.pyi"
HEAD = (
    "# Public names with their types, for type checkers and editors. Written from _HOME of\n"
    "# __init__.py by tests/compatibility/public_types.py: run that after a change, edit nothing here.\n"
)


def public_types(home: Mapping[str, str]) -> str:
    """Text of the stub: each public name imported from the module where it lives."""
    imports = [
        f"from quenchbook.{module} import {name} as {name}"
        for name, module in sorted(home.items(), key=lambda item: (item[1], item[0]))
    ]
    own = ["__version__: str", "__all__: list[str]", "_HOME: dict[str, str]"]
    return "\n".join([HEAD, *imports, "", *own, ""])


if __name__ == "__main__":
    from quenchbook import _HOME

    STUB.write_text(public_types(_HOME), encoding="utf-8")
