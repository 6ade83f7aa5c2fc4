"""Entry of readings in plain code: what the form for entry does, and only that.

What is accepted is written at once into a file of the form's own in the folder of the records, and
read by `read_records` like any other file. A file that somebody else made or changed is never
written again: the next row begins a new one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from quenchbook.errors import Problem, RecordError, StudyError, UnitError
from quenchbook.forms.entry_wording import pointed, problem_of
from quenchbook.forms.kept_cells import cells_of_label, kept_cell
from quenchbook.forms.own_files import Cells, OwnFiles, check_folder
from quenchbook.forms.typed_readings import columns_in_unit, reading_problems, units_of, words_of
from quenchbook.plan.entry_tables import (
    CORRECTION_COLUMNS,
    DEVIATION_COLUMNS,
    response_stem,
)
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.corrections import tables_as_corrected
from quenchbook.records.headers import table_kind
from quenchbook.records.labels import Labels
from quenchbook.records.lost_so_far import coupons_said_lost
from quenchbook.records.measurements import Measurements, measurements
from quenchbook.records.tables import Table
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Response, Study
from quenchbook.study.mistakes import nearest
from quenchbook.units import unit_ending

ENERGY_UNITS = ("J", "ft lbf")


@dataclass(frozen=True, eq=False, repr=False)
class EntryBook(ShowsItself):
    """Entries into the records of a study, each checked and kept at once.

    Attributes
    ----------
    folder : Path
        Folder of the records.
    matrix : CouponMatrix
    """

    folder: Path
    matrix: CouponMatrix

    @cached_property
    def _own(self) -> OwnFiles:
        """What this book writes; it remembers its rows."""
        return OwnFiles(self.folder, self.matrix)

    @property
    def study(self) -> Study:
        """The study of the plan."""
        return self.matrix.study

    def response(self, name: str) -> Response:
        """Response of this name, with or without its unit: ``hardness``."""
        for own in self.study.responses:
            if name in (own.name, response_stem(own)):
                return own
        names = [own.name for own in self.study.responses]
        raise StudyError(Problem(name, "is no response of this study", nearest(name, names)))

    def units(self, response: str) -> Cells:
        """Units that readings can be entered in, that of the study first."""
        return units_of(self.response(response))

    def readings(self, response: str) -> Cells:
        """Words for the readings of one coupon: ``indent 1`` to ``indent 5``."""
        return words_of(self.response(response))

    def coupons(self, response: str) -> pd.DataFrame:
        """Return the coupons of a response in the order of the tester's sheet.

        Returns
        -------
        DataFrame
            ``order, coupon, read``: place on the sheet, code, readings that are there already.
        """
        own = self.response(response)
        order, frame = f"{own.name}_order", self.matrix.frame
        tested = frame[frame[order].notna()].sort_values(order)
        found = self._measured(self._own.tables()[0])
        counts = pd.Series([key[1] for key in found.readings if key[0] == own.name], dtype=object)
        read = tested["coupon"].map(counts.value_counts()).fillna(0)
        return pd.DataFrame(
            {
                "order": tested[order].astype(int).to_numpy(),
                "coupon": tested["coupon"].astype(str).to_numpy(),
                "read": read.astype(int).to_numpy(),
            }
        )

    def to_frame(self) -> pd.DataFrame:
        """Return the coupons of all responses: ``response, order, coupon, read``."""
        parts = [
            self.coupons(own.name).assign(response=own.name)[
                ["response", "order", "coupon", "read"]
            ]
            for own in self.study.responses
        ]
        return pd.concat(parts, ignore_index=True)

    def next_coupon(self, response: str) -> str:
        """Code of the first coupon of the sheet without a reading; empty if all have some."""
        frame = self.coupons(response)
        lost = coupons_said_lost(self._own.tables()[0], self.matrix)
        left = frame.loc[(frame["read"] == 0) & ~frame["coupon"].isin(lost), "coupon"]
        return str(left.iloc[0]) if len(left) else ""

    def reading_problems(
        self, response: str, readings: Sequence[str], *, unit: str = "", coupon: str = ""
    ) -> dict[int, Problem]:
        """What the reader of records says against readings, by their place from 0.

        Parameters
        ----------
        response : str
        readings : sequence of str
            As typed; empty ones are left out.
        unit : str
            Of bare numbers; that of the study when left out.
        coupon : str
            Code, for the message.
        """
        code = coupon or str(self.matrix.frame["coupon"].iloc[0])
        return reading_problems(self.matrix, self.response(response), readings, unit, code)

    def enter(
        self,
        response: str,
        coupon: str,
        readings: Sequence[str],
        *,
        unit: str = "",
        note: str = "",
        with_blanks: bool = False,
    ) -> Path:
        """Check the readings of one coupon and keep them.

        Parameters
        ----------
        response : str
            Such as ``hardness``.
        coupon : str
            Code on the coupon.
        readings : sequence of str
            As typed, one for each indent; blank ones count as not there.
        unit : str
            Of bare numbers; that of the study when left out.
        note : str
        with_blanks : bool
            Accept fewer readings than planned.

        Returns
        -------
        Path
            The file they stand in now.

        Raises
        ------
        RecordError
            If a reading cannot be, the label is not in the plan, the coupon was read already, or
            readings are missing; nothing is written then.
        """
        own = self.response(response)
        texts = [_pointed(text, f"coupon {coupon}") for text in readings]
        filled = sum(1 for text in texts if text)
        if not filled or (filled < own.readings and not with_blanks):
            words = self.readings(response)
            blank = ", ".join(
                words[place] for place in range(own.readings)
                if place >= len(texts) or not texts[place]
            )  # fmt: skip
            raise RecordError(
                Problem(
                    f"coupon {coupon}",
                    f"{blank} not filled in, {own.readings} planned",
                    "Type the rest, or say that it is to be taken with blanks."
                    if filled
                    else "Type the readings.",
                )
            )
        code = Labels(self.matrix).coupon(coupon) or coupon.strip()
        order = self.matrix.frame.set_index("coupon")[f"{own.name}_order"].get(code)
        place = str(int(order)) if order is not None and order == order else ""
        columns = ("order", "coupon", *columns_in_unit(own, unit), "note")
        row = (place, code, *texts, note.strip())
        stem = response_stem(own)
        ending = unit_ending(unit) if unit and unit_ending(unit) != unit_ending(own.unit) else ""
        return self._own.keep(f"{stem}_{ending}" if ending else stem, columns, row)

    def deviate(self, what: str, which: str, item: str, actual: str = "", note: str = "") -> Path:
        """Check and keep something that went differently.

        Parameters
        ----------
        what : str
            Unit: ``coupon``, ``furnace_load``, ``cold_batch``, ``temper_batch``.
        which : str
            Its label.
        item : str
            ``lost``, ``note``, a factor, or the load or batch that a coupon came into.
        actual : str
            What was really run, with its unit (``85 min``, ``1850 degF``); why it was lost.
        note : str
        """
        row = tuple(text.strip() for text in (what, which, item, actual, note))
        return self._own.keep("deviations", DEVIATION_COLUMNS, row)

    def correct(self, file: str, row: int, column: str, corrected: str, reason: str) -> Path:
        """Keep a correction of one cell of the records; the cell itself stays as it was written.

        Parameters
        ----------
        file : str
            Name of the file in the records.
        row : int
            Row as a spreadsheet shows it.
        column : str
        corrected : str
            What it should say.
        reason : str
        """
        found, mark = kept_cell(self._own.tables()[0], file, row, column)
        own = corrected.strip()
        if column != "coupon":
            own = _pointed(corrected, f"{file} row {row}").replace(".", mark)
        cells = (file, str(row), column, found, own, reason.strip())
        return self._own.keep("corrections", CORRECTION_COLUMNS, cells)

    def cell(self, file: str, row: int, column: str) -> str:
        """Text of a cell of the records, as it was written."""
        return kept_cell(self._own.tables()[0], file, row, column)[0]

    def cells_of(self, label: str) -> list[tuple[str, int, str]]:
        """Cells that may be corrected for a label: file, row and column of each.

        Parameters
        ----------
        label : str
            Code as it stands in the records, right or misread.
        """
        return cells_of_label(self._own.tables()[0], self.study, label)

    def summary(self) -> str:
        """Say how many coupons have readings, and which files this book wrote."""
        lines = []
        lost = coupons_said_lost(self._own.tables()[0], self.matrix)
        for own in self.study.responses:
            frame = self.coupons(own.name)
            done, word = int((frame["read"] > 0).sum()), self.study.unit_word("coupon", 2)
            gone = int(((frame["read"] == 0) & frame["coupon"].isin(lost)).sum())
            told = f"; {gone} {'is' if gone == 1 else 'are'} lost" if gone else ""
            lines.append(f"{own.quantity}: {done} of {len(frame)} {word} have readings{told}.")
        if names := self._own.names():
            lines.append(f"Entered here: {', '.join(names)}.")
        return "\n".join(line[:1].upper() + line[1:] for line in lines)

    def __repr__(self) -> str:
        return f"<EntryBook of {self.study.key}: {self.folder}>"

    def _measured(self, tables: Sequence[Table]) -> Measurements:
        """Readings as the readers of records count them: corrections are applied."""
        own = [table for table in tables_as_corrected(tables) if table_kind(table) == "readings"]
        return measurements(own, self.study, Labels(self.matrix))


def entry_book(folder: str | Path) -> EntryBook:
    """Open the records of a study for entry; nothing is written before the first entry.

    Parameters
    ----------
    folder : str or Path
        Study folder with a plan.

    Returns
    -------
    EntryBook

    Raises
    ------
    PlanError
        If no plan is kept yet: readings belong to codes of a plan.
    RecordError
        If the folder of the records is a link that leads out of the study folder.

    Examples
    --------
    >>> from quenchbook.study_folder import resource
    >>> print(entry_book(resource("data", "two_lots")))
    Hardness: 40 of 40 coupons have readings.
    """
    from quenchbook.study_folder import plan_of

    records = Path(folder) / "records"
    check_folder(records)
    return EntryBook(records, plan_of(folder))


def _pointed(text: str, where: str) -> str:
    """Number with a decimal point; raises with the place if it can be read in two ways."""
    try:
        return pointed(text)
    except UnitError as error:
        own = problem_of(error)
        raise RecordError(Problem(where, own.problem, own.remedy)) from None
