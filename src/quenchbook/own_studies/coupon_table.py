"""Records of each study to rows of coupons, and the rows of all studies to one tidy table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from quenchbook.own_studies.entries import StudyEntry
from quenchbook.units import STORAGE_UNITS, convert, is_energy, unit_ending

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Response

FIXED: Final[Mapping[str, str]] = {
    "study": "str", "date": "str", "steel": "str", "heat_lot": "str", "invented": "bool",
    "published": "bool", "coupon": "str", "furnace_load": "int64", "day": "int64",
    "response": "str", "unit": "str", "value": "float64", "readings": "int64",
}  # fmt: skip
"""Columns that every study has, with their types."""

_ENDINGS: Final = ("hrc", "j", "ftlbf", "percent")  # also where a table tells ratios in %

PLACE: Final = "folder"
"""Column of kept rows beside `FIXED`: the folder that a row came from."""

_OWN: Final = ("steel", "heat_lot")  # told for the study, or a factor of it: then of the coupon


def library_name(response: Response) -> tuple[str, str]:
    """Name and unit of a response in the library: energies are in joules.

    Parameters
    ----------
    response : Response
    """
    storage = STORAGE_UNITS["energy"]
    if not is_energy(response.unit) or response.unit == storage:
        return response.name, response.unit
    stem = response.name.removesuffix(f"_{unit_ending(response.unit)}")
    return f"{stem}_{unit_ending(storage)}", storage


def unit_factor(response: Response) -> float:
    """Number that a value of a response is multiplied by for the library."""
    return convert(1.0, response.unit, "energy") if is_energy(response.unit) else 1.0


def study_rows(records: Records, folder: str, digest: str) -> tuple[StudyEntry, pd.DataFrame]:
    """Entry of a study, and one row for each of its coupons and responses.

    Parameters
    ----------
    records : Records
    folder : str
        Name of the folder in the library.
    digest : str
        Of the folder, from before it was read.

    Returns
    -------
    entry : StudyEntry
    rows : DataFrame
        `PLACE`, the columns of `FIXED`, and each factor as ``COLUMN:number`` or ``COLUMN:text``.
    """
    import pandas as pd

    study = records.study
    kinds = {f.column: "number" if f.is_numeric else "text" for f in study.factors}
    named = {}
    parts = []
    for response in study.responses:
        name, unit = library_name(response)
        if name in named:  # the study measures it in both units
            name, unit = response.name, response.unit
        named[name] = response.name
        readings = records.frame(response.name)
        if readings.empty:
            continue
        grouped = readings.groupby("coupon", sort=False)["value"]
        own = readings.drop_duplicates("coupon").reset_index(drop=True)
        factor = unit_factor(response) if unit != response.unit else 1.0
        rows = {
            "coupon": own["coupon"], "furnace_load": own["furnace_load"], "day": own["day"],
            "response": name, "unit": unit, "value": own["coupon"].map(grouped.mean()) * factor,
            "readings": own["coupon"].map(grouped.count()),
        }  # fmt: skip
        rows |= {f"{column}:{kind}": own[column] for column, kind in kinds.items()}
        parts.append(pd.DataFrame(rows))
    told: dict[str, str | bool] = {
        "study": study.key, "date": study.date, "steel": str(study.steel.get("grade", "")),
        "heat_lot": str(study.steel.get("heat_lot", "")), "invented": study.invented,
        "published": study.published,
    }  # fmt: skip
    columns = [*FIXED, *(f"{column}:{kind}" for column, kind in kinds.items())]
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame(columns=columns)
    for name, value in told.items():
        table[name] = value
        if name in _OWN and f"{name}:text" in table:
            own_level = table[f"{name}:text"]
            there = own_level.notna() & (own_level != "")
            table[name] = own_level.where(there, "" if name == "heat_lot" else value)
    table[PLACE] = folder
    entry = StudyEntry(
        key=study.key, folder=folder, digest=digest, title=study.title, date=study.date,
        steel=str(told["steel"]), invented=study.invented, published=study.published,
        responses=named, columns=kinds, rows=len(table),
    )  # fmt: skip
    return entry, with_types(table[[PLACE, *columns]])


def with_types(rows: pd.DataFrame) -> pd.DataFrame:
    """Kept rows with the types of their columns, whatever they came from."""
    types = {
        name: FIXED.get(name, "float64" if str(name).endswith(":number") else "str")
        for name in rows.columns
    }
    return rows.astype(types)


def joined(parts: Sequence[pd.DataFrame], entries: Sequence[StudyEntry]) -> pd.DataFrame:
    """Kept rows of studies in the order of the entries.

    Parameters
    ----------
    parts : sequence of DataFrame
        Rows of one or more studies each; those of other studies are left out.
    entries : sequence of StudyEntry
    """
    import numpy as np
    import pandas as pd

    names = [PLACE, *FIXED]
    for entry in entries:
        names += [f"{column}:{kind}" for column, kind in entry.columns.items()]
    names = list(dict.fromkeys(names))
    kept = [part for part in parts if len(part)]
    if not kept:
        return with_types(pd.DataFrame(columns=names))
    rows = pd.concat(kept, ignore_index=True) if len(kept) > 1 else kept[0]
    order = pd.Index([entry.folder for entry in entries]).get_indexer(pd.Index(rows[PLACE]))
    if (order < 0).any() or (np.diff(order) < 0).any():
        places = np.argsort(order, kind="stable")
        rows = rows.iloc[places[order[places] >= 0]]
    return with_types(rows.reindex(columns=names).reset_index(drop=True))


def tidy_table(rows: pd.DataFrame, entries: Sequence[StudyEntry]) -> pd.DataFrame:
    """Table for people: a column that is numbers in one study and words in another is words.

    Parameters
    ----------
    rows : DataFrame
        From `joined`.
    entries : sequence of StudyEntry
    """
    import pandas as pd

    kinds: dict[str, set[str]] = {}
    for entry in entries:
        for column, kind in entry.columns.items():
            kinds.setdefault(column, set()).add(kind)
    found = {name: rows[name] for name in FIXED}
    for column, own in kinds.items():
        if column in _OWN:
            continue
        name = f"{column}_level" if column in FIXED else column
        if len(own) == 1:
            found[name] = rows[f"{column}:{next(iter(own))}"]
        else:
            numbers = rows[f"{column}:number"].map("{:.10g}".format, na_action="ignore")
            found[name] = rows[f"{column}:text"].where(
                rows[f"{column}:text"].notna(), numbers.astype("str")
            )
    return pd.DataFrame(found)


def response_words(table: pd.DataFrame) -> list[str]:
    """Names of responses in words, without the unit that stands in a column of its own."""
    units = sorted({unit_ending(str(own)) for own in table["unit"]} | set(_ENDINGS), key=len)
    found = []
    for name in table["response"].astype(str):
        ends = [f"_{unit}" for unit in units if unit and name.endswith(f"_{unit}")]
        found.append(name.removesuffix(ends[-1] if ends else "").replace("_", " "))
    return found
