"""The form for entry: readings coupon by coupon, what went differently, and corrections."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

from quenchbook.errors import QuenchbookError
from quenchbook.forms.entry_book import EntryBook, entry_book
from quenchbook.forms.later import Later
from quenchbook.forms.shown_form import (
    BUTTON,
    Form,
    choice_field,
    error_words,
    field_beside_message,
    message_line,
    problem_html,
    status_html,
    status_line,
    text_field,
)
from quenchbook.plan.entry_tables import deviating_units, movable_units

_PAUSE = 0.8  # s without a further key, before readings are checked
_PARTS = ("Readings", "Went differently", "Correct an entry")


def entry_form(study_folder: str | Path) -> Form:
    """Form for readings and deviations: each accepted coupon is kept at once.

    It writes files of its own into ``records`` and touches no other; all of it can be done in code
    with `entry_book`.

    Parameters
    ----------
    study_folder : str or Path
        Study with a plan.

    Returns
    -------
    Form
        Shows itself at the end of a cell. A saved or exported notebook shows a summary.

    Raises
    ------
    PlanError
        If no plan is kept yet.
    """
    return EntryForm(entry_book(study_folder)).form


class EntryForm:
    """Fields for entry, part by part."""

    def __init__(self, book: EntryBook) -> None:
        import ipywidgets

        self.book = book
        self.pause = Later(_PAUSE)
        boxes = [self._readings(), self._deviations(), self._corrections()]
        self.parts = ipywidgets.ToggleButtons(
            options=list(_PARTS), style={"button_width": "auto"}, layout={"margin": "0 0 6px 0"}
        )
        self.shown = ipywidgets.VBox([boxes[0]])
        self.status = status_line()
        self.boxes = boxes
        self.parts.observe(lambda _: self._turn_to_part(), names="value")
        box = ipywidgets.VBox([self.parts, self.shown, self.status])
        self.form = Form(box, self._summary_html)
        self._say(self.book.summary())

    def _turn_to_part(self) -> None:
        """Show another part; what was said of the one before is not said of it."""
        self.shown.children = [self.boxes[_PARTS.index(self.parts.value)]]
        self._say(self.book.summary())

    def _say(self, words: str, *, alert: bool = False) -> None:
        self.status.value = status_html(words, alert=alert)

    def _summary_html(self) -> str:
        return "".join(f"<p>{escape(line)}</p>" for line in self.book.summary().split("\n"))

    # --- readings -------------------------------------------------------------------------------

    def _readings(self) -> Any:
        import ipywidgets

        responses = [(own.quantity, own.name) for own in self.book.study.responses]
        self.response = choice_field("What was measured", responses)
        self.unit = choice_field("Unit", [""])
        self.coupon = choice_field("Coupon, in the order of the sheet", [""])
        self.cells: list[Any] = []
        self.cell_messages: list[Any] = []
        self.cell_box = ipywidgets.VBox([])
        self.note = text_field("Note", hint="may stay empty")
        self.blanks = ipywidgets.Checkbox(
            description="Take it with fewer readings than planned",
            indent=False, layout={"width": "auto", "margin": "0 0 0 22.5em"},
        )  # fmt: skip
        self.accept = ipywidgets.Button(description="Accept coupon", layout=BUTTON)
        self.response.observe(lambda _: self._of_response(), names="value")
        self.unit.observe(lambda _: self._check_cells(), names="value")
        self.accept.on_click(lambda _: self._accept())
        self._of_response()
        return ipywidgets.VBox(
            [
                self.response, self.unit, self.coupon, self.cell_box, self.note, self.blanks,
                self.accept,
            ]
        )  # fmt: skip

    def _of_response(self) -> None:
        """Fields for one coupon of the chosen response."""
        name = self.response.value
        units = self.book.units(name)
        self.unit.options = [unit or "none" for unit in units]
        self.unit.disabled = len(units) == 1
        self.cells = [
            text_field(words[:1].upper() + words[1:]) for words in self.book.readings(name)
        ]
        self.cell_messages = [message_line() for _ in self.cells]
        for cell in self.cells:
            cell.observe(lambda _: self._typed(), names="value")
        self.cell_box.children = [
            field_beside_message(cell, message)
            for cell, message in zip(self.cells, self.cell_messages, strict=True)
        ]
        self._choose_coupons()

    def _choose_coupons(self) -> None:
        """Coupons in the order of the sheet, the next one chosen."""
        frame = self.book.coupons(self.response.value)
        self.coupon.options = [
            (
                f"{own['coupon']} (no. {own['order']}{', read' if own['read'] else ''})",
                own["coupon"],
            )
            for own in frame.to_dict("records")
        ]
        following = self.book.next_coupon(self.response.value)
        if following:
            self.coupon.value = following

    def _unit(self) -> str:
        return "" if self.unit.value in (None, "none") else str(self.unit.value)

    def _typed(self) -> None:
        """Check the readings when typing pauses: the first digit of a reading is no mistake."""
        self.pause.ask(lambda: None, lambda _: self._check_cells(), lambda _: None, slow=False)

    def _check_cells(self) -> None:
        texts = [cell.value for cell in self.cells]
        found = self.book.reading_problems(self.response.value, texts, unit=self._unit())
        for place, message in enumerate(self.cell_messages):
            message.value = problem_html([found[place]]) if place in found else ""

    def _accept(self) -> None:
        code, words = str(self.coupon.value), [cell.value for cell in self.cells]
        try:
            path = self.book.enter(
                self.response.value, code, words, unit=self._unit(),
                note=self.note.value, with_blanks=self.blanks.value,
            )  # fmt: skip
        except (QuenchbookError, OSError) as error:
            self._check_cells()
            self._say(f"Not accepted. {error_words(error)}", alert=True)
            return
        told = ", ".join(word for word in words if word.strip())
        kept = f"Kept in {path.name}: {code} {told}."
        self._say(kept)  # at once: what follows reads the folder again
        for field in (*self.cells, self.note):
            field.value = ""
        self._check_cells()
        self.blanks.value = False
        self._choose_coupons()
        self._say(f"{kept}\n{self.book.summary()}")
        self.form.renew_summary()
        self.cells[0].focus()

    # --- what went differently --------------------------------------------------------------------

    def _deviations(self) -> Any:
        import ipywidgets

        study = self.book.study
        units = [(study.unit_word(unit), unit) for unit in deviating_units(study)]
        self.what = choice_field("What", units)
        self.what.value = "coupon"
        self.which = text_field("Which", hint="code of the coupon, number of the load or batch")
        self.item = choice_field("What was different", [""])
        self.actual = text_field("What it really was", hint="with its unit")
        self.reason = text_field("Note", hint="may stay empty")
        self.deviate = ipywidgets.Button(description="Enter", layout=BUTTON)
        self.what.observe(lambda _: self._of_unit(), names="value")
        self.item.observe(lambda _: self._of_item(), names="value")
        self.deviate.on_click(lambda _: self._deviate())
        self._of_unit()
        return ipywidgets.VBox(
            [self.what, self.which, self.item, self.actual, self.reason, self.deviate]
        )

    def _of_unit(self) -> None:
        study, what = self.book.study, self.what.value
        items = [("it is lost", "lost")] if what == "coupon" else []
        items += [(f.title, f.name) for f in study.factors]
        if what == "coupon":
            items += [
                (f"it came into another {study.unit_word(unit)}", unit)
                for unit in movable_units(study)
            ]
        items += [("it is lost", "lost")] if what != "coupon" else []
        self.item.options = [*items, ("a note", "note")]

    def _of_item(self) -> None:
        """Ask for a level with its unit, or for words."""
        in_words = self.item.value in ("lost", "note")
        self.actual.description = "What happened" if in_words else "What it really was"
        self.actual.placeholder = "in words" if in_words else "a level with its unit, or a number"

    def _deviate(self) -> None:
        try:
            path = self.book.deviate(
                self.what.value, self.which.value, self.item.value, self.actual.value,
                self.reason.value,
            )  # fmt: skip
        except (QuenchbookError, OSError) as error:
            self._say(f"Not entered. {error_words(error)}", alert=True)
            return
        self._say(f"Kept in {path.name}: {self.what.label} {self.which.value}, {self.item.label}.")
        for field in (self.which, self.actual, self.reason):
            field.value = ""
        self._choose_coupons()
        self.form.renew_summary()

    # --- corrections ------------------------------------------------------------------------------

    def _corrections(self) -> Any:
        import ipywidgets

        self.label = text_field("Coupon, as it was entered", hint="its code, also a misread one")
        self.place = choice_field("Which entry", [("type the code first", None)])
        self.right = text_field("What it should say")
        self.why = text_field("Why", hint="such as misread label, slip of the pen")
        self.correct = ipywidgets.Button(description="Correct", layout=BUTTON)
        self.label.observe(lambda _: self._of_label(), names="value")
        self.correct.on_click(lambda _: self._correct())
        return ipywidgets.VBox([self.label, self.place, self.right, self.why, self.correct])

    def _of_label(self) -> None:
        cells = self.book.cells_of(self.label.value) if self.label.value.strip() else []
        self.place.options = [
            (f"{column}: {self.book.cell(file, row, column)} ({file} row {row})",
             (file, row, column))
            for file, row, column in cells
        ] or [("no entry of this code", None)]  # fmt: skip

    def _correct(self) -> None:
        if self.place.value is None:
            self._say("Not corrected. Type the code as it was entered, and choose the entry.",
                      alert=True)  # fmt: skip
            return
        file, row, column = self.place.value
        try:
            path = self.book.correct(file, row, column, self.right.value, self.why.value)
        except (QuenchbookError, OSError) as error:
            self._say(f"Not corrected. {error_words(error)}", alert=True)
            return
        self._say(
            f"Kept in {path.name}: {column} of {file} row {row} is {self.right.value}. "
            "The file itself stays as it was written."
        )
        for field in (self.label, self.right, self.why):
            field.value = ""
        self._choose_coupons()
        self.form.renew_summary()
