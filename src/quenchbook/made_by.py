"""How a result was computed: versions of the programs, hash of the plan, seeds."""

from __future__ import annotations

import functools
import importlib.metadata
import platform
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

_R = TypeVar("_R")

PACKAGES: Final = ("numpy", "pandas", "scipy", "statsmodels")
"""Packages that can change a number of a result."""

_LEADS: Final = (
    "_made_from", "matrix", "records", "model", "data", "curve", "contrast", "contrasts", "pairs",
    "response", "outlook", "result", "models", "plans",
)  # fmt: skip
"""Attributes that lead from a result to what it was made from, nearest first."""

_DEEPEST: Final = 5


@dataclass(frozen=True)
class MadeBy:
    """Where a result comes from.

    Attributes
    ----------
    versions : mapping of program to version
        quenchbook, Python and `PACKAGES`.
    plan : str
        First digits of the hash of the coupon matrix behind the result; empty if there is none.
    plan_seed : int or None
        Seed that drew the plan; None for no plan, or one whose order was published.
    seed : int or None
        Seed of the result itself; None where nothing in it is drawn at random.
    """

    versions: Mapping[str, str]
    plan: str = ""
    plan_seed: int | None = None
    seed: int | None = None

    def lines(self) -> list[str]:
        """The same in words, one line a kind."""
        own = dict(self.versions)
        main = f"quenchbook {own.pop('quenchbook')}"
        lines = [f"{main}; {', '.join(f'{name} {version}' for name, version in own.items())}."]
        if self.plan:
            seed = "" if self.plan_seed is None else f", drawn with seed {self.plan_seed}"
            lines.append(f"Plan {self.plan}{seed}.")
        if self.seed is not None:
            lines.append(f"Random numbers with seed {self.seed}.")
        return lines


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Made:
    """What a result was made from: it explains the result and is no part of what was found.

    Hidden fields of a dataclass, so that `dataclasses.replace` carries them to the new result.
    """

    _made_from: Any = field(default=None, repr=False, compare=False)
    _seed: int | None = field(default=None, repr=False, compare=False)


def made_from(result: _R, source: object, *, seed: int | None = None) -> _R:
    """The same result, which now knows what it was made from.

    For a result that does not hold its model or plan, see `Made`.

    Parameters
    ----------
    result : result
    source : object
        Model, records or plan.
    seed : int, optional
        Of random numbers that entered the result.
    """
    object.__setattr__(result, "_made_from", source)  # frozen: this is part of making it
    if seed is not None:
        object.__setattr__(result, "_seed", seed)
    return result


@functools.cache
def _versions() -> Mapping[str, str]:
    from quenchbook import __version__

    found = {"quenchbook": __version__, "Python": platform.python_version()}
    for name in PACKAGES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue  # a result that needed it would not exist
    return found


def made_by(result: object) -> MadeBy:
    """Say how a result was computed.

    The plan is that of the records or the model that the result holds; of a data frame there is
    none.

    Parameters
    ----------
    result : object
        Any result of quenchbook.

    Returns
    -------
    MadeBy
    """
    plan = _plan_behind(result)
    seed = getattr(result, "seed", getattr(result, "_seed", None))
    if plan is None:
        return MadeBy(_versions(), seed=seed)
    own_seed = None if isinstance(result, type(plan)) else seed  # that of a plan is told as such
    return MadeBy(_versions(), plan.short_hash, plan.seed, own_seed)


def _plan_behind(result: object) -> Any:
    """The coupon matrix that a result was made from; None if there is none."""
    return next((own for own in _behind(result) if hasattr(own, "short_hash")), None)


def _behind(result: Any, depth: int = _DEEPEST) -> Iterator[Any]:
    """The result, then what it was made from, as far as its attributes tell."""
    yield result
    if depth == 0:
        return
    for name in _LEADS:
        own = getattr(result, name, None) if not isinstance(result, str) else None
        if isinstance(own, Mapping):
            own = next(iter(own.values()), None)
        if isinstance(own, tuple):
            own = own[0] if own else None
        if own is not None and type(own).__module__.startswith("quenchbook."):
            yield from _behind(own, depth - 1)
