"""Edits of a study file in plain code: what the form for the plan does, and only that.

The file is changed value by value. Comments, blank lines and all that a form does not know stay as
they are, and a file that was changed by someone else meanwhile is not written over.
"""

from __future__ import annotations

import dataclasses
import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import PlanError, Problem, StudyError
from quenchbook.forms.level_edits import with_levels
from quenchbook.forms.study_fields import Field, study_fields
from quenchbook.forms.toml_edits import Value, with_value
from quenchbook.forms.toml_places import Key, toml_places
from quenchbook.plan.declaration import declaration_changes
from quenchbook.plan.files import PLAN_FILE
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.files import read_study, study_from_text
from quenchbook.study.mistakes import nearest
from quenchbook.writing import write_if_unchanged

if TYPE_CHECKING:
    import pandas as pd

_BOM = "\ufeff"


@dataclass(frozen=True, eq=False, repr=False)
class StudyEdits(ShowsItself):
    """A study file with changes that are not written yet.

    Attributes
    ----------
    path : Path
        The file.
    on_disk : bytes
        What it held when it was read.
    text : str
        Its text with the changes.
    """

    path: Path
    on_disk: bytes
    text: str

    @cached_property
    def fields(self) -> tuple[Field, ...]:
        """Everything that may be changed, with its value now."""
        return study_fields(tomllib.loads(self.text))

    def field(self, name: str) -> Field:
        """Return the field of this name, such as ``layout.furnace_loads``."""
        for own in self.fields:
            if own.name == name:
                return own
        raise StudyError(
            Problem(name, "is no field", nearest(name, [own.name for own in self.fields]))
        )

    def with_changes(self, changes: Mapping[str, Value | None]) -> StudyEdits:
        """Return the edits with more values changed.

        A level that is changed where the number of levels stays is changed everywhere the file
        names it: questions, forbidden treatments, extra coupons, what other levels hang on.

        Parameters
        ----------
        changes : mapping of str to value
            Name of a field to its new value: a number, a text, a list; or a text as it is typed
            into the form. None takes a value out that need not be there.

        Returns
        -------
        StudyEdits
            Nothing is written, and nothing is checked yet: see `problems` and `write`.

        Raises
        ------
        StudyError
            If there is no such field, or it cannot be changed without an editor.
        """
        edits = self
        for name, value in changes.items():
            field = edits.field(name)
            if isinstance(value, str):
                value = field.value_of(value)
            if value is None and not field.optional:
                value = [] if field.kind == "list" else ""
            text = edits.text
            if field.key[-1] == "levels" and isinstance(value, list):
                text = with_levels(text, field, value)
            else:
                text = with_value(text, field.key, value)
            edits = dataclasses.replace(edits, text=text)
        return edits

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """What the reader of study files says against the text; empty if it is a study."""
        return () if isinstance(self._read, Study) else self._read.problems

    @cached_property
    def _read(self) -> Study | StudyError:
        try:
            return study_from_text(self.text, self.path)
        except StudyError as error:
            return error

    def study(self) -> Study:
        """Return the study with the changes; raises `StudyError` as `read_study` does."""
        if isinstance(self._read, StudyError):
            raise self._read
        return self._read

    def problems_by_field(self) -> dict[str, list[Problem]]:
        """Problems by the field they belong to; ``""`` has those of no field, or of another line.

        A problem beside a field, as in the lines of a question, goes to the nearest field.
        """
        places, found = toml_places(self.text), dict[str, list[Problem]]()
        changed = {own.name for own, _ in self.changes()}
        fields = sorted(self.fields, key=lambda own: own.name not in changed)
        keys: dict[int, Key] = {}  # line to what stands on it
        for key, span in places.values.items():
            first, last = (self.text.count("\n", 0, at) + 1 for at in (span.statement, span.end))
            keys |= dict.fromkeys(range(first, last + 1), key)
        for table, end in places.tables.items():
            keys.setdefault(self.text.count("\n", 0, end) + 1, table)
        for problem in self.problems:
            line = re.search(r" line (\d+)$", problem.where)
            key = keys.get(int(line[1]), ()) if line else ()
            exact = [own for own in fields if own.key == key[: len(own.key)]]
            near = [own for own in fields if len(key) > 1 and own.key[:2] == key[:2]]
            said = [own for own in near if str(own.key[-1]) in problem.problem]
            name = next((own.name for own in (*exact, *said, *near)), "")
            found.setdefault(name, []).append(problem)
        return found

    def changes(self) -> list[tuple[Field, str]]:
        """Fields that were changed, each with its text before."""
        before = {own.name: own.text for own in study_fields(tomllib.loads(self._text_before))}
        return [
            (own, before.get(own.name, ""))
            for own in self.fields
            if own.text != before.get(own.name, "")
        ]

    @property
    def _text_before(self) -> str:
        return self.on_disk.decode("utf-8-sig")

    @property
    def is_planned(self) -> bool:
        """Whether the plan of the study is kept already."""
        return (self.path.parent / "plan" / PLAN_FILE).exists()

    def exploratory(self) -> tuple[str, ...]:
        """What the changes make exploratory, for the plan is kept already; empty without one."""
        path = self.path.parent / "plan" / PLAN_FILE
        if not self.is_planned or self.problems:
            return ()
        try:
            stored = json.loads(path.read_text(encoding="utf-8")).get("declared", {})
            return declaration_changes(stored, self.study())
        except (ValueError, AttributeError, KeyError, TypeError):
            return (f"{path} cannot be read, so what was declared is not known.",)

    def write(self, *, although_planned: bool = False) -> Path:
        """Write the study file, whole or not at all.

        Parameters
        ----------
        although_planned : bool
            Also where the plan is kept already: the report then says what was changed after it.

        Returns
        -------
        Path

        Raises
        ------
        StudyError
            If the text is no study, or the file was changed meanwhile by someone else.
        PlanError
            If a plan is kept already and `although_planned` was not said.
        """
        self.study()
        self.check_on_disk()
        if self.is_planned and self.changes() and not although_planned:
            raise PlanError(
                Problem(
                    str(self.path.parent / "plan"),
                    "holds a plan already: what is changed now is exploratory",
                    "Say so if it is meant: although_planned=True.",
                )
            )
        if self.data != self.on_disk and not write_if_unchanged(
            self.path, self.data, before=self.on_disk
        ):
            raise self._changed_meanwhile()
        return self.path

    @property
    def data(self) -> bytes:
        """Bytes of the file with the changes."""
        mark = _BOM if self.on_disk.startswith(_BOM.encode()) else ""
        return (mark + self.text).encode("utf-8")

    def when_written(self) -> StudyEdits:
        """Return the edits as they go on after `write`: nothing is changed any more."""
        return StudyEdits(self.path, self.data, self.text)

    def check_on_disk(self) -> None:
        """Raise `StudyError` if the file is not what was read."""
        try:
            now = self.path.read_bytes()
        except FileNotFoundError:
            now = b""
        if now != self.on_disk:
            raise self._changed_meanwhile()

    def _changed_meanwhile(self) -> StudyError:
        return StudyError(
            Problem(
                self.path.name,
                "was changed on disk since it was read here, so it is not written over",
                "Read it again; in a notebook, run the cell again.",
            )
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each changed value: ``field, before, now``."""
        import pandas as pd

        rows = [(own.label, before, own.text) for own, before in self.changes()]
        return pd.DataFrame(rows, columns=["field", "before", "now"])

    def shown(self) -> Shown:
        """How many values are changed, then each of them, then what is wrong with the text."""
        rows = self.to_frame()
        many = "1 value is" if len(rows) == 1 else f"{len(rows)} values are"
        finding = f"{many} changed and not written yet." if len(rows) else "Nothing is changed."
        rows = rows.replace("", "not told")
        return Shown(finding, rows, tuple(str(problem) for problem in self.problems))

    def __repr__(self) -> str:
        return f"<StudyEdits of {self.path}: {len(self.changes())} changes>"


def study_edits(folder: str | Path) -> StudyEdits:
    """Read a study file to change it; nothing is written before `StudyEdits.write`.

    Parameters
    ----------
    folder : str or Path
        A study folder, or its ``study.toml``.

    Returns
    -------
    StudyEdits

    Raises
    ------
    StudyError
        If the file cannot be read as a study.

    Examples
    --------
    >>> from quenchbook.study_folder import resource
    >>> edits = study_edits(resource("data", "two_lots"))
    >>> print(edits.with_changes({"layout.furnace_loads": 5}))
    1 value is changed and not written yet.
    field          before  now
    Furnace loads  10      5
    """
    path = Path(folder)
    path = path / "study.toml" if path.is_dir() else path
    read_study(path)  # says every mistake
    data = path.read_bytes()
    return StudyEdits(path, data, data.decode("utf-8-sig"))
