"""Run a notebook from a clean kernel, with this Python and these parameters."""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quenchbook.errors import Problem, ReportError
from quenchbook.report.from_notebook import CELL

if TYPE_CHECKING:
    from jupyter_client.manager import AsyncKernelManager
    from nbformat import NotebookNode

_QUIET = ["--log-level=40"]


def executed(
    notebook_path: str | Path,
    *,
    parameters: Mapping[str, Any],
    folder: str | Path,
    progress: Callable[[int, int], None] | None = None,
    timeout: int = 600,
    without: Collection[str] = (),
) -> NotebookNode:
    """Notebook with the outputs of a run; the file is not changed.

    Parameters
    ----------
    notebook_path : path-like
        A notebook with one cell tagged ``parameters`` if `parameters` are given.
    parameters : mapping
        Names and plain values that replace those of the tagged cell.
    folder : path-like
        Working folder of the run.
    progress : callable, optional
        Called with the number of cells done and the number of code cells.
    timeout : int
        Longest time for one cell [s].
    without : collection of str
        Cells with one of these tags are neither run nor in the result.

    Returns
    -------
    NotebookNode
        Without times of the run, so the same run gives the same notebook. Under `CELL` in the
        metadata of a cell stands its number in the file.
    """
    import nbformat

    path = Path(notebook_path)
    try:
        notebook: NotebookNode = nbformat.read(path, as_version=4)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, nbformat.reader.NotJSONError) as error:
        raise ReportError(f"{path} cannot be read as a notebook: {error}") from None
    if not Path(folder).is_dir():
        raise ReportError(f"{folder} is not a folder to run {path.name} in.")
    for number, cell in enumerate(notebook.cells, start=1):
        cell.metadata[CELL] = number  # messages count cells as the author sees them
    notebook.cells = [
        cell for cell in notebook.cells if not set(without) & set(cell.metadata.get("tags", []))
    ]
    _inject(notebook, parameters, path)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            cell.outputs, cell.execution_count = [], None
    try:
        _run(notebook, path, Path(folder), progress, timeout)
    except ReportError as error:
        if not without or "NameError" not in str(error):
            raise
        remedy = f"Cells tagged {' or '.join(without)} were not run: is the name made in one?"
        raise ReportError([replace(own, remedy=remedy) for own in error.problems]) from None
    return notebook


def parameters_source(parameters: Mapping[str, Any]) -> str:
    r"""Assignments of an injected cell; only plain values can be written down.

    >>> parameters_source({"seed": 7, "route": "dry_ice"})
    "# injected parameters\nseed = 7\nroute = 'dry_ice'"
    """
    lines = ["# injected parameters"]
    for name, value in parameters.items():
        if not name.isidentifier():
            raise ReportError(f"'{name}' cannot be the name of a parameter.")
        lines.append(f"{name} = {_plain(value, name)!r}")
    return "\n".join(lines)


def _plain(value: Any, name: str) -> Any:
    if isinstance(value, Path):
        return str(value)
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float) and value - value == 0:
        return value
    if isinstance(value, list | tuple):
        return [_plain(item, name) for item in value]
    if isinstance(value, Mapping):
        return {str(key): _plain(item, name) for key, item in value.items()}
    raise ReportError(f"Parameter '{name}' is {value!r:.60}, expected a text, number or list.")


def _inject(notebook: NotebookNode, parameters: Mapping[str, Any], path: Path) -> None:
    from nbformat.v4 import new_code_cell

    tags = [set(cell.metadata.get("tags", [])) for cell in notebook.cells]
    places = [place for place, found in enumerate(tags) if "parameters" in found]
    notebook.cells = [
        cell
        for cell, found in zip(notebook.cells, tags, strict=True)
        if "injected-parameters" not in found
    ]
    if not parameters:
        return
    if len(places) != 1:
        raise ReportError(f"{path.name} has {len(places)} cells tagged 'parameters', expected one.")
    before = sum("injected-parameters" in found for found in tags[: places[0]])
    cell = new_code_cell(  # type: ignore[no-untyped-call]
        parameters_source(parameters),
        metadata={"tags": ["injected-parameters"]},
        id="injected-parameters",
    )
    notebook.cells.insert(places[0] - before + 1, cell)


def _this_python() -> type[AsyncKernelManager]:
    """Kernel manager that starts this interpreter, whatever kernels the machine has."""
    from jupyter_client.kernelspec import KernelSpec
    from jupyter_client.manager import AsyncKernelManager

    class ThisPython(AsyncKernelManager):
        @property
        def kernel_spec(self) -> KernelSpec:
            command = [sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"]
            return KernelSpec(argv=command, display_name="Python 3", language="python")

    return ThisPython


def _run(
    notebook: NotebookNode,
    path: Path,
    folder: Path,
    progress: Callable[[int, int], None] | None,
    timeout: int,
) -> None:
    from nbclient import NotebookClient
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    total = sum(cell.cell_type == "code" for cell in notebook.cells)
    place = {"cell": 0, "done": 0}

    def begins(cell_index: int, **_: Any) -> None:
        place["cell"] = cell_index

    def ended(**_: Any) -> None:
        place["done"] += 1
        if progress is not None:
            progress(place["done"], total)

    client = NotebookClient(
        notebook,
        kernel_manager_class=_this_python(),
        kernel_name="python3",
        timeout=timeout,
        resources={"metadata": {"path": str(folder)}},
        record_timing=False,
        store_widget_state=False,
        extra_arguments=list(_QUIET),
        on_cell_execute=begins,
        on_cell_executed=ended,
    )
    try:
        client.execute()
    except CellExecutionError as error:
        what = f"{error.ename}: {error.evalue}"
        raise _cell_error(notebook, path, place["cell"], what) from None
    except CellTimeoutError:
        what = f"longer than {timeout} s"
        raise _cell_error(notebook, path, place["cell"], what) from None
    except DeadKernelError:
        what = "the kernel stopped"
        raise _cell_error(notebook, path, place["cell"], what) from None


def _cell_error(notebook: NotebookNode, path: Path, index: int, what: str) -> ReportError:
    """Name the cell by its number and last line; no traceback, it speaks of our code."""
    lines = [line.strip() for line in notebook.cells[index].source.splitlines() if line.strip()]
    last = f", '{lines[-1]:.80}'" if lines else ""
    number = notebook.cells[index].metadata.get(CELL)
    where = f"cell {number}" if number else "parameters"
    return ReportError(Problem(f"{path.name} {where}{last}", what))
