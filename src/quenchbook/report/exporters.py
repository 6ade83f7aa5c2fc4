"""nbconvert exporters, and the two functions that write a report to disk."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from nbconvert.exporters.exporter import Exporter
from traitlets import Bool, Enum, Unicode

from quenchbook.errors import ReportError, TypesettingError
from quenchbook.writing import write_bytes

if TYPE_CHECKING:
    from nbformat import NotebookNode

    from quenchbook.report.document import Document
    from quenchbook.report.edition import Edition


class _ReportExporter(Exporter):
    """What both outputs share: which cells are in, and who signs.

    nbconvert makes one of every exporter at each of its starts, so this does nothing until a
    notebook comes.
    """

    edition = Enum(("public", "supporters"), "public", help="Which readers it is for.").tag(
        config=True
    )
    show_code = Bool(False, help="Show the code of the cells.").tag(config=True)
    appendix = Bool(True, help="Show the cells tagged appendix.").tag(config=True)
    author = Unicode("", help="Who signs the report.").tag(config=True)
    date = Unicode("", help="Day of the report, such as 2026-01-14.").tag(config=True)

    def _document(self, notebook: NotebookNode) -> Document:
        from quenchbook.report.from_notebook import report_document

        return report_document(
            notebook,
            edition=self.edition,
            show_code=self.show_code,
            appendix=self.appendix,
            details={"author": self.author, "date": self.date},
        )

    def from_notebook_node(
        self, nb: NotebookNode, resources: Any | None = None, **kw: Any
    ) -> tuple[Any, dict[str, Any]]:
        """Render a notebook; its outputs must be there already."""
        copy, filled = super().from_notebook_node(nb, resources, **kw)
        return self._rendered(self._document(copy)), filled

    def _rendered(self, document: Document) -> str | bytes:
        raise NotImplementedError


class ReportHTML(_ReportExporter):
    """One HTML page with everything in it: ``jupyter nbconvert --to quenchbook``."""

    export_from_notebook = "quenchbook report (HTML)"
    output_mimetype = "text/html"

    def _file_extension_default(self) -> str:
        return ".html"

    def _rendered(self, document: Document) -> str:
        from quenchbook.report.html import html_page

        return html_page(document)


class ReportPDF(_ReportExporter):
    """A tagged PDF on A4: ``jupyter nbconvert --to quenchbook-pdf``."""

    export_from_notebook = "quenchbook report (PDF)"
    output_mimetype = "application/pdf"

    def _file_extension_default(self) -> str:
        return ".pdf"

    def _rendered(self, document: Document) -> bytes:
        from quenchbook.report.pdf import pdf_bytes

        return pdf_bytes(document)


def write_html(
    notebook: NotebookNode, path: str | Path, *, overwrite: bool = False, **options: Any
) -> Path:
    """Write an executed notebook as one HTML page.

    Parameters
    ----------
    notebook : NotebookNode
        Executed, for example by `quenchbook.report.run.executed`.
    path : path-like
        File to write; its folder is made.
    overwrite : bool
        Whether another file of this name may be replaced.
    **options
        ``edition``, ``show_code``, ``appendix`` and ``details`` of
        `quenchbook.report.from_notebook.report_document`.

    Returns
    -------
    pathlib.Path
        The file.
    """
    from quenchbook.report.from_notebook import report_document
    from quenchbook.report.html import html_page

    page = html_page(report_document(notebook, **options))
    return write_whole(Path(path), page.encode("utf-8"), overwrite=overwrite)


def write_pdf(
    notebook: NotebookNode, path: str | Path, *, overwrite: bool = False, **options: Any
) -> Path:
    """Write an executed notebook as a PDF; parameters as for `write_html`.

    Raises
    ------
    TypesettingError
        If neither Typst nor a browser of this machine makes it; the HTML is written beside it.
    """
    from quenchbook.report.from_notebook import report_document
    from quenchbook.report.pdf import pdf_bytes

    document = report_document(notebook, **options)
    try:
        done = pdf_bytes(document)
    except TypesettingError as error:
        raise _with_page(error, document, Path(path).with_suffix(".html"), overwrite) from None
    return write_whole(Path(path), done, overwrite=overwrite)


def write_html_edition(edition: Edition) -> list[Path]:
    """Write an edition as one HTML page, replacing an earlier one."""
    from quenchbook.report.html import html_page

    return [write_bytes(edition.path(".html"), html_page(edition.document).encode("utf-8"))]


def write_pdf_edition(edition: Edition) -> list[Path]:
    """Write an edition as a PDF, replacing an earlier one; if none can be made, as HTML."""
    from quenchbook.report.pdf import pdf_bytes

    try:
        done = pdf_bytes(edition.document)
    except TypesettingError as error:
        raise _with_page(error, edition.document, edition.path(".html"), True) from None
    return [write_bytes(edition.path(".pdf"), done)]


def _with_page(
    error: TypesettingError, document: Document, path: Path, overwrite: bool
) -> TypesettingError:
    """Write the HTML in place of a PDF that cannot be made; the error that tells of it."""
    from quenchbook.report.html import html_page

    page = html_page(document).encode("utf-8")
    write_whole(path, page, overwrite=overwrite)
    return TypesettingError(f"{error} The HTML was written: {path}.")


def write_whole(path: Path, data: bytes, *, overwrite: bool) -> Path:
    """Write a file whole or not at all; a different file of the same name is an error."""
    if path.exists() and not overwrite and path.read_bytes() != data:
        raise ReportError(f"{path} exists and is different. Move it away or say overwrite=True.")
    path.parent.mkdir(parents=True, exist_ok=True)
    return write_bytes(path, data)
