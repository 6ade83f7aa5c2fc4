"""Where repeated work is done: in this process, its threads, other processes, or on a cluster.

Each part is a list of numbered items. A part comes back as a list of its results whatever worked
on it, so the same items with the same seeds give the same bits on each of these, on machines of the
same kind. The linear algebra of each part runs on one thread: its sums depend on how many there
are.
"""

from __future__ import annotations

import concurrent.futures
import contextlib
import functools
import importlib
import itertools
import math
import os
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from typing import Any, Final, Literal

import numpy as np

from quenchbook.errors import Problem, RepeatedWorkError
from quenchbook.kept_items import plain

Backend = Literal["serial", "loky", "threading", "dask"]

BACKENDS: Final[tuple[Backend, ...]] = ("serial", "loky", "threading", "dask")

ADDRESS_VARIABLE: Final = "DASK_SCHEDULER_ADDRESS"

_PATIENCE: Final = "30s"  # until a scheduler answers, or a first worker is there

_AT: Final = "dask at "

_HERE: Final = "dask on this machine"

_ASK_AGAIN: Final = 2.0  # seconds, how many threads a cluster has: workers come and go

_AHEAD: Final = 3  # parts for each thread of a cluster: one at work, two that wait

Item = tuple[int, Any]
"""Number of an item, which its seed is made from, and the item."""

Outcome = tuple[int, bool, Any]
"""Number of an item, whether it worked, and its result or what went wrong."""

Answer = tuple[list[Outcome], dict[str, str]]
"""Outcomes of a part, and the versions of what worked on it."""


class WorkersLostError(Exception):
    """Processes that worked on parts are gone; the parts that came back are good."""


def child_seed(seed: int, number: int) -> np.random.SeedSequence:
    """Seed of one item: child `number` of ``SeedSequence(seed).spawn(...)``.

    >>> child_seed(7, 2).spawn_key == np.random.SeedSequence(7).spawn(3)[2].spawn_key
    True
    """
    return np.random.SeedSequence(seed, spawn_key=(number,))


def worked_part(
    function: Callable[[Any, np.random.SeedSequence], Any], seed: int, part: Sequence[Item]
) -> Answer:
    """Do a part; an item that fails is told and stops no other."""
    outcomes: list[Outcome] = []
    for number, item in part:
        try:
            outcomes.append((number, True, plain(function(item, child_seed(seed, number)))))
        except Exception as error:  # whatever a user's function raises belongs to this item alone
            outcomes.append((number, False, f"{type(error).__name__}: {error}"))
    return outcomes, versions()


def worked_alone(
    function: Callable[[Any, np.random.SeedSequence], Any], seed: int, part: Sequence[Item]
) -> Answer:
    """Do a part in a process that does nothing else: one thread for linear algebra, for good."""
    _limit_threads()
    return worked_part(function, seed, part)


@functools.cache
def _limit_threads() -> None:
    import scipy.linalg  # noqa: F401  its library is there before its threads are limited
    from threadpoolctl import threadpool_limits

    threadpool_limits(1)


@functools.cache
def versions() -> dict[str, str]:
    """Versions of what numbers depend on."""
    from importlib.metadata import version

    from quenchbook import __version__

    return {"quenchbook": __version__, "numpy": version("numpy"), "scipy": version("scipy")}


@contextlib.contextmanager
def one_thread() -> Iterator[None]:
    """Linear algebra on one thread, as in the workers."""
    import scipy.linalg  # noqa: F401  its library is there before its threads are limited
    from threadpoolctl import threadpool_limits

    with threadpool_limits(1):
        yield


def own_workers() -> int:
    """Number of processors that this process may use."""
    import joblib

    return int(joblib.cpu_count())


def serial_parts(function: Any, seed: int, parts: Sequence[Sequence[Item]]) -> Generator[Answer]:
    """Do one part after the other."""
    for part in parts:
        yield worked_part(function, seed, part)


def joblib_parts(
    function: Any, seed: int, parts: Sequence[Sequence[Item]], backend: str, workers: int
) -> Generator[Answer]:
    """Do parts in threads or in processes of this machine, each given back when it is done."""
    work = worked_alone if backend == "loky" else worked_part
    calls = ((function, seed, list(part)) for part in parts)
    yield from pool_results(work, calls, backend, workers)


def pool_results(
    work: Callable[..., Any],
    calls: Iterable[tuple[Any, ...]],
    backend: str,
    workers: int,
    *,
    in_order: bool = False,
) -> Iterator[Any]:
    """Results of calls in threads or in processes of this machine, as they come or in order."""
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    pool = Parallel(
        n_jobs=workers, backend=backend, batch_size=1, mmap_mode=None,
        return_as="generator" if in_order else "generator_unordered",
    )  # fmt: skip
    try:
        yield from pool(delayed(work)(*call) for call in calls)
    except BrokenProcessPool as error:
        raise WorkersLostError(str(error)) from error


def called_alone(function: Callable[[Any], Any], item: Any) -> Any:
    """Call a function in a process that does nothing else, as `worked_alone` does a part."""
    _limit_threads()
    return function(item)


@contextlib.contextmanager
def cluster(scheduler: str | None, workers: int | None) -> Iterator[tuple[Any, int, str]]:
    """Client of a scheduler, number of its threads, and what it is in words.

    The scheduler is that of the address, else of ``DASK_SCHEDULER_ADDRESS``, else that of a client
    which is open already, else one is started here with workers of its own.
    """
    try:
        distributed: Any = importlib.import_module("distributed")
    except ImportError:
        raise RepeatedWorkError(
            "The backend dask is not installed. Install it with pip install 'quenchbook[cluster]', "
            "or use the backend loky."
        ) from None
    address = scheduler or os.environ.get(ADDRESS_VARIABLE) or ""
    with contextlib.ExitStack() as open_things:
        if address:
            client = open_things.enter_context(_client_of(distributed, address))
            words = f"{_AT}{address}"
        elif (client := _open_client(distributed)) is not None:
            words = f"{_AT}{client.scheduler.address}"
        else:
            own = open_things.enter_context(
                distributed.LocalCluster(
                    n_workers=workers or own_workers(), threads_per_worker=1,
                    dashboard_address=None, processes=True,
                )
            )  # fmt: skip
            client = open_things.enter_context(distributed.Client(own))
            words = _HERE
        try:
            client.wait_for_workers(1, timeout=_PATIENCE)
        except TimeoutError:
            if words == _HERE:
                raise RepeatedWorkError(
                    f"No worker started on this machine within {_PATIENCE}. Is there enough "
                    "memory? The backend loky needs no scheduler."
                ) from None
            at = words.removeprefix(_AT)
            raise RepeatedWorkError(
                f"The scheduler at {at} has no worker after {_PATIENCE}. Start one with "
                f"dask worker {at}, with the same quenchbook."
            ) from None
        yield client, sum(client.nthreads().values()), words


def _client_of(distributed: Any, address: str) -> Any:
    try:
        return distributed.Client(address, timeout=_PATIENCE, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise RepeatedWorkError(
            Problem(
                address,
                "no dask scheduler answers there",
                f"Expected an address such as tcp://127.0.0.1:8786; start one with dask scheduler. "
                f"({error})",
            )
        ) from error


def _open_client(distributed: Any) -> Any:
    try:
        return distributed.default_client()
    except ValueError:
        return None


class _SentParts:
    """Parts on their way to a cluster: each of its threads has some, the scheduler few more."""

    def __init__(
        self, client: Any, function: Any, seed: int, parts: Sequence[Sequence[Item]]
    ) -> None:
        self.client, self.function, self.seed = client, function, seed
        self.waiting = iter(parts)
        self.futures: set[Any] = set()
        self._threads, self._asked = 1, -math.inf

    def more(self) -> list[Any]:
        """Send as many new parts as there is room for."""
        room = _AHEAD * self._known_threads() - len(self.futures)
        new = [
            self.client.submit(worked_alone, self.function, self.seed, list(part), pure=False)
            for part in itertools.islice(self.waiting, max(room, 0))
        ]
        self.futures.update(new)
        return new

    def _known_threads(self) -> int:
        if time.monotonic() - self._asked >= _ASK_AGAIN:  # each time would cost more than a part
            self._threads = max(1, sum(self.client.nthreads().values()))
            self._asked = time.monotonic()
        return self._threads

    def cancel(self) -> None:
        """Take back what is not done."""
        with contextlib.suppress(Exception):  # a scheduler that is gone has nothing to cancel
            self.client.cancel(list(self.futures))


def dask_parts(
    client: Any, function: Any, seed: int, parts: Sequence[Sequence[Item]]
) -> Generator[Answer]:
    """Do parts on a cluster, each given back when it is done; a part of a lost worker is redone."""
    distributed: Any = importlib.import_module("distributed")
    lost = (OSError, concurrent.futures.CancelledError, distributed.scheduler.KilledWorker)
    sent = _SentParts(client, function, seed, parts)
    try:
        results = distributed.as_completed(sent.more(), loop=client.loop)
        for future in results:
            answer: Answer = future.result()
            sent.futures.discard(future)
            results.update(sent.more())
            yield answer
    except lost as error:
        raise WorkersLostError(f"{type(error).__name__}: {error}") from error
    except (ImportError, AttributeError) as error:  # items never raise: only loading them does
        raise RepeatedWorkError(
            f"A worker cannot load the function: {error}. Each worker needs the same quenchbook "
            "and the module of the function."
        ) from error
    finally:
        sent.cancel()
