"""A form in the notebook: widgets while the kernel runs, a readable summary ever after."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from html import escape
from typing import Any, Final

from quenchbook.errors import Problem

LABEL_WIDTH: Final = "19em"
FIELD_WIDTH: Final = "42em"
BUTTON: Final = {"width": "auto", "margin": "4px 0 4px 19.5em", "align_self": "flex-start"}
_BOX: Final = "border-left:2px solid #6F8577;padding-left:10px"


class Form:
    """Widgets with a summary in words.

    A notebook that was saved, and its export, show the summary: they have no kernel to run a form.

    Parameters
    ----------
    box : ipywidgets.Box
    summary_html : callable
        HTML of the values now.
    """

    def __init__(self, box: Any, summary_html: Callable[[], str]) -> None:
        self.box = box
        self._summary_html = summary_html

    def _repr_mimebundle_(self, **_: Any) -> dict[str, Any]:
        bundle = self.box._repr_mimebundle_()
        shown: dict[str, Any] = bundle[0] if isinstance(bundle, tuple) else bundle
        html = self._repr_html_()
        return {**shown, "text/plain": repr(self), "text/html": html}

    def _repr_html_(self) -> str:
        return (
            f'<div style="{_BOX}"><p><small>A form, as it was when this cell was run. Run the cell '
            f"to use it.</small></p>{self._summary_html()}</div>"
        )

    def __repr__(self) -> str:
        return "<Form: run this cell in JupyterLab to use it>"


def text_field(label: str, value: str = "", hint: str = "", *, wide: bool = False) -> Any:
    """Field for one text, its label beside it."""
    import ipywidgets

    return ipywidgets.Text(
        value=value, description=label, placeholder=hint, continuous_update=True,
        style={"description_width": LABEL_WIDTH},
        layout={"width": "60em" if wide else FIELD_WIDTH, "max_width": "100%"},
    )  # fmt: skip


def choice_field(label: str, options: Iterable[Any], *, width: str = FIELD_WIDTH) -> Any:
    """Field for one of several values."""
    import ipywidgets

    return ipywidgets.Dropdown(
        options=list(options), description=label,
        style={"description_width": LABEL_WIDTH}, layout={"width": width, "max_width": "100%"},
    )  # fmt: skip


def status_line() -> Any:
    """Place for words that a screen reader says when they change."""
    import ipywidgets

    return ipywidgets.HTML(value=status_html(""))


def status_html(words: str, *, alert: bool = False) -> str:
    """Words of a status line; an alert is said at once."""
    role, live = ("alert", "assertive") if alert else ("status", "polite")
    edge = "border-left:3px solid #8A6D1B;padding-left:8px;" if alert else ""
    lines = "<br>".join(escape(line) for line in words.split("\n"))
    return (
        f'<div role="{role}" aria-live="{live}" style="{edge}max-width:46em;'
        f'line-height:1.4">{lines}</div>'
    )


def problem_html(problems: Iterable[Problem]) -> str:
    """Messages of a reader beside a field, without the line of the file."""
    lines = [str(Problem("", own.problem, own.remedy)) for own in problems]
    return status_html("\n".join(lines), alert=True) if lines else ""
