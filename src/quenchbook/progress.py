"""One progress display: HTML in a notebook, tqdm in a terminal."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, TypeVar

T = TypeVar("T")

_WORTH_SAYING: Final = 5.0  # seconds; what took less leaves no line behind


def in_notebook() -> bool:
    """Whether the code runs in a Jupyter kernel."""
    ipython = sys.modules.get("IPython")
    shell = ipython.get_ipython() if ipython is not None else None
    return shell is not None and hasattr(shell, "kernel")


def progress(
    items: Sequence[T] | Iterable[T], what: str, *, total: int | None = None
) -> Iterator[T]:
    """Yield the items while showing how many are done.

    Parameters
    ----------
    items : sequence or iterable
        What is worked through.
    what : str
        Plural noun for the display, such as ``"simulated studies"``.
    total : int, optional
        Number of items, needed when `items` has no length.
    """
    count = total if total is not None else len(items)  # type: ignore[arg-type]
    if in_notebook():
        yield from _in_notebook(items, what, count)
        return
    from tqdm import tqdm

    yield from tqdm(items, desc=what, total=count, leave=False, disable=not sys.stderr.isatty())


def _in_notebook(items: Iterable[T], what: str, count: int) -> Iterator[T]:
    from typing import Any

    from IPython import display as shown

    html: Any = shown.HTML  # IPython ships no types
    show: Any = shown.display

    handle = show(html(""), display_id=True)
    started = drawn = time.monotonic()
    done = 0
    for item in items:
        yield item
        done += 1
        now = time.monotonic()
        if now - drawn > 0.2:
            drawn = now
            bar = f'<progress max="{count}" value="{done}" aria-label="{what}"></progress>'
            handle.update(html(f"{bar} {done} of {count} {what}"))
    seconds = time.monotonic() - started
    handle.update(html(f"{done} {what} in {seconds:.0f} s" if seconds > _WORTH_SAYING else ""))
