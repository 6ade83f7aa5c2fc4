"""One edition of a report, ready to be written: for whom it is, its document, where it goes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quenchbook.report.from_notebook import report_document

if TYPE_CHECKING:
    from quenchbook.report.document import Document
    from quenchbook.study.definition import Study

_LONGEST_TITLE = 48  # characters that stand whole in the running head of a page


@dataclass(frozen=True)
class Edition:
    """What a writer of a report needs.

    Attributes
    ----------
    name : str
        ``public`` or ``supporters``.
    study : Study
    document : Document
        Holds only what is in this edition.
    folder : Path
        Where its files go.
    body : Document, optional
        The same without its appendix, for a page where tables of hundreds of cells are in the way.
    """

    name: str
    study: Study
    document: Document
    folder: Path
    body: Document | None = None

    def path(self, end: str) -> Path:
        """File of this edition: ``plane_irons.pdf``, ``plane_irons_supporters.pdf``."""
        own = "" if self.name == "public" else f"_{self.name}"
        return self.folder / f"{self.study.key}{own}{end}"


def edition_of(
    notebook: Mapping[str, Any],
    study: Study,
    name: str,
    folder: Path,
    *,
    show_code: bool = False,
    appendix: bool = True,
) -> Edition:
    """Edition of an executed report notebook; cells that are not in it leave no trace."""
    details = {
        "title": study.question,
        "study": _short_title(study),
        "author": study.author,
        "date": study.date,
    }
    document, body = (
        report_document(notebook, edition=name, show_code=show_code, appendix=own, details=details)
        for own in (appendix, False)
    )
    return Edition(name, study, document, folder, body)


def _short_title(study: Study) -> str:
    """Title that fits the running head: whole, up to its colon, or the key in words."""
    for title in (study.title, study.title.partition(":")[0]):
        if len(title) <= _LONGEST_TITLE:
            return title
    return study.key.replace("_", " ")
