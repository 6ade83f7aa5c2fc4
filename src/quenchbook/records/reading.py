"""Records of a study: readings and deviations, checked against the coupon matrix."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd

from quenchbook.errors import NothingRecordedError, Problem, RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.as_run import lost_coupons, matrix_as_run
from quenchbook.records.corrections import corrected
from quenchbook.records.coverage_notes import correction_notes, coverage_notes, shortened
from quenchbook.records.deviations import differences
from quenchbook.records.headers import CHECK_STEMS, table_kind, unknown_table_problem
from quenchbook.records.labels import Labels
from quenchbook.records.measurements import measurements
from quenchbook.records.measures import MEASURE_COLUMNS, coupon_measures
from quenchbook.records.moved_coupons import with_moves
from quenchbook.records.other_scales import scale_notes
from quenchbook.records.references import reference_lines, reference_notes
from quenchbook.records.stray_readings import stray_notes
from quenchbook.records.tables import Table, tables_in
from quenchbook.records.tester_readings import (
    BLOCK_FRAME,
    IMPACT_CHECK_FRAME,
    block_readings,
    impact_check_readings,
)
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Response, Study
from quenchbook.units import capital

READING_COLUMNS: Final = ("response", "coupon", "reading", "value", "file", "row")
DEVIATION_FRAME: Final = (
    "what", "which", "item", "planned", "actual", "unit", "note", "file", "row",
)  # fmt: skip
LOST_COLUMNS: Final = ("coupon", "reason", "file", "row")
MISSING_COLUMNS: Final = ("response", "coupon", "reading", "file", "row")
CORRECTION_FRAME: Final = ("file", "row", "column", "found", "corrected", "reason")


@dataclass(frozen=True, eq=False, repr=False)
class Records(ShowsItself):
    """What was measured and what went differently.

    Attributes
    ----------
    study : Study
    matrix : CouponMatrix
        The plan that the records were checked against.
    readings : DataFrame
        ``response, coupon, reading, value, file, row``; value in the unit of the response.
    deviations : DataFrame
        ``what, which, item, planned, actual, unit, note, file, row``: levels that were really run
        (also those of the logs), lost coupons, notes.
    lost : DataFrame
        ``coupon, reason, file, row``.
    missing : DataFrame
        ``response, coupon, reading, file, row``: readings that the files say are not there.
    corrections : DataFrame
        ``file, row, column, found, corrected, reason``: accepted by a person.
    notes : tuple of str
        What a reader of results must know.
    measures : DataFrame
        ``coupon, measure, value, file, row``: lengths beside the readings [mm]; never analysed.
    block_checks, impact_checks : DataFrame
        Readings on hardness blocks and on certified impact coupons, see `checks_of_testers`.
    """

    study: Study
    matrix: CouponMatrix
    readings: pd.DataFrame
    deviations: pd.DataFrame
    lost: pd.DataFrame
    missing: pd.DataFrame
    corrections: pd.DataFrame
    notes: tuple[str, ...] = ()
    measures: pd.DataFrame = field(default_factory=lambda: _frame([], MEASURE_COLUMNS))
    block_checks: pd.DataFrame = field(default_factory=lambda: _frame([], BLOCK_FRAME))
    impact_checks: pd.DataFrame = field(default_factory=lambda: _frame([], IMPACT_CHECK_FRAME))

    @functools.cached_property
    def _as_run(self) -> pd.DataFrame:
        return matrix_as_run(self.matrix, self.deviations)[0]

    def frame(self, response: str) -> pd.DataFrame:
        """Return one row for each reading of a response, in furnace order.

        Parameters
        ----------
        response : str
            Name of the response, such as ``hardness_hrc``.

        Returns
        -------
        DataFrame
            All columns of the coupon matrix; factor columns as run, ``<column>_planned`` beside
            them; loads and batches likewise where a coupon came into another one; ``indent``
            (number of the reading) and ``value``. Lost coupons that were run far from every
            declared level are not in it, nor are references (`reference_frame`).
        """
        frame = self._with_readings(response)
        if "reference" not in frame:
            return frame
        own = frame[frame["reference"] == ""].drop(columns="reference")
        return own.reset_index(drop=True)

    def reference_frame(self, response: str) -> pd.DataFrame:
        """Return one row for each reading of the reference coupons, columns as in `frame`."""
        frame = self._with_readings(response)
        if "reference" not in frame:
            return frame.iloc[:0]
        return frame[frame["reference"] != ""].reset_index(drop=True)

    def _with_readings(self, response: str) -> pd.DataFrame:
        name = self.study.response(response).name
        own = self.readings.loc[self.readings["response"] == name, ["coupon", "reading", "value"]]
        order = {code: place for place, code in enumerate(self.matrix.frame["coupon"])}
        own = own.assign(place=own["coupon"].map(order)).sort_values(["place", "reading"])
        own = own.rename(columns={"reading": "indent"}).drop(columns="place")
        return self._as_run.merge(own, on="coupon", how="inner", validate="one_to_many")

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the readings."""
        return self.readings.copy()

    def summary(self) -> str:
        """Say in words what there is, what is not used and why."""
        lines = [self._counted(response) for response in self.study.responses]
        lines += reference_lines(self)
        return "\n".join([*lines, *self.notes])

    def _counted(self, response: Response) -> str:
        study = self.study
        own = self.readings[self.readings["response"] == response.name]
        if own.empty:
            return f"No readings of {response.quantity} yet."
        frame = with_moves(self.matrix, self.deviations)[0]
        loads = frame.set_index("coupon").loc[own["coupon"].unique(), "furnace_load"]
        loads = loads[loads != 0]
        count, coupons = len(own), own["coupon"].nunique()
        text = (
            f"{count} reading{'s' if count != 1 else ''} of {response.quantity} on {coupons} "
            f"{study.unit_word('coupon', coupons)} in {loads.nunique()} "
            f"{study.unit_word('furnace_load', loads.nunique())}"
        )
        gaps = self.missing[self.missing["response"] == response.name]
        more = self._left_out(response, set(own["coupon"]), set(gaps["coupon"]))
        if gaps.empty:
            return f"{text}; {more or 'nothing was left out'}."
        lost = self.lost.drop_duplicates("coupon").set_index("coupon")["reason"]
        words = []
        for coupon, group in gaps.groupby("coupon", sort=False):
            why = f"lost: {lost[coupon]}" if coupon in lost.index else "blank"
            words.append(f"{len(group)} of {coupon} ({why})")
        end = capital(more) if more else "Nothing else was left out"
        return f"{text}; not there: {shortened(words, 'more coupons')}. {end}."

    def _left_out(self, response: Response, read: set[str], gaps: set[str]) -> str:
        """Coupons that are read and not analysed, and those without any reading."""
        frame = self.matrix.frame
        planned = frame.loc[frame[f"{response.name}_order"].notna(), "coupon"]
        unread = len(set(planned) - read - gaps)
        unused = len(read - set(self._as_run["coupon"]))
        parts = []
        if unused:
            coupons = self.study.unit_word("coupon", unused)
            parts.append(f"{unused} lost {coupons} of these {_is(unused)} not analysed")
        if unread:
            coupons = self.study.unit_word("coupon", unread)
            parts.append(f"{unread} planned {coupons} {'has' if unread == 1 else 'have'} none")
        return "; ".join(parts)

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {
            "Readings": self.readings, "Deviations": self.deviations,
            "Corrections": self.corrections, "Lengths": self.measures,
            "Hardness blocks": self.block_checks, "Certified impact coupons": self.impact_checks,
        }  # fmt: skip

    def __repr__(self) -> str:
        counts = self.readings["response"].value_counts()
        words = ", ".join(f"{counts.get(r.name, 0)} of {r.quantity}" for r in self.study.responses)
        return f"<Records {self.study.key}: {words}; plan {self.matrix.short_hash}>"


WAYS_TO_RECORD: Final = (
    "Type the readings into the form of 03_records, or put the filled forms of the bench there "
    "(CSV, xlsx, ods)."
)


def read_records(
    folder: str | Path, matrix: CouponMatrix, *, may_be_empty: bool = False
) -> Records:
    """Read every table of a folder and check it against the plan.

    Files are recognised by their columns, not by their names; they are only ever read.

    Parameters
    ----------
    folder : str or Path
        Folder with ``.csv``, ``.tsv``, ``.txt``, ``.xlsx`` and ``.ods`` files.
    matrix : CouponMatrix
        The plan.
    may_be_empty : bool
        Whether a folder without any table gives records without readings that say so, instead of
        an error.

    Returns
    -------
    Records

    Raises
    ------
    NothingRecordedError
        If there is no table in the folder.
    RecordError
        With every mistake of every file: where, what was found, what to do.
    """
    folder = Path(folder)
    made = folder.is_dir()
    if not made and (folder.exists() or not folder.parent.is_dir()):
        raise RecordError(
            Problem(
                str(folder), "there is no such folder", "Make it and put the filled forms there."
            )
        )
    tables, problems, notes = tables_in(folder) if made else ([], [], [])
    if not tables and not problems:
        if may_be_empty:
            note = f"Nothing is recorded yet in {folder}. {WAYS_TO_RECORD}"
            return records_from_tables([], matrix, notes=[*notes, note])
        found = "there is no table in it" if made else "there is no such folder"
        raise NothingRecordedError(
            Problem(str(folder), f"{found}, so nothing is recorded yet", WAYS_TO_RECORD)
        )
    return records_from_tables(tables, matrix, problems, notes)


def records_from_tables(
    tables: Sequence[Table],
    matrix: CouponMatrix,
    problems: Sequence[Problem] = (),
    notes: Sequence[str] = (),
) -> Records:
    """Check tables against the plan, whether or not they lie in files yet.

    Parameters
    ----------
    tables : sequence of Table
        From `tables_in`, or `table_of` for a table that is still being written.
    matrix : CouponMatrix
    problems : sequence of Problem
        What was wrong with their files already.
    notes : sequence of str

    Raises
    ------
    RecordError
        As `read_records`.
    """
    study, labels = matrix.study, Labels(matrix)
    foreign = _of_other_plans(tables, matrix)
    problems = [own for own in problems if _file_of(_place_in(own)[0]) not in foreign]
    problems += foreign.values()
    kinds: dict[str, list[Table]] = {
        kind: [] for kind in ("readings", "log", "deviations", *CHECK_STEMS)
    }
    corrections = [
        table
        for table in tables
        if table_kind(table) == "corrections" and _file_of(table.name) not in foreign
    ]
    others = [table for table in tables if table_kind(table) != "corrections"]
    labels.between = next((table.delimiter for table in corrections), "")
    others, applied, wrong = corrected(others, corrections)
    problems += wrong
    for table in (own for own in others if _file_of(own.name) not in foreign):
        kind = table_kind(table)
        if kind:
            kinds[kind].append(table)
        else:
            problems.append(unknown_table_problem(table, study))
    labels.read_places(kinds["readings"])
    measured = measurements(kinds["readings"], study, labels)
    measures, wrong_measures = coupon_measures(kinds["readings"], study, labels)
    blocks, wrong_blocks = block_readings(kinds["block checks"])
    impacts, wrong_impacts = impact_check_readings(kinds["impact checks"])
    problems += [*wrong_measures, *wrong_blocks, *wrong_impacts]
    different = differences(kinds["log"], kinds["deviations"], matrix, labels)
    remarks = [
        {"what": "coupon", "item": "note", "unit": "", **remark} for remark in measured.remarks
    ]
    deviations = _frame([*different.rows, *remarks], DEVIATION_FRAME)
    lost = lost_coupons(with_moves(matrix, deviations)[0], different.rows)
    as_run, run_notes, run_problems = matrix_as_run(matrix, deviations)
    problems += [*measured.problems, *different.problems, *run_problems]
    if problems:
        raise RecordError(sorted(problems, key=_place_in))
    readings = [
        {"response": response, "coupon": coupon, "reading": reading, **entry}
        for (response, coupon, reading), entry in measured.readings.items()
    ]
    missing = [
        {"response": response, "coupon": coupon, "reading": reading, **entry}
        for (response, coupon, reading), entry in measured.missing.items()
    ]
    return Records(
        study=study,
        matrix=matrix,
        readings=_frame(readings, READING_COLUMNS),
        deviations=deviations,
        lost=_frame(lost, LOST_COLUMNS),
        missing=_frame(missing, MISSING_COLUMNS),
        corrections=_frame(applied, CORRECTION_FRAME),
        notes=(
            *correction_notes(applied),
            *run_notes,
            *reference_notes(matrix),
            *coverage_notes(matrix, as_run, measured.readings, lost),
            *scale_notes(measured.readings, study),
            *stray_notes(measured.readings, study),
            *notes,
        ),
        measures=_frame(measures, MEASURE_COLUMNS),
        block_checks=_frame(blocks, BLOCK_FRAME),
        impact_checks=_frame(impacts, IMPACT_CHECK_FRAME),
    )


def _is(count: int) -> str:
    return "is" if count == 1 else "are"


def _frame(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> pd.DataFrame:
    """Table with these columns, whole numbers whole even when it is empty."""
    frame = pd.DataFrame([dict(row) for row in rows], columns=list(columns))
    types: dict[str, str] = {"reading": "int64", "row": "int64", "value": "float64"}
    types |= {name: "float64" for name in columns if name.endswith(("_hrc", "_j"))}
    own = {name: kind for name, kind in types.items() if name in frame}
    mixed = {name: "object" for name in ("planned", "actual") if name in frame}
    return frame.astype({**own, **mixed})


def _of_other_plans(tables: Sequence[Table], matrix: CouponMatrix) -> dict[str, Problem]:
    """Files that carry the number of another plan, with the one thing to say about each."""
    found: dict[str, Problem] = {}
    for table in tables:
        plan = table.plan.lower()
        known = len(plan) >= len(matrix.short_hash) and any(
            own.startswith(plan) for own in matrix.hashes
        )
        if known or not plan:
            continue
        problem = Problem(
            f"{table.name} row {table.plan_row}",
            f"belongs to plan {plan[:8]}, these records are read with plan {matrix.short_hash}",
            "Move the file to the records of its own plan.",
        )
        found.setdefault(_file_of(table.name), problem)
    return found


def _file_of(name: str) -> str:
    """File of a table: ``book.xlsx`` for ``book.xlsx, sheet hardness``."""
    return name.partition(", sheet ")[0]


def _place_in(problem: Problem) -> tuple[str, int]:
    """Order of problems: by file, then by row."""
    file, _, rest = problem.where.partition(" row ")
    number = rest.split(",")[0]
    return file, int(number) if number.isdecimal() else 0
