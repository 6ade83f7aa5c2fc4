"""Work that follows a change in a form: the newest change wins, and a slow one blocks nothing."""

from __future__ import annotations

import asyncio
import concurrent.futures
from collections.abc import Callable
from typing import Any, Final

WAIT: Final = 0.25  # s without a further change, before it is worked out


class Later:
    """Works out one thing after the other, each only if no newer one was asked for.

    In a kernel the work begins some time after the last change; without a running event loop, as in
    a script or a test, it is done at once.

    Parameters
    ----------
    wait : float
        Time after the last change [s].
    """

    def __init__(self, wait: float = WAIT) -> None:
        self._asked = 0
        self._wait = wait
        self._threads = concurrent.futures.ThreadPoolExecutor(max_workers=1)

    def ask(
        self,
        work: Callable[[], Any],
        then: Callable[[Any], None],
        failed: Callable[[Exception], None],
        *,
        slow: bool,
    ) -> None:
        """Do some work, and something with its result, unless something newer is asked for.

        Parameters
        ----------
        work : callable
        then : callable
            Is given the result, in the thread of the form.
        failed : callable
            Is given the error of work that broke off, which is raised again: a form that says
            nothing would seem to calculate for ever.
        slow : bool
            Whether the work is done beside the kernel, which stays free for other cells.
        """
        self._asked += 1
        own = self._asked
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            _done(work, then, failed)
            return

        def finish(result: concurrent.futures.Future[Any]) -> None:
            if own == self._asked:
                _done(result.result, then, failed)

        def begin() -> None:
            if own != self._asked:
                return
            if slow:
                task = self._threads.submit(self._unless_newer, work, own)
                task.add_done_callback(lambda done: loop.call_soon_threadsafe(finish, done))
            else:
                _done(work, then, failed)

        loop.call_later(self._wait, begin)

    def _unless_newer(self, work: Callable[[], Any], own: int) -> Any:
        """Result of the work; None if something newer came while an older one was worked out."""
        return work() if own == self._asked else None


def _done(
    work: Callable[[], Any], then: Callable[[Any], None], failed: Callable[[Exception], None]
) -> None:
    try:
        result = work()
    except Exception as error:
        failed(error)
        raise
    then(result)
