"""What a type checker sees of the public names is what Python loads."""

from __future__ import annotations

import inspect
import pkgutil
import re

from tests.compatibility.public_types import STUB, public_types

import quenchbook as qb


def test_the_stub_tells_the_public_names_that_are_loaded_when_first_used() -> None:
    told = STUB.read_text(encoding="utf-8")
    assert told == public_types(qb._HOME), "run: python tests/compatibility/public_types.py"


def test_no_public_name_is_that_of_a_module() -> None:
    """Whoever loads the module would put it in the place of the function."""
    assert {own.name for own in pkgutil.iter_modules(qb.__path__)} & set(qb._HOME) == set()


def test_no_public_function_returns_any() -> None:
    functions = {name: getattr(qb, name) for name in qb.__all__ if name != "__version__"}
    returned = {
        name: str(inspect.signature(function).return_annotation)
        for name, function in functions.items()
        if inspect.isfunction(function)
    }
    assert len(returned) > 100
    loose = {
        name for name, text in returned.items() if re.search(r"\bAny\b|\bobject\b|_empty", text)
    }
    assert loose == set()
