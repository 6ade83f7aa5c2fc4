"""Repeated work in one place: the same function for many items, each with a seed of its own.

The result of an item depends on the function, the item, the seed and the number of the item: on
machines of the same kind not on which of them worked on it, on how many workers there were, or on
how items were sent to them. Finished items can be kept in a file, so that an interrupted run goes
on where it stopped.
"""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Generator, Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import numpy as np

from quenchbook import work_backends
from quenchbook.errors import RepeatedWorkError
from quenchbook.kept_items import KeptItems, function_name, header
from quenchbook.progress import progress as shown
from quenchbook.repeated_results import FailedItem, RepeatedWork
from quenchbook.work_backends import Answer, Backend, Item, WorkersLostError
from quenchbook.work_parts import check_options, items_of, part_size, parted

WORTH_WORKERS: Final = 10.0
"""Seconds of work below which other processes cost more than they save (4 to 8 s to start them)."""

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
        Item i gets child i of ``SeedSequence(seed)``, whatever works on it. The same bits come
        back on machines of the same kind; linear algebra may differ in the last digits on others.
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
        and it is refused if function, seed, items, arguments or versions are others, or while
        another program writes to it. It does not notice that the code of the function was changed.
        Items that failed are tried again.
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
    check_options(seed, backend, workers, chunk)
    items, seed = items_of(count_or_items), int(seed)
    workers, chunk = (None if own is None else int(own) for own in (workers, chunk))
    backend = backend or ("dask" if scheduler else None)
    with contextlib.closing(_Run(function, items, seed, keep)) as run:
        resumed = len(run.done)
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
            head = header(function, items, seed, work_backends.versions())
            self.kept = KeptItems(keep, head)
            self.done.update(self.kept.done)

    def close(self) -> None:
        """Let another program write to the file of finished items."""
        if self.kept is not None:
            self.kept.close()

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
            for answer in open_things.enter_context(contextlib.closing(answers)):
                yield from self.take(answer)
