"""The tables of open data: what was planned, run, measured and found, one thing a row."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.columns import meaning
from quenchbook.findings.result_tables import analysis_tables
from quenchbook.records.as_run import matrix_as_run
from quenchbook.records.reading_evidence import read_evidence
from quenchbook.report.guarded_csv import (
    STRING,
    cell_texts,
    csv_text,
    field_type,
    json_lines,
)

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.findings.answers import Analysis
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study

ForeignKey = tuple[tuple[str, ...], str, tuple[str, ...]]

_TO_COUPON: Final[ForeignKey] = (("coupon",), "coupons_planned", ("coupon",))
_TO_RESPONSE: Final[ForeignKey] = (("response",), "responses", ("response",))

TITLES: Final = {
    "coupons_planned": "Coupons as planned, one row a coupon in furnace order",
    "coupons_as_run": "Coupons with the levels and units that were really run",
    "factors": "What was varied, and for which unit each factor was set",
    "responses": "What was measured",
    "readings": "Readings, one row a reading",
    "deviations": "What went differently from the plan",
    "lost": "Coupons that were lost, and why",
    "missing": "Readings that the records say are not there",
    "corrections": "Cells of the records that a person corrected",
    "measures": "Lengths beside the readings, never analysed",
    "block_checks": "Readings on a hardness block, never analysed",
    "impact_checks": "Readings on certified impact coupons, never analysed",
    "tests": "Tests of each term, with the unit whose scatter is the noise",
    "variance_components": "Scatter between units of each kind",
    "findings": "Answers to the questions of the study, with verdict, interval and sentence",
    "unanswered": "Questions that the records cannot answer, and why",
    "evidence": "Published comparisons of others",
    "dictionary": "What each column of each table means",
}
"""Tables in the order of an archive."""

_KEYS: Final = {
    "coupons_planned": ("coupon",),
    "coupons_as_run": ("coupon",),
    "factors": ("factor",),
    "responses": ("response",),
    "readings": ("response", "coupon", "reading"),
    "lost": ("coupon",),
    "missing": ("response", "coupon", "reading"),
    "measures": ("coupon", "measure"),
    "tests": ("response", "term"),
    "variance_components": ("response", "stratum"),
    "findings": ("key",),
    "unanswered": ("key",),
    "evidence": ("row",),
    "dictionary": ("table", "column"),
}


@dataclass(frozen=True, eq=False, repr=False)
class DataTable:
    """One table of open data.

    Attributes
    ----------
    name : str
        Also the name of its files.
    frame : DataFrame
    study : Study
    """

    name: str
    frame: pd.DataFrame
    study: Study

    @property
    def title(self) -> str:
        """What a row is."""
        return TITLES[self.name]

    @property
    def key(self) -> tuple[str, ...]:
        """Columns that name a row; empty where none do."""
        return _KEYS.get(self.name, ())

    @property
    def refers(self) -> tuple[ForeignKey, ...]:
        """Columns that name a row of another table."""
        found = []
        if "coupon" in self.frame and self.name != "coupons_planned":
            found.append(_TO_COUPON)
        if "response" in self.frame and self.name != "responses":
            found.append(_TO_RESPONSE)
        return tuple(found)

    @functools.cached_property
    def columns(self) -> list[str]:
        """Names of the columns."""
        return [str(name) for name in self.frame.columns]

    @functools.cached_property
    def kinds(self) -> list[str]:
        """Type of each column."""
        return [field_type(name, self.frame[name]) for name in self.columns]

    @functools.cached_property
    def cells(self) -> list[list[str]]:
        """Exact texts, one list a column."""
        pairs = zip(self.columns, self.kinds, strict=True)
        return [cell_texts(self.frame[name], kind) for name, kind in pairs]

    def csv(self) -> str:
        """Return the table for people and spreadsheets; texts are guarded."""
        return csv_text(self.columns, self.kinds, self.cells)

    def json_lines(self) -> str:
        """Return the same rows without any guard."""
        return json_lines(self.columns, self.kinds, self.cells)

    def meaning(self, column: str) -> tuple[str, str]:
        """What a column means, and its unit."""
        return meaning(column, self.study)


def data_tables(analysis: Analysis) -> dict[str, DataTable]:
    """Tables of an analysis that hold anything, the dictionary of their columns last.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    dict of str to DataTable
        In the order of `TITLES`.
    """
    study, records = analysis.study, analysis.records
    frames = {
        "coupons_planned": records.matrix.to_frame(),
        "coupons_as_run": _as_run(records),
        "factors": _factors(study),
        "responses": _responses(study),
        "readings": _readings(records),
        "deviations": records.deviations,
        "lost": records.lost,
        "missing": records.missing,
        "corrections": records.corrections,
        "measures": records.measures,
        "block_checks": records.block_checks,
        "impact_checks": records.impact_checks,
        "evidence": _evidence(study),
        **analysis_tables(analysis),
    }
    tables = {
        name: DataTable(name, frames[name], study)
        for name in TITLES
        if name in frames and len(frames[name])
    }
    return {**tables, "dictionary": DataTable("dictionary", _dictionary(tables, study), study)}


def empty_tables(tables: dict[str, DataTable]) -> list[str]:
    """Titles of the tables that would hold nothing."""
    return [title for name, title in TITLES.items() if name not in tables]


def _as_run(records: Records) -> pd.DataFrame:
    """Levels that were run; beside one that the analysis moved to a declared level, that level."""
    matrix = records.matrix
    frame = matrix_as_run(matrix, records.deviations, as_analysed=False)[0]
    analysed = matrix_as_run(matrix, records.deviations)[0].set_index("coupon")
    for factor in matrix.study.factors:
        if factor.is_numeric and factor.shape == "levels":
            place = int(frame.columns.get_loc(f"{factor.column}_planned")) + 1  # type: ignore[arg-type]
            level = frame["coupon"].map(analysed[factor.column])
            frame.insert(place, f"{factor.column}_analysed", level)
    return frame


def _readings(records: Records) -> pd.DataFrame:
    """Readings with the unit of each, and whether the analysis uses it."""
    frame = records.readings
    units = {response.name: response.unit for response in records.study.responses}
    used = {name: set(records.frame(name)["coupon"]) for name in units}
    pairs = zip(frame["response"], frame["coupon"], strict=True)
    return frame.assign(
        unit=frame["response"].map(units), analysed=[c in used[name] for name, c in pairs]
    )[["response", "coupon", "reading", "value", "unit", "analysed", "file", "row"]]


def _evidence(study: Study) -> pd.DataFrame:
    """Published comparisons, the row in the file last as in all tables."""
    frame = read_evidence(study.folder, study).to_frame()
    return frame[[*(name for name in frame if name != "row"), *(["row"] if len(frame) else [])]]


def _factors(study: Study) -> pd.DataFrame:
    import pandas as pd

    rows = [
        {
            "factor": own.name,
            "column": own.column,
            "unit": own.unit,
            "set_for": own.set_for,
            "shape": own.shape,
            "levels": "; ".join(cell_texts(own.levels, STRING)),
            "exists_for": (
                f"{own.nested_in}: {'; '.join(cell_texts(own.exists_for, STRING))}"
                if own.nested_in
                else ""
            ),
        }
        for own in study.factors
    ]
    return pd.DataFrame(rows)


def _responses(study: Study) -> pd.DataFrame:
    import pandas as pd

    columns = {"response": "name", "quantity": "quantity", "unit": "unit", "scale": "scale"}
    return pd.DataFrame(
        [{c: getattr(own, name) for c, name in columns.items()} for own in study.responses]
    )


def _dictionary(tables: dict[str, DataTable], study: Study) -> pd.DataFrame:
    import pandas as pd

    head = ["table", "column", "meaning", "unit", "type", "guarded"]
    rows = [
        (table.name, column, *table.meaning(column), kind, kind == STRING)
        for table in tables.values()
        for column, kind in zip(table.columns, table.kinds, strict=True)
    ]
    own = dict.fromkeys(head, STRING) | {"guarded": "boolean"}
    rows += [
        ("dictionary", column, *meaning(column, study), kind, kind == STRING)
        for column, kind in own.items()
    ]
    return pd.DataFrame(rows, columns=head)
