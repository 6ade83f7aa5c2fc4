"""The same work for each study, in several processes where there is much of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, TypeVar

from quenchbook import work_backends
from quenchbook.errors import RepeatedWorkError
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

    Raises
    ------
    RepeatedWorkError
        If a process is gone.
    """
    if not items:
        return
    count = workers or (1 if len(items) <= _FEW else work_backends.own_workers())
    if count == 1:
        with work_backends.one_thread():  # as in the other processes: sums of the same bits
            yield from progress(map(work_of, items), what, total=len(items))
        return
    calls = ((work_of, item) for item in items)
    done = work_backends.pool_results(
        work_backends.called_alone, calls, "loky", count, in_order=True
    )
    try:
        yield from progress(done, what, total=len(items))
    except work_backends.WorkersLostError as error:
        raise RepeatedWorkError(
            f"A process that worked on the {what} was lost ({error}); is there enough memory? "
            "Name fewer: workers=1."
        ) from error
