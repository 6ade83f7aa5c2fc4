"""Published comparisons of treatments: rows of a table, and what belongs together."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

from quenchbook.shown import ShowsItself

if TYPE_CHECKING:
    import pandas as pd


EVIDENCE_FILE: Final = "evidence.csv"

Kind = Literal["total", "equal hardness", "matched by temper", "unknown"]
Effect = Literal["ratio", "difference"]
Better = Literal["higher", "lower", ""]

KINDS: Final[Mapping[Kind, str]] = {
    "equal hardness": "hardness held equal",
    "matched by temper": "hardness matched by the temper",
    "total": "hardness not held equal",
    "unknown": "not told whether hardness was equal",
}
"""Kinds of comparison, as a heading says them."""

TEXT_COLUMNS: Final = (
    "study", "kind", "quantity", "unit", "effect", "level", "against", "better", "question",
    "steel", "conditions", "source", "found_at", "obtained", "note",
)  # fmt: skip


@dataclass(frozen=True)
class Arm:
    """One side of a comparison.

    Attributes
    ----------
    mean, sd : float
        nan where they are not told [unit of the comparison].
    coupons : int
        0 where it is not told.
    """

    mean: float = math.nan
    sd: float = math.nan
    coupons: int = 0


@dataclass(frozen=True)
class PublishedComparison:
    """One row of the table: one study, one comparison, one kind.

    Attributes
    ----------
    study : str
    kind : str
        What was done about hardness: ``total``, ``equal hardness``, ``matched by temper`` or
        ``unknown``.
    quantity, unit : str
    effect : str
        ``ratio`` (analysed as its natural logarithm) or ``difference``.
    level, against : str
        What was compared with what, in words: ``dry ice``, ``no cold step``.
    better : str
        Whether ``higher`` or ``lower`` values are better; empty where it is not told.
    level_arm, against_arm : Arm
    estimate, std_error : float
        Of a study that prints a comparison and not its arms: difference, or natural logarithm of
        the ratio, with its standard error; nan where the arms are told.
    furnace_loads : int
        0 where it is not told.
    question : str
        Key of the question of the own study that asks the same; may be empty.
    steel, conditions : str
    settings : mapping of column to float
        Furnace conditions in storage units: ``temper_c``, ``delay_minutes``.
    source, found_at, obtained, note : str
        Where the numbers are from, table or page in it, and how they were taken from there.
    row : int
        Row in the file.
    """

    study: str
    kind: Kind
    quantity: str
    unit: str
    effect: Effect
    level: str
    against: str
    better: Better = ""
    level_arm: Arm = field(default_factory=Arm)
    against_arm: Arm = field(default_factory=Arm)
    estimate: float = math.nan
    std_error: float = math.nan
    furnace_loads: int = 0
    question: str = ""
    steel: str = ""
    conditions: str = ""
    settings: Mapping[str, float] = field(default_factory=dict)
    source: str = ""
    found_at: str = ""
    obtained: str = ""
    note: str = ""
    row: int = 0

    @property
    def about(self) -> tuple[str, ...]:
        """What is compared: rows that share it belong together."""
        words = (self.quantity, self.level, self.against)
        unit = self.unit if self.effect == "difference" else ""  # a ratio has none
        return (*(word.casefold() for word in words), self.effect, unit)

    @property
    def coupons(self) -> int:
        """Coupons of both arms; 0 where one is not told."""
        counts = (self.level_arm.coupons, self.against_arm.coupons)
        return sum(counts) if all(counts) else 0


@dataclass(frozen=True, repr=False)
class EvidenceTable(ShowsItself):
    """Published comparisons as they were read.

    Attributes
    ----------
    rows : tuple of PublishedComparison
    name : str
        File they were read from.
    """

    rows: tuple[PublishedComparison, ...]
    name: str = EVIDENCE_FILE

    def __len__(self) -> int:
        return len(self.rows)

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Rows": self.to_frame()}

    def __repr__(self) -> str:
        return f"<EvidenceTable {self.name}: {len(self.rows)} rows>"

    def comparisons(self) -> list[tuple[PublishedComparison, ...]]:
        """Rows that compare the same, in the order of the file."""
        groups: dict[tuple[str, ...], list[PublishedComparison]] = {}
        for row in self.rows:
            groups.setdefault(row.about, []).append(row)
        return [tuple(group) for group in groups.values()]

    def summary(self) -> str:
        """Say how much was read: ``evidence.csv: 2 published studies, 1 comparison``."""
        studies = len({row.study.casefold() for row in self.rows})
        count = len(self.comparisons())
        return (
            f"{self.name}: {studies} published {'study' if studies == 1 else 'studies'}, "
            f"{count} {'comparison' if count == 1 else 'comparisons'}"
        )

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each row of the file."""
        import pandas as pd

        rows = []
        for own in self.rows:
            arms = {}
            for name, arm in (("level", own.level_arm), ("against", own.against_arm)):
                arms[f"{name}_mean"], arms[f"{name}_sd"] = arm.mean, arm.sd
                arms[f"{name}_coupons"] = arm.coupons or math.nan
            words = {name: getattr(own, name) for name in TEXT_COLUMNS}
            numbers = {name: getattr(own, name) for name in ("estimate", "std_error")}
            loads = own.furnace_loads or math.nan
            rows.append(
                {**words, **arms, **numbers, "furnace_loads": loads, **own.settings, "row": own.row}
            )
        return pd.DataFrame(rows)
