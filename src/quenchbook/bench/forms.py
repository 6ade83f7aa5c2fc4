"""Forms written to a folder: blank ones, and new ones that keep what was entered in older ones."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.bench.carried_entries import newest_form, with_entries
from quenchbook.bench.form_tables import Form, entry_forms
from quenchbook.bench.form_workbook import workbook_bytes
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.shown import ShowsItself
from quenchbook.writing import write_bytes, write_new_bytes

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["WORKBOOK", "EntryForms", "Form", "entry_forms", "write_entry_forms"]

WORKBOOK: Final = "entry.xlsx"
_NAMED: Final = 5  # entries without a place that a note names before it only counts


@dataclass(frozen=True)
class EntryForms(ShowsItself):
    """Forms that are there now, and notes on files that were left alone.

    Iterating gives the paths.

    Attributes
    ----------
    paths : tuple of Path
        Blank forms, and new forms that hold what was entered in older ones.
    notes : tuple of str
    """

    paths: tuple[Path, ...]
    notes: tuple[str, ...] = ()

    def __iter__(self) -> Iterator[Path]:
        return iter(self.paths)

    def __len__(self) -> int:
        return len(self.paths)

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each form: ``file``."""
        import pandas as pd

        return pd.DataFrame({"file": [path.name for path in self.paths]})

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Forms": self.to_frame()}

    def summary(self) -> str:
        """Say what was written and what was not."""
        return "\n".join([f"{len(self.paths)} forms to fill in.", *self.notes])


def write_entry_forms(matrix: CouponMatrix, folder: str | Path) -> EntryForms:
    """Write the forms of a plan; a form that was filled in is never touched.

    Where a filled form is of an older layout (more readings a coupon, coupons added to the plan), a
    new form with everything that was entered is written beside it: ``hardness_2.csv``.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Made if needed.

    Returns
    -------
    EntryForms
        Paths of the forms to fill in, and a note for each file that was left alone.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    forms = entry_forms(matrix)
    files: dict[str, tuple[Form, ...]] = {f"{form.name}.csv": (form,) for form in forms}
    files[WORKBOOK] = forms
    paths: list[Path] = []
    notes: list[str] = []
    for name, own in files.items():
        path = folder / name
        blank = _bytes(own, path, matrix)
        if not path.exists():
            paths.append(write_bytes(path, blank))
        elif path.read_bytes() == blank:
            paths.append(path)
        else:
            new, words = _reissued(own, path, matrix)
            paths += new
            notes += words
    return EntryForms(tuple(paths), tuple(notes))


def _reissued(
    forms: Sequence[Form], path: Path, matrix: CouponMatrix
) -> tuple[list[Path], list[str]]:
    """New form with the entries of the newest one there, where that is of an older layout."""
    free, old = newest_form(path, matrix)
    if old is None:
        return [], [f"{path} is not a form of this plan and was left alone."]
    if old.is_current(forms):
        return [], [f"{old.path} is filled in or of an earlier version and was left alone."]
    carried, lost = [], []
    for form in forms:
        own, words = (
            with_entries(form, old.tables[form.name]) if form.name in old.tables else (form, [])
        )
        carried.append(own)
        lost += words
    write_new_bytes(free, _bytes(carried, free, matrix))
    notes = [f"{old.path} is of an older layout and was left alone; {free} holds its entries. "
             "Go on in that one, and put only that one into the records."]  # fmt: skip
    if lost:
        more = f" and {len(lost) - _NAMED} more" if len(lost) > _NAMED else ""
        notes.append(f"{free} has no place for {'; '.join(lost[:_NAMED])}{more}: look there.")
    return [free], notes


def _bytes(forms: Sequence[Form], path: Path, matrix: CouponMatrix) -> bytes:
    if path.suffix == ".xlsx":
        return workbook_bytes(tuple(forms), matrix)
    return _csv_bytes(forms[0], matrix.plan_hash)


def _csv_bytes(form: Form, plan_hash: str) -> bytes:
    text = io.StringIO()
    text.write(f"# plan {plan_hash}\n")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(form.columns)
    writer.writerows(form.examples)
    blank = [""] * len(form.columns)
    for place, row in enumerate(form.rows):
        writer.writerow([*row, *form.entries.get(place, blank[len(row) :])])
    writer.writerows(form.more)
    return text.getvalue().encode("utf-8")
