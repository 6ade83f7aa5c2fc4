"""The same work for each study, in several processes where there is much of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, TypeVar

from quenchbook.progress import progress

Work = TypeVar("Work")
Result = TypeVar("Result")

_FEW: Final = 24  # studies; for fewer the processes cost more time than they save


def results_of(
    work_of: Callable[[Work], Result],
    items: Sequence[Work],
    what: str,
    workers: int | None = None,
) -> Iterator[Result]:
    """Results in the order of the items.

    Parameters
    ----------
    work_of : function of one item
        Of a module, so that other processes know it.
    items : sequence
    what : str
        Plural noun for the display of the progress.
    workers : int, optional
        Processes; as many as there are processors, and this one alone for few items.
    """
    import os

    count = workers or (1 if len(items) <= _FEW else os.cpu_count() or 1)
    if count == 1:
        yield from progress(map(work_of, items), what, total=len(items))
        return
    from joblib import Parallel, delayed

    done = Parallel(n_jobs=count, backend="loky", return_as="generator")(
        delayed(work_of)(item) for item in items
    )
    yield from progress(done, what, total=len(items))
