"""The form for the plan: what the study file says, what follows from it, and nothing else."""

from __future__ import annotations

import datetime
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

from quenchbook.errors import Problem, QuenchbookError
from quenchbook.forms.later import Later
from quenchbook.forms.plan_preview import PlanPreview, preview_of_edits
from quenchbook.forms.shown_form import (
    TOLD,
    Form,
    error_words,
    field_with_message,
    message_line,
    problem_html,
    status_html,
    status_line,
    text_field,
)
from quenchbook.forms.study_edits import StudyEdits, study_edits
from quenchbook.forms.study_fields import GROUPS, QUESTIONS

_UNSAVED: dict[Path, tuple[bytes, dict[str, str]]] = {}
"""What was typed and not saved, by study file: its bytes then, and the texts of the fields."""

_OLD = (
    '<p style="border-left:3px dashed #5A6069;padding-left:8px">Calculating. Below still stands '
    "what the values before gave.</p>"
)


def plan_form(study_folder: str | Path) -> Form:
    """Form for a study file: change values, see what follows, save.

    It edits ``study.toml`` and nothing else; all of it can be done in code with `study_edits` and
    `plan_preview`.

    Parameters
    ----------
    study_folder : str or Path

    Returns
    -------
    Form
        Shows itself at the end of a cell. A saved or exported notebook shows a summary.

    Raises
    ------
    StudyError
        If the study file cannot be read.
    """
    return PlanForm(Path(study_folder)).form


class PlanForm:
    """Fields, messages and preview of one study file."""

    def __init__(self, folder: Path) -> None:
        import ipywidgets

        self.folder = folder
        self.edits = study_edits(folder)
        self.saved = self.edits
        self.later = Later()
        self.preview: PlanPreview | None = None
        self.fields: dict[str, Any] = {}
        self.messages: dict[str, Any] = {}
        self._quiet = False
        self._newest = ""  # field that was changed last
        self._blamed: dict[str, str] = {}  # what is wrong, to the change that it came with
        self._refused = False
        self._answered: StudyEdits | None = None  # edits that Save has answered, and not saved
        groups = [self._group(name) for name in GROUPS]
        self.parts = ipywidgets.ToggleButtons(
            options=list(GROUPS), value=GROUPS[2],
            style={"button_width": "auto"}, layout={"margin": "0 0 6px 0"},
        )  # fmt: skip
        self.shown = ipywidgets.VBox([groups[2]])
        self.status, self.general = status_line(), message_line()
        self.save = ipywidgets.Button(
            description="Save study.toml", layout={"width": "auto"},
            tooltip="Writes the changed values into study.toml",
        )  # fmt: skip
        self.undo = ipywidgets.Button(description="Undo changes", layout={"width": "auto"})
        self.although = ipywidgets.Checkbox(
            description="A plan is kept already. Save, and let the report say what was changed "
            "after it.",
            indent=False, layout={"width": "auto"},
        )  # fmt: skip
        self.exploratory = status_line()
        self.finding, self.view = status_line(), ipywidgets.HTML()
        self.parts.observe(
            lambda change: setattr(self.shown, "children", [groups[GROUPS.index(change["new"])]]),
            names="value",
        )
        self.save.on_click(lambda _: self._save())
        self.undo.on_click(lambda _: self._undo())
        self.kept, self.unsaved = ipywidgets.VBox([]), status_line()
        self._ask_if_planned()
        box = ipywidgets.VBox(
            [
                self.parts, self.shown, self.general,
                ipywidgets.HBox([self.save, self.undo]), self.kept,
                self.unsaved, self.status, self.finding, self.view,
            ]
        )  # fmt: skip
        self.form = Form(box, self._summary_html)
        self._say("Nothing is changed.")
        result = self._worked_out(self.edits)
        self._show(result.with_curves() if isinstance(result, PlanPreview) else result)
        self._take_up_unsaved()

    def _ask_if_planned(self) -> None:
        """Show the box to tick once a plan is kept, also one that was kept after the form came."""
        if self.edits.is_planned and not self.kept.children:
            self.kept.children = [self.although, self.exploratory]

    def _take_up_unsaved(self) -> None:
        """Put what was typed before into the fields, where this kernel knows it."""
        before, typed = _UNSAVED.get(self.edits.path.resolve(), (b"", {}))
        if not typed:
            return
        if before != self.edits.on_disk:
            labels = {own.name: own.label for own in self.edits.fields}
            told = "; ".join(f"{labels.get(name, name)}: {text}" for name, text in typed.items())
            del _UNSAVED[self.edits.path.resolve()]
            self._say(f"study.toml was changed meanwhile, so these are not taken up: {told}.")
            return
        self._quiet = True
        for name in typed.keys() & self.fields.keys():
            self.fields[name].value = typed[name]
        self._quiet = False
        levels = [name for name in typed if name.endswith(".levels")]
        self._changed((levels or list(typed))[0])
        self._tell_unsaved("They were typed before this cell was run again, and are taken up.")

    def _tell_unsaved(self, more: str = "") -> None:
        """Say as loudly as a form can that the study file does not have what is typed here."""
        count = len(self._typed())
        if not count:
            self.unsaved.value = status_html("")
            return
        many = "1 change is" if count == 1 else f"{count} changes are"
        have = "it" if count == 1 else "them"
        words = f"{many} not saved: a plan made now would not have {have}. {more}".strip()
        self.unsaved.value = status_html(words, strong=True, edge=True)

    def _typed(self) -> dict[str, str]:
        """Texts of the fields that say something else than the file."""
        return {
            name: field.value
            for name, field in self.fields.items()
            if field.value.strip() != self.saved.field(name).text
        }

    def _group(self, name: str) -> Any:
        """Fields of one part, each with the place for its message."""
        import ipywidgets

        rows = []
        for own in (field for field in self.edits.fields if field.group == name):
            field = text_field(own.label, own.text, own.hint, wide=name == QUESTIONS)
            field.observe(lambda _, name=own.name: self._changed(name), names="value")
            message = message_line()
            self.fields[own.name], self.messages[own.name] = field, message
            rows.append(field_with_message(field, message))
        return ipywidgets.VBox(rows)

    # --- what follows from a change -------------------------------------------------------------

    def _changed(self, name: str = "") -> None:
        if self._quiet:
            return
        self._newest = name
        wanted = self._typed()
        _UNSAVED[self.saved.path.resolve()] = (self.saved.on_disk, wanted)
        self._tell_unsaved()
        self._ask_if_planned()
        found: dict[str, list[Problem]] = {}
        edits = self.saved
        for name, value in wanted.items():
            try:
                edits = edits.with_changes({name: value})
            except QuenchbookError as error:
                found[name] = list(error.problems)
        self.edits = edits
        for name, problems in edits.problems_by_field().items():
            found.setdefault(name if name in self.messages else "", []).extend(problems)
        beside = self._beside_their_cause(found, wanted)
        for name, message in self.messages.items():
            message.value = problem_html(beside.get(name, ())) or self._goes_along(name, wanted)
        self._refused = bool(found)
        self.general.value = problem_html(found.get("", ()))
        self.exploratory.value = status_html("\n".join(edits.exploratory()))
        if found:
            lines = [
                f"{self._place(name)}{own.problem}." for name, owns in found.items() for own in owns
            ]
            told = "\n".join(dict.fromkeys(lines))
            self._say(f"This cannot be saved.\n{told}\nBelow is what was before.")
            return
        self._say(f"{self._counted(edits) or 'Nothing is changed.'} Calculating.")
        self.view.value = _OLD + (self.preview.details_html() if self.preview is not None else "")
        self.later.ask(
            lambda: self._worked_out(edits),
            lambda result: self._first(edits, result),
            lambda error: self._broken_off(edits, error),
            slow=edits.study().plan.kind == "best",
        )

    def _place(self, name: str) -> str:
        """Page and field of a message; empty for one of no field."""
        if not name:
            return ""
        field = self.saved.field(name)
        return f"Page {field.group}, {field.label}: "

    def _beside_their_cause(
        self, found: dict[str, list[Problem]], wanted: dict[str, str]
    ) -> dict[str, list[Problem]]:
        """Problems by field; what a change did elsewhere also stands beside that change."""
        beside = {name: list(problems) for name, problems in found.items()}
        blamed = {}
        for name, problems in found.items():
            if name in wanted:  # its own change is wrong
                continue
            for own in problems:
                words = f"{self._place(name)}{own.problem}"
                cause = blamed[words] = self._blamed.get(words, self._newest)
                if cause in wanted:
                    remedy = f"{own.remedy} Change it there too, or keep here what it needs."
                    beside.setdefault(cause, []).append(Problem("", words, remedy.strip()))
        self._blamed = blamed
        return beside

    def _goes_along(self, name: str, wanted: dict[str, str]) -> str:
        """Words beside a field that another change has changed with it."""
        now = self.edits.field(name).text
        if name in wanted or now == self.saved.field(name).text:
            return ""
        return f'<div class="{TOLD}">{status_html(f"Changed with the levels: {now}.")}</div>'

    def _worked_out(self, edits: StudyEdits) -> PlanPreview | QuenchbookError:
        try:
            return preview_of_edits(edits)
        except QuenchbookError as error:
            return error

    def _first(self, edits: StudyEdits, result: PlanPreview | QuenchbookError) -> None:
        """Show matrix, power and cost; then work out what takes longer of what is shown."""
        self._show(result)
        # else saved, refused or changed meanwhile, and said so
        if edits is self.edits and edits is not self._answered:
            words = self._counted(edits)
            if isinstance(result, PlanPreview):
                self._say(words or "Nothing is changed.")
            else:
                self._say(f"{words} There is no plan like this, see below.")
        if isinstance(result, PlanPreview):
            self.later.ask(
                result.with_curves,
                self._show,
                lambda error: self._show(replace(result, without_curves=_broken_words(error))),
                slow=True,
            )

    def _broken_off(self, edits: StudyEdits, error: Exception) -> None:
        """Say that what follows from a change could not be worked out."""
        self.preview = None
        self.finding.value = status_html("")
        self.view.value = problem_html([Problem("", _broken_words(error))])
        if edits is self.edits:
            self._say(f"{self._counted(edits)} What follows could not be worked out, see below.")

    def _counted(self, edits: StudyEdits) -> str:
        count = len(edits.changes())
        return f"{count} change{'s' if count != 1 else ''}, not saved yet." if count else ""

    def _show(self, result: PlanPreview | QuenchbookError) -> None:
        if isinstance(result, QuenchbookError):
            self.preview = None
            self.finding.value, self.view.value = status_html(""), problem_html(result.problems)
        else:
            self.finding.value = status_html(result.finding, strong=True)
            self.preview = result
            self.view.value = result.details_html()

    def _say(self, words: str) -> None:
        self.status.value = status_html(words)

    # --- buttons --------------------------------------------------------------------------------

    def _save(self) -> None:
        if self._refused:
            before = self.status.value
            self._say("Not saved.")
            self.status.value += before
            return
        changed, self._answered = self.edits.changes(), self.edits
        self._ask_if_planned()
        self.exploratory.value = status_html("\n".join(self.edits.exploratory()))
        if changed and self.edits.is_planned and not self.although.value:
            self.status.value = status_html(
                "Not saved. A plan is kept already, so what is changed now is exploratory. "
                "Tick the box below the buttons if it is meant, and press Save again.",
                alert=True,
            )
            return
        try:
            self.edits.write(although_planned=self.although.value)
        except (QuenchbookError, OSError) as error:
            listed = "; ".join(f"{own.label}: {own.text or 'not told'}" for own, _ in changed)
            words = f"Not saved. {error_words(error)}\nYour changes: {listed or 'none'}."
            self.status.value = status_html(words, alert=True)
            return
        self.saved = self.edits = self.edits.when_written()
        self.although.value = False
        self.exploratory.value = status_html("")
        self._fill_in()
        self._tell_unsaved()
        self.form.renew_summary()
        time = datetime.datetime.now().strftime("%H:%M")
        labels = ", ".join(own.label for own, _ in changed)
        self._say(f"Saved study.toml at {time}: {labels}." if changed else "Nothing was to save.")

    def _undo(self) -> None:
        self._fill_in()
        self._changed()

    def _fill_in(self) -> None:
        """Put what the file says into the fields: nothing typed is left over."""
        self._quiet = True
        for name, field in self.fields.items():
            field.value = self.saved.field(name).text
            self.messages[name].value = ""
        self._quiet = False
        _UNSAVED.pop(self.saved.path.resolve(), None)

    def _summary_html(self) -> str:
        """Values now and what follows from them, for a notebook without a kernel."""
        parts = []
        for group in GROUPS:
            rows = [
                f'<tr><th scope="row" style="text-align:left;font-weight:normal;padding:1px 16px '
                f'1px 0">{escape(own.label)}</th><td style="text-align:left">{escape(own.text)}'
                "</td></tr>"
                for own in self.edits.fields
                if own.group == group and own.text
            ]
            parts.append(
                f"<details><summary>{group}</summary><table>{''.join(rows)}</table></details>"
            )
        preview = self.preview._repr_html_() if self.preview is not None else ""
        return f"{preview}{''.join(parts)}"


def _broken_words(error: Exception) -> str:
    """Why a calculation broke off, with the name of the error: it is one of the program."""
    return f"This could not be worked out ({type(error).__name__}: {error})"
