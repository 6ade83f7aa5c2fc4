"""What the library knows of each study beside the rows of its coupons."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Final

_NO_RECORDS: Final = ("there is no table in it", "there is no such folder")


@dataclass(frozen=True)
class UnreadStudy:
    """A study that could not be read, with the reason; it is never left out in silence."""

    folder: Path
    reason: str

    @property
    def has_no_records(self) -> bool:
        """Whether nothing is wrong with it but that no form was filled yet."""
        return any(f"records: {words}" in self.reason for words in _NO_RECORDS)


@dataclass(frozen=True)
class StudyEntry:
    """One study of the library.

    Attributes
    ----------
    key, title, date, steel : str
    folder : str
        Name of its folder in the library.
    digest : str
        Of all that was read in the folder, see `content_digest`.
    invented, published : bool
    responses : mapping of name in the table to name in the study
        They differ where a unit was converted (``impact_j``, ``impact_ftlbf``).
    columns : mapping of factor column to {"number", "text"}
        In the order of the study file.
    rows : int
        Rows of the table: one for each coupon and response.
    """

    key: str
    folder: str
    digest: str
    title: str
    date: str
    steel: str
    invented: bool
    published: bool
    responses: Mapping[str, str]
    columns: Mapping[str, str]
    rows: int

    def plain(self) -> dict[str, Any]:
        """As texts, numbers and tables, for JSON."""
        return asdict(self)

    @classmethod
    def of(cls, told: Any) -> StudyEntry:
        """Entry from what JSON holds.

        Raises
        ------
        ValueError
            If a field is missing, unknown or of another type: then it is none of ours.
        """
        types = {
            "key": str, "folder": str, "digest": str, "title": str, "date": str, "steel": str,
            "invented": bool, "published": bool, "responses": dict, "columns": dict, "rows": int,
        }  # fmt: skip
        if not isinstance(told, dict) or set(told) != {own.name for own in fields(cls)}:
            raise ValueError("an entry has other fields")
        for name, kind in types.items():
            if type(told[name]) is not kind:
                raise ValueError(f"{name} of an entry is of another type")
        if not all(isinstance(word, str) for word in told["responses"].values()):
            raise ValueError("a response of an entry is no text")
        if not set(told["columns"].values()) <= {"number", "text"}:
            raise ValueError("a column of an entry is of another kind")
        return cls(**told)
