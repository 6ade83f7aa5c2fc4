"""A form in the notebook: widgets while the kernel runs, a readable summary ever after."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable
from datetime import datetime
from html import escape
from typing import Any, Final

from quenchbook.errors import Problem, QuenchbookError

LABEL_WIDTH: Final = "22em"
FIELD_WIDTH: Final = "45em"
SAID: Final = "quenchbook-said"  # both names stand in jupyter_files/.../remoteEntry.js too
FIELD: Final = "quenchbook-field"
TOLD: Final = "quenchbook-told"  # words beside a field that is not wrong; in remoteEntry.js too
BUTTON: Final = {"width": "auto", "margin": "4px 0 4px 22.5em", "align_self": "flex-start"}
_SUMMARY: Final = ".jp-OutputArea-child:has(> .jp-OutputArea-output .quenchbook-form-summary)"
_RULES: Final = (  # widgets that run follow the summary; those that do not are bare words
    f"<style>{_SUMMARY}:has(+ .jp-OutputArea-child .jupyter-widgets .widget-toggle-buttons)"
    f"{{display:none}}{_SUMMARY} + .jp-OutputArea-child:not(:has(> .jp-OutputArea-output *))"
    "{display:none}</style>"
)
_BOX: Final = "border-left:2px solid #6F8577;padding-left:10px"


class Form:
    """Widgets with a summary in words.

    A notebook that was saved, and its export, show the summary: they have no kernel to run a form.
    Both are put below the cell, and a rule of style hides what does not apply: a reopened notebook
    would say of the widgets that their model is not found, and an export would fetch them from a
    server.

    Parameters
    ----------
    box : ipywidgets.Box
    summary_html : callable
        HTML of the values now.
    """

    def __init__(self, box: Any, summary_html: Callable[[], str]) -> None:
        self.box = box
        self._summary_html = summary_html
        self._summaries: list[str] = []  # display ids of the summaries below cells
        self._since = "A form, as it was when this cell was run"

    def _ipython_display_(self) -> None:
        from IPython.display import display

        summary, widgets = self.bundles()
        name = f"quenchbook-summary-{uuid.uuid4().hex}"
        display(summary, raw=True, display_id=name)  # type: ignore[no-untyped-call]
        display(widgets, raw=True)  # type: ignore[no-untyped-call]
        self._summaries.append(name)

    def renew_summary(self) -> None:
        """Renew the summary below the cell: something was written, and a notebook may be saved."""
        from IPython.display import update_display

        self._since = f"A form, as it was after what was written at {datetime.now():%H:%M}"
        for name in self._summaries:
            update_display(self.bundles()[0], display_id=name, raw=True)  # type: ignore[no-untyped-call]

    def bundles(self) -> tuple[dict[str, Any], dict[str, Any]]:
        """Two outputs of a cell: the summary, and the widgets, nothing without a kernel."""
        shown = self.box._repr_mimebundle_()
        widgets: dict[str, Any] = shown[0] if isinstance(shown, tuple) else shown
        return (
            {"text/plain": repr(self), "text/html": _RULES + self._repr_html_()},
            {**widgets, "text/plain": "", "text/html": "<span></span>"},
        )

    def _repr_html_(self) -> str:
        return (
            f'<div class="quenchbook-form-summary" style="{_BOX}"><p><small>'
            f"{self._since}. Run the cell to use it.</small></p>"
            f"{self._summary_html()}</div>"
        )

    def __repr__(self) -> str:
        return "<Form: run this cell in JupyterLab to use it>"


def text_field(label: str, value: str = "", hint: str = "", *, wide: bool = False) -> Any:
    """Field for one text, its label beside it."""
    import ipywidgets

    return ipywidgets.Text(
        value=value, description=label, placeholder=hint, continuous_update=True,
        style={"description_width": LABEL_WIDTH},
        layout={"width": "62em" if wide else FIELD_WIDTH, "max_width": "100%"},
    )  # fmt: skip


def choice_field(label: str, options: Iterable[Any], *, width: str = FIELD_WIDTH) -> Any:
    """Field for one of several values."""
    import ipywidgets

    return ipywidgets.Dropdown(
        options=list(options), description=label,
        style={"description_width": LABEL_WIDTH}, layout={"width": width, "max_width": "100%"},
    )  # fmt: skip


def status_line() -> Any:
    """Place for words that a screen reader says when they change.

    Many screen readers say only what changes inside a region that was there before, and the words
    of a widget are replaced whole. So the class is what `remoteEntry.js` makes a lasting region
    of; without that extension, as in another program, the words themselves carry the role.
    """
    import ipywidgets

    line = ipywidgets.HTML(value=status_html(""))
    line.add_class(SAID)
    return line


def message_line() -> Any:
    """Place for the message of a field, said like a status; empty as long as nothing is wrong."""
    line = status_line()
    line.value = ""
    return line


def field_with_message(field: Any, message: Any) -> Any:
    """A field with its message below, which `remoteEntry.js` ties to it as its description."""
    import ipywidgets

    box = ipywidgets.VBox([field, message], layout={"margin": "0 0 2px 0"})
    box.add_class(FIELD)
    return box


def field_beside_message(field: Any, message: Any) -> Any:
    """A short field with its message to the right, where there is room for two lines of it.

    Nothing below moves when a message comes or goes: a button would leave the pointer during a
    click, and the click would be lost.
    """
    import ipywidgets

    field.layout.width, field.layout.flex = f"calc({LABEL_WIDTH} + 9em)", "0 0 auto"
    message.layout = {"flex": "1 1 auto", "min_width": "0", "margin": "0 0 0 10px"}
    box = ipywidgets.HBox([field, message], layout={"min_height": "40px", "align_items": "center"})
    box.add_class(FIELD)
    return box


def status_html(
    words: str, *, alert: bool = False, strong: bool = False, edge: bool = False
) -> str:
    """Words of a status line; an alert is said at once, strong words are bold."""
    role, live = ("alert", "assertive") if alert else ("status", "polite")
    line = "border-left:3px solid #8A6D1B;padding-left:8px;" if alert or edge else ""
    weight = "font-weight:bold;" if strong else ""
    lines = "<br>".join(escape(line) for line in words.split("\n"))
    return (
        f'<div role="{role}" aria-live="{live}" style="{line}{weight}max-width:46em;'
        f'line-height:1.4">{lines}</div>'
    )


def problem_html(problems: Iterable[Problem]) -> str:
    """Messages of a reader beside a field, without the line of the file."""
    lines = [str(Problem("", own.problem, own.remedy)) for own in problems]
    return status_html("\n".join(lines), alert=True) if lines else ""


def error_words(error: QuenchbookError | OSError) -> str:
    """Why something was not done; of an error of the disk what the system says of it.

    >>> error_words(OSError(28, "No space left on device", "records/.part"))
    'The file could not be written: No space left on device. What you typed is still here.'
    """
    if isinstance(error, OSError):
        reason = error.strerror or str(error) or type(error).__name__
        return f"The file could not be written: {reason}. What you typed is still here."
    return str(error)
