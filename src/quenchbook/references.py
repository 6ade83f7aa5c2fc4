"""Published sources of every method: one table, from which results and `cite` take theirs.

The entries are those that stand in the docstrings of the modules. Titles stand only where the
source tells them; "from memory" is printed with every entry of which neither the work nor a text
that quotes it was looked at.
"""

from __future__ import annotations

import importlib.metadata
import re
from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from typing import Any, Final

from quenchbook.cited_sources import ARITHMETIC, METHODS, SOURCES, Source
from quenchbook.errors import QuenchbookError, with_suggestion

NO_SOURCE: Final = "Arithmetic, no source needed."


@dataclass(frozen=True, eq=False, repr=False)
class Citation:
    """Sources to cite, as text, HTML or BibTeX.

    Attributes
    ----------
    what : str
        What is cited: ``quenchbook``, a function or a result.
    sources : tuple of Source
        Empty for plain arithmetic.
    """

    what: str
    sources: tuple[Source, ...]

    def lines(self) -> list[str]:
        """One line for each source."""
        return [own.text() for own in self.sources] or [NO_SOURCE]

    def summary(self) -> str:
        """All sources as text."""
        return "\n".join(self.lines())

    def bibtex(self) -> str:
        """Entries of a BibTeX file; empty for plain arithmetic.

        Examples
        --------
        >>> print(cite("peak_place").bibtex())
        @article{fieller1954,
          author = {Fieller},
          year = {1954},
          journal = {Journal of the Royal Statistical Society B},
          volume = {16},
          pages = {175},
          note = {quoted from memory}
        }
        """
        return "\n\n".join(own.bibtex() for own in self.sources)

    def __str__(self) -> str:
        return self.summary()

    def __repr__(self) -> str:
        return f"<Citation of {self.what}: {len(self.sources)} sources>"

    def _repr_pretty_(self, printer: Any, cycle: bool) -> None:
        printer.text("..." if cycle else self.summary())

    def _repr_html_(self) -> str:
        items = "".join(f"<li>{escape(line)}</li>" for line in self.lines())
        return (
            f"<p>To cite {escape(self.what)}:</p><ul>{items}</ul><details><summary>BibTeX</summary>"
            f"<pre>{escape(self.bibtex())}</pre></details>"
        )


def cite(what: Any = None) -> Citation:
    """How to cite quenchbook, or the published sources of a method or a result.

    Parameters
    ----------
    what : str, function or result, optional
        Name of a public function such as ``"peak_place"``, that function, or what it returned.
        Without it quenchbook itself.

    Returns
    -------
    Citation
        With `summary`, `bibtex` and a form for notebooks.

    Raises
    ------
    QuenchbookError
        If there is no method of that name; it says which comes nearest.

    Examples
    --------
    >>> print(cite("peak_place"))
    Fieller (1954), Journal of the Royal Statistical Society B 16:175 (from memory).
    >>> print(cite("noise_budget").lines()[0])
    Burdick and Graybill (1992), Confidence Intervals on Variance Components (from memory).
    """
    if what is None:
        return Citation("quenchbook", (_own(),))
    if isinstance(what, str):
        name, methods = what, (what,)
    elif isinstance(what, type) or hasattr(what, "__name__"):
        name = what.__name__
        methods = (name,)
    else:
        name = type(what).__name__
        used = getattr(what, "methods_used", None)  # those of a fitted model depend on its options
        methods = (name, *(used() if used is not None else ()))
    known = {**METHODS, **dict.fromkeys(ARITHMETIC, ())}
    if name not in known:
        words = f"'{name}' is no method of quenchbook with references of its own."
        raise QuenchbookError(with_suggestion(words, name, known))
    keys = dict.fromkeys(key for own in methods for key in known.get(own, ()))
    return Citation(name, tuple(SOURCES[key] for key in keys))


def _own() -> Source:
    """Source that stands for quenchbook, from what its installation tells."""
    facts: Mapping[str, Any] = importlib.metadata.metadata("quenchbook").json
    authors = str(facts.get("author") or facts.get("author_email") or "")
    return Source(
        "quenchbook",
        authors=re.sub(r"\s*<[^>]*>", "", authors) or "The quenchbook founders",
        year="",
        where=f"version {facts['version']}, licence {facts.get('license_expression', 'not told')}",
        title=f"quenchbook: {facts['summary']}",
        kind="software",
    )
