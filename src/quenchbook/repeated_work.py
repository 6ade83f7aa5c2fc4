"""Repeated work in one place: the same function for many items, each with a seed of its own.

The result of an item depends on the function, the item, the seed and the number of the item, and
on nothing else: not on what worked on it, on how many workers there were, or on how items were sent
to them. Finished items can be kept in a file, so that an interrupted run goes on where it stopped.
"""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from pathlib import Path
from typing import Any, Final, cast

import numpy as np

from quenchbook import work_backends
from quenchbook.errors import RepeatedWorkError
from quenchbook.kept_items import KeptItems, function_name, header
from quenchbook.progress import progress as shown
from quenchbook.repeated_results import FailedItem, RepeatedWork
from quenchbook.work_backends import BACKENDS, Answer, Backend, Item, WorkersLostError

WORTH_WORKERS: Final = 10.0
"""Seconds of work below which other processes cost more than they save (4 to 8 s to start them)."""

PART_SECONDS: Final = 1.0
"""Work sent at once: against the 2 ms that dask takes for a task, and little to lose."""

_TRIALS: Final = 4  # items that are timed, besides the first, which also loads libraries
_TRIAL_SECONDS: Final = 0.5
_LOSSES: Final = 3  # how often workers may be lost without any item done since


def run_many(
    function: Callable[[Any, np.random.SeedSequence], Any],
    count_or_items: int | Sequence[Any],
    seed: int,
    *,
    backend: Backend | None = None,
    workers: int | None = None,
    chunk: int | None = None,
    keep: str | Path | None = None,
    scheduler: str | None = None,
    progress: str | None = "items",
) -> RepeatedWork:
    """Do the same work for many items, each with a seed of its own.

    Parameters
    ----------
    function : callable
        ``function(item, seed)`` with `seed` a `numpy.random.SeedSequence`; draw with
        ``numpy.random.default_rng(seed)``. It returns plain numbers, texts, lists or dicts of
        them, with None where there is no value. For other processes it stands in a module that
        they can import, and imports what it needs inside.
    count_or_items : int or sequence
        The items, or how many there are: then an item is its number, from 0.
    seed : int
        Item i gets child i of ``SeedSequence(seed)``, whatever works on it.
    backend : {"serial", "loky", "threading", "dask"}, optional
        This process; processes of this machine; threads; a dask cluster. When left out: dask
        where `scheduler` is told; else some items are timed, and below ten seconds of work it
        is serial, above loky.
    workers : int, optional
        Processes or threads; as many as there are processors when left out. A scheduler that runs
        already has workers of its own.
    chunk : int, optional
        Items sent at once; about a second of work when left out. Results do not depend on it.
    keep : str or Path, optional
        File for finished items (JSON lines). Where it is there already, the run goes on from it,
        and it is refused if function, seed, items, arguments or version are others. It does not
        notice that the code of the function was changed. Items that failed are tried again.
    scheduler : str, optional
        Address such as ``tcp://10.0.0.5:8786``; ``DASK_SCHEDULER_ADDRESS`` for dask when left out.
    progress : str or None
        Plural noun for the progress display; None: no display.

    Returns
    -------
    RepeatedWork
        With failed items told by number and seed; its `values` raises if there are any.

    Raises
    ------
    RepeatedWorkError
        If the file belongs to another run, if a scheduler does not answer or has other versions,
        or if workers are lost again and again. Finished items are kept.

    Notes
    -----
    On a cluster, start ``dask scheduler`` on one machine and ``dask worker tcp://HOST:8786
    --nthreads 1 --nworkers auto`` on each of the others, all with the same quenchbook, then name
    the address. Anyone who reaches a dask scheduler can run programs on it: keep it inside a
    network that you trust. A script that uses processes needs a guard, because they load it again::

        import quenchbook as qb
        from mymodule import one_study

        if __name__ == "__main__":
            found = qb.run_many(one_study, 2000, seed=1, scheduler="tcp://10.0.0.5:8786",
                                keep="one_study.jsonl")

    Examples
    --------
    >>> def squared(item, seed):
    ...     return item**2
    >>> found = run_many(squared, 4, seed=1, progress=None)
    >>> found.values()
    [0, 1, 4, 9]
    """
    started = time.perf_counter()
    _check(count_or_items, seed, backend, workers, chunk)
    items = range(count_or_items) if isinstance(count_or_items, int) else count_or_items
    run = _Run(function, items, seed, keep)
    resumed = len(run.done)
    backend = backend or ("dask" if scheduler else None)
    with contextlib.closing(run.finished(backend, workers, chunk, scheduler)) as finished:
        waiting = len(items) - resumed
        for _ in finished if progress is None else shown(finished, progress, total=waiting):
            pass
    return RepeatedWork(
        done=dict(sorted(run.done.items())),
        failures=tuple(FailedItem(n, seed, run.failed[n]) for n in sorted(run.failed)),
        function=function_name(function),
        count=len(items),
        seed=seed,
        backend=run.words or "serial",
        resumed=resumed,
        seconds=time.perf_counter() - started,
        versions=work_backends.versions(),
    )


def _check(
    items: int | Sequence[Any],
    seed: int,
    backend: str | None,
    workers: int | None,
    chunk: int | None,
) -> None:
    if backend is not None and backend not in BACKENDS:
        raise RepeatedWorkError(
            f"backend is {backend!r}. Write one of {', '.join(BACKENDS)}, or leave it out."
        )
    if seed < 0:
        raise RepeatedWorkError(f"seed is {seed}. Write a whole number from 0.")
    if isinstance(items, int) and items < 0:
        raise RepeatedWorkError(f"The number of items is {items}. Write a whole number from 0.")
    for name, value in (("workers", workers), ("chunk", chunk)):
        if value is not None and value < 1:
            raise RepeatedWorkError(f"{name} is {value}. Write a whole number from 1.")


class _Run:
    """One run: what is done, what failed, what is left."""

    def __init__(
        self, function: Any, items: Sequence[Any], seed: int, keep: str | Path | None
    ) -> None:
        self.function, self.items, self.seed = function, items, seed
        self.kept = None
        self.done: dict[int, Any] = {}
        self.failed: dict[int, str] = {}
        self.words = ""
        if keep is not None:
            version = work_backends.versions()["quenchbook"]
            self.kept = KeptItems(keep, header(function, items, seed, version))
            self.done.update(self.kept.done)

    def left(self) -> list[Item]:
        """Items that are neither done nor failed."""
        return [
            (number, item)
            for number, item in enumerate(self.items)
            if number not in self.done and number not in self.failed
        ]

    def take(self, answer: Answer) -> list[int]:
        """Keep the outcomes of a part; the numbers of its items."""
        outcomes, used = answer
        own = work_backends.versions()
        if used != own:
            theirs = ", ".join(
                f"{n} {used.get(n)}, here {own[n]}" for n in own if used.get(n) != own[n]
            )
            raise RepeatedWorkError(
                f"A worker has other versions: {theirs}. Its numbers need not be the same; install "
                "the same versions everywhere."
            )
        good = {number: value for number, worked, value in outcomes if worked}
        if self.kept is not None:
            self.kept.add(good)
        self.done.update(good)
        self.failed.update({number: str(text) for number, worked, text in outcomes if not worked})
        return [number for number, _, _ in outcomes]

    def finished(
        self,
        backend: Backend | None,
        workers: int | None,
        chunk: int | None,
        scheduler: str | None,
    ) -> Generator[int]:
        """Numbers of items as they are finished."""
        each = 0.0
        if backend is None or chunk is None:
            for own in self._timed():
                each = own[0]
                yield from own[1]
        left = self.left()
        if not left:
            return
        if backend is None:
            alone = workers == 1 or each * len(left) < WORTH_WORKERS
            backend = "serial" if alone else "loky"
        losses = 0
        while left := self.left():
            before = len(left)
            try:
                yield from self._parts(backend, left, each, workers, chunk, scheduler)
            except WorkersLostError as error:
                losses = losses + 1 if len(self.left()) == before else 0
                if losses >= _LOSSES:
                    raise RepeatedWorkError(
                        f"Workers were lost again and again ({error}); is there enough memory? "
                        f"{len(self.done)} of {len(self.items)} items are done"
                        f"{' and kept' if self.kept else ''}."
                    ) from error

    def _timed(self) -> Iterator[tuple[float, list[int]]]:
        """Do some items from all over the list; seconds that one takes, and their numbers."""
        left = self.left()
        places = np.linspace(0, len(left) - 1, _TRIALS + 1).round().astype(int).tolist()
        spent = 0.0
        times: list[float] = []
        for number, place in enumerate(dict.fromkeys(places) if left else ()):
            began = time.perf_counter()
            with work_backends.one_thread():
                began = time.perf_counter()
                answer = work_backends.worked_part(self.function, self.seed, [left[place]])
                took = time.perf_counter() - began
            if number:
                times.append(took)
            spent += took
            yield float(np.mean(times or [took])), self.take(answer)
            if spent > _TRIAL_SECONDS:
                break

    def _parts(
        self,
        backend: Backend,
        left: list[Item],
        each: float,
        workers: int | None,
        chunk: int | None,
        scheduler: str | None,
    ) -> Iterator[int]:
        with contextlib.ExitStack() as open_things:
            client = None
            if backend == "dask":
                client, count, self.words = open_things.enter_context(
                    work_backends.cluster(scheduler, workers)
                )
            else:
                count = 1 if backend == "serial" else workers or work_backends.own_workers()
                plural = "processes" if backend == "loky" else "threads"
                self.words = "serial" if backend == "serial" else f"{backend}, {count} {plural}"
            parts = parted(left, chunk or part_size(len(left), each, count))
            if backend in ("serial", "threading"):
                open_things.enter_context(work_backends.one_thread())
            if backend == "dask":
                answers = work_backends.dask_parts(client, self.function, self.seed, parts)
            elif backend == "serial":
                answers = work_backends.serial_parts(self.function, self.seed, parts)
            else:
                answers = work_backends.joblib_parts(
                    self.function, self.seed, parts, backend, count
                )
            for answer in open_things.enter_context(contextlib.closing(cast(Any, answers))):
                yield from self.take(answer)


def part_size(count: int, seconds: float, workers: int) -> int:
    """Items to send at once: about a second of work, and two parts for each worker at least.

    Parameters
    ----------
    count : int
        Items that are left.
    seconds : float
        Work that one item takes [s].
    workers : int

    >>> part_size(2000, 0.01, 2), part_size(20, 0.01, 2), part_size(20, 30.0, 2)
    (100, 5, 1)
    """
    longest = max(1, round(PART_SECONDS / max(seconds, 1e-6)))
    return max(1, min(longest, math.ceil(count / (2 * workers)) if workers > 1 else longest))


def parted(items: Sequence[Item], size: int) -> list[Sequence[Item]]:
    """Return the items in parts of a size; the last one may be smaller.

    >>> parted([(0, "a"), (1, "b"), (2, "c")], 2)
    [[(0, 'a'), (1, 'b')], [(2, 'c')]]
    """
    return [items[start : start + size] for start in range(0, len(items), size)]
