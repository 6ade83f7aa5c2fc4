"""Descriptor of open data: Data Package and Table Schema, version 2.0.

Source: Data Package Standard 2.0 (June 2024), datapackage.org. It has no property for units, so
each field has ``quenchbook:unit``, a custom property in the form the standard recommends.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

from quenchbook.findings.verdicts import VERDICTS
from quenchbook.report.guarded_csv import INTEGER, STRING
from quenchbook.report.licences import licence_of
from quenchbook.study.factors import UNITS

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.report.data_tables import DataTable
    from quenchbook.study.definition import Study

_PROFILE: Final = "https://datapackage.org/profiles/2.0"
_FROM_ONE: Final = ("reading", "row", "load_place")
_SHARES: Final = ("p_value", "confidence")
_NOT_NEGATIVE: Final = (
    "std_error", "variance", "sd", "df", "df_error", "count", "margin", "safety_factor",
)  # fmt: skip


def descriptor(
    analysis: Analysis, tables: Mapping[str, DataTable], contents: Mapping[str, bytes]
) -> str:
    """Text of ``datapackage.json``.

    Parameters
    ----------
    analysis : Analysis
    tables : mapping of name to DataTable
        From `quenchbook.report.data_tables.data_tables`.
    contents : mapping of path to bytes
        Files of the archive; ``data/<name>.csv`` is there for each table.
    """
    study, matrix = analysis.study, analysis.records.matrix
    known = licence_of(study.licence)
    licence = (
        {"name": known.key, "path": known.url, "title": known.title}
        if known
        else {"path": "LICENSE.txt", "title": study.licence}
    )
    package: dict[str, Any] = {
        "$schema": f"{_PROFILE}/datapackage.json",
        "name": f"{study.key}_data",
        "title": study.title,
        "description": study.question,
        "licenses": [licence],
        "contributors": [{"title": study.author, "roles": ["creator"]}],
        "sources": [{"title": title} for title in sources(study, tables)],
        "keywords": ["heat treatment", "steel", *(own.quantity for own in study.responses)],
        "quenchbook:plan": matrix.plan_hash,
        "quenchbook:invented": study.invented,
        "resources": [
            _resource(table, contents[f"data/{name}.csv"]) for name, table in tables.items()
        ],
    }
    if iso_date(study.date):
        package["created"] = f"{study.date}T00:00:00Z"
    filled = {name: value for name, value in package.items() if value != []}
    return json.dumps(filled, indent=2, ensure_ascii=False) + "\n"


def sources(study: Study, tables: Mapping[str, DataTable]) -> list[str]:
    """Where the data are from: what the study file notes of it, and sources of comparisons."""
    own = list(study.notes) if study.published or study.invented else []
    if "evidence" in tables:
        own += [str(source) for source in tables["evidence"].frame["source"]]
    return list(dict.fromkeys(own))


def iso_date(text: str) -> tuple[int, int, int] | None:
    """Year, month and day of a date such as 2026-01-14; None if it is no such date."""
    import datetime

    try:
        date = datetime.date.fromisoformat(text)
    except ValueError:
        return None
    return (date.year, date.month, date.day) if date.isoformat() == text else None


def _resource(table: DataTable, data: bytes) -> dict[str, Any]:
    schema: dict[str, Any] = {
        "$schema": f"{_PROFILE}/tableschema.json",
        "fields": [
            _field(table, column, kind)
            for column, kind in zip(table.columns, table.kinds, strict=True)
        ],
        "missingValues": [""],
    }
    if table.key:
        schema["primaryKey"] = list(table.key)
    if table.refers:
        schema["foreignKeys"] = [
            {"fields": list(own), "reference": {"resource": other, "fields": list(theirs)}}
            for own, other, theirs in table.refers
        ]
    return {
        "name": table.name,
        "type": "table",
        "title": table.title,
        "path": f"data/{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": len(data),
        "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": schema,
    }


def _field(table: DataTable, column: str, kind: str) -> dict[str, Any]:
    words, unit = table.meaning(column)
    field: dict[str, Any] = {"name": column, "type": kind, "description": words}
    if unit:
        field["quenchbook:unit"] = unit
    if constraints := _constraints(table, column, kind):
        field["constraints"] = constraints
    return field


def _constraints(table: DataTable, column: str, kind: str) -> dict[str, Any]:
    own: dict[str, Any] = {}
    if column in table.key:
        own["required"] = True
    if table.key == (column,):
        own["unique"] = True
    if column in _FROM_ONE and kind == INTEGER:
        own["minimum"] = 0 if column == "load_place" else 1
    if column in _SHARES:
        own |= {"minimum": 0, "maximum": 1}
    if column in _NOT_NEGATIVE and kind != STRING:
        own["minimum"] = 0
    if column == "verdict":
        own["enum"] = list(VERDICTS)
    if column == "set_for":
        own["enum"] = list(UNITS)
    if column == "scale":
        own["enum"] = ["linear", "log"]
    for factor in table.study.factors:
        if column in (factor.column, f"{factor.column}_planned") and not factor.is_numeric:
            own["enum"] = [str(level) for level in factor.levels]
    return own
