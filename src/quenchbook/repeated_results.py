"""Results of repeated work, and what failed of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import RepeatedWorkError
from quenchbook.shown import Shown, ShowsItself

if TYPE_CHECKING:
    import pandas as pd

_TOLD: Final = 5  # failures in a message


@dataclass(frozen=True)
class FailedItem:
    """An item whose function raised an error.

    Attributes
    ----------
    number : int
        Place of the item, from 0: with `seed` it makes the item's own seed.
    seed : int
    problem : str
    """

    number: int
    seed: int
    problem: str

    def __str__(self) -> str:
        return f"item {self.number} (seed {self.seed}, child {self.number}): {self.problem}"


@dataclass(frozen=True, eq=False, repr=False)
class RepeatedWork(ShowsItself):
    """Results of repeated work.

    Attributes
    ----------
    done : mapping of int to object
        Result by the number of the item, in order; failed items are not in it.
    failures : tuple of FailedItem
    function : str
    count, seed : int
    backend : str
        What most of it was done by, in words.
    resumed : int
        Items that were finished earlier.
    seconds : float
        Time that it took now [s].
    versions : mapping of str to str
        quenchbook, numpy and scipy.
    """

    done: Mapping[int, Any]
    failures: tuple[FailedItem, ...]
    function: str
    count: int
    seed: int
    backend: str
    resumed: int
    seconds: float
    versions: Mapping[str, str]

    def values(self) -> list[Any]:
        """Results of all items in order.

        Raises
        ------
        RepeatedWorkError
            If an item failed; `done` has the others.
        """
        if self.failures:
            raise RepeatedWorkError(self._failure_words())
        return list(self.done.values())

    def _failure_words(self) -> str:
        told = "; ".join(str(own) for own in self.failures[:_TOLD])
        more = len(self.failures) - _TOLD
        return (
            f"{len(self.failures)} of {self.count} items failed: {told}"
            f"{f'; and {more} more' if more > 0 else ''}. The results of the others are in done."
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each finished item, by its number; a dict gives a column each."""
        import pandas as pd

        rows = [own if isinstance(own, dict) else {"value": own} for own in self.done.values()]
        return pd.DataFrame(rows, index=pd.Index(list(self.done), name="item"))

    def shown(self) -> Shown:
        """What was done, what failed, and what would give the same numbers again."""
        finding = (
            f"{len(self.done)} of {self.count} items done in {self.seconds:.1f} s ({self.backend}"
            f"{f', {self.resumed} of them earlier' if self.resumed else ''})."
        )
        notes = (self._failure_words(),) if self.failures else ()
        used = ", ".join(f"{name} {own}" for name, own in self.versions.items())
        method = (f"{self.function}, seed {self.seed}; {used}.",)
        return Shown(finding, notes=notes, method=method, listings=self.listings())

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Results of single items, where they are numbers and texts."""
        plain = (int, float, str, bool, type(None))
        rows = [own if isinstance(own, dict) else {"value": own} for own in self.done.values()]
        if all(isinstance(value, plain) for row in rows for value in row.values()):
            frame = self.to_frame()
            return {"Results": frame if "item" in frame else frame.reset_index()}
        return {}

    def __repr__(self) -> str:
        failed = f", {len(self.failures)} failed" if self.failures else ""
        return f"<RepeatedWork: {len(self.done)} of {self.count} items done{failed}>"
