"""The coupon matrix: one row for each coupon in furnace order, and whether it can be run."""

from __future__ import annotations

import functools
import hashlib
import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.declaration import Declaration, declaration_changes
from quenchbook.plan.treatment_checks import forbidden_problems, reference_problems
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor

UNIT_COLUMNS: Final = ("furnace_load", "cold_batch", "temper_batch")


@dataclass(frozen=True)
class Continuation:
    """Coupons that were added to a plan after it was made.

    Attributes
    ----------
    first_row : int
        Row of the coupon matrix at which they begin; they end where the next ones begin.
    seed : int
    aim : str
        What they were chosen for, in words.
    notes : tuple of str
    versions : mapping
    """

    first_row: int
    seed: int
    aim: str
    notes: tuple[str, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False, repr=False)
class CouponMatrix(ShowsItself):
    """A plan: what happens to each coupon, and in which order.

    Attributes
    ----------
    frame : DataFrame
        One row for each coupon in furnace order: ``coupon``, ``furnace_load``, ``day``,
        ``load_place``, a column for each factor, ``furnace_place``, ``cold_batch``,
        ``temper_batch``, ``bar``, ``bar_position``, and ``<response>_order`` (blank: not tested);
        ``reference`` where the study has reference coupons, see `quenchbook.plan.added_coupons`.
    study : Study
    seed : int or None
        Seed of the random streams; None for a published order.
    origin : str
        ``randomized`` or ``published``.
    notes : tuple of str
        How the combinations were fitted into the loads.
    versions : mapping
        Programs that made the plan.
    declaration : mapping
        What was declared when the plan was made, from `quenchbook.plan.declaration`; empty when
        it is not known.
    continuations : tuple of Continuation
        Coupons that were added later, in order; their rows follow those of the first plan, which
        never change.
    part_hash : str
        For a part of a plan: the hash that vouches for it.
    part_number : int
        For a part of a plan: 0 for the first plan, 1, 2, ... for its continuations.
    """

    frame: pd.DataFrame
    study: Study
    seed: int | None
    origin: str = "randomized"
    notes: tuple[str, ...] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    declaration: Declaration = field(default_factory=dict)
    continuations: tuple[Continuation, ...] = ()
    part_hash: str = ""
    part_number: int = 0

    @functools.cached_property
    def hashes(self) -> tuple[str, ...]:
        """SHA-256 of the canonical text of the first plan, then of each continuation.

        The text of a continuation begins with the hash before it, so the last one vouches for all.
        """
        if self.part_hash:
            return (self.part_hash,)
        head = (
            f"quenchbook plan 1\nstudy {self.study.key}\nseed {self.seed}\norigin {self.origin}\n"
        )
        parts = self.parts()
        found = [_sha256(head + canonical_text(parts[0]))]
        for own, frame in zip(self.continuations, parts[1:], strict=True):
            head = f"quenchbook continuation 1\nof {found[-1]}\nseed {own.seed}\n"
            found.append(_sha256(head + canonical_text(frame)))
        return tuple(found)

    @property
    def plan_hash(self) -> str:
        """SHA-256 that vouches for the whole plan, 64 hexadecimal digits."""
        return self.hashes[-1]

    def part(self, number: int) -> CouponMatrix:
        """Only the rows of the first plan (0) or of a continuation (1, 2, ...), for the bench."""
        return replace(
            self,
            frame=self.parts()[number].reset_index(drop=True),
            continuations=(),
            part_hash=self.hashes[number],
            part_number=number,
        )

    def parts(self) -> list[pd.DataFrame]:
        """Rows of the first plan, then those of each continuation."""
        starts = [0, *(own.first_row for own in self.continuations)]
        ends = [*starts[1:], len(self.frame)]
        return [self.frame.iloc[a:b] for a, b in zip(starts, ends, strict=True)]

    @property
    def short_hash(self) -> str:
        """First 8 digits of the plan hash: what stands on paper."""
        return self.plan_hash[:8]

    @property
    def changes(self) -> tuple[str, ...]:
        """What was changed in the study file after the plan was made, one sentence each."""
        return declaration_changes(self.declaration, self.study)

    @property
    def analysed(self) -> pd.DataFrame:
        """Coupons that are analysed: all but references. Row numbers as in `frame`."""
        if "reference" not in self.frame:
            return self.frame
        return self.frame[self.frame["reference"] == ""]

    @property
    def in_loads(self) -> pd.DataFrame:
        """Coupons that go through a furnace load: all but untreated references."""
        return self.frame[self.frame["furnace_load"] != 0]

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.frame.copy()

    def unit_counts(self) -> dict[str, int]:
        """Number of furnace loads, cold batches, temper batches and coupons."""
        units = [unit for unit in UNIT_COLUMNS if unit in self.frame]
        counts = {
            unit: int(self.frame.loc[~self.frame[unit].isin([0, ""]), unit].nunique())
            for unit in units
        }
        return {**counts, "coupon": len(self.frame)}

    def batches_without_cold(self) -> int:
        """Number of cold batches whose coupons get no cold step: groups to compare with."""
        own = self.frame
        if "cold_batch" not in own or "cold_route" not in own:
            return 0
        without = own[(own["cold_route"] == "none") & ~own["cold_batch"].isin([0, ""])]
        return int(without["cold_batch"].nunique())

    def summary(self) -> str:
        """Say the plan in words."""
        counts = ", ".join(
            f"{count} {self.study.unit_word(unit, count)}"
            for unit, count in self.unit_counts().items()
        )
        days = int(self.in_loads["day"].nunique())
        seed = "order as published" if self.seed is None else f"seed {self.seed}"
        lines = [
            f"{self.study.title}: {counts}, {days} day{'s' if days > 1 else ''}; {seed}; plan "
            f"{self.short_hash}."
        ]
        added = [
            f"Continued with {len(frame)} {self.study.unit_word('coupon', len(frame))}, seed "
            f"{own.seed}: {own.aim}"
            for own, frame in zip(self.continuations, self.parts()[1:], strict=True)
        ]
        first = [f"First plan: {note}" for note in self.notes] if added else self.notes
        return "\n".join([*lines, *first, *added, *self.changes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"All coupons": self.frame}

    def __repr__(self) -> str:
        counts = ", ".join(
            f"{n} {self.study.unit_word(u, n)}" for u, n in self.unit_counts().items()
        )
        return f"<CouponMatrix {self.study.key}: {counts}; plan {self.short_hash}>"


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def canonical_text(frame: pd.DataFrame) -> str:
    """Text of a table that is the same on every machine: LF, decimal strings, blank for none."""
    lines = [",".join(frame.columns)]
    for row in frame.itertuples(index=False, name=None):
        lines.append(",".join(cell_text(value) for value in row))
    return "\n".join(lines) + "\n"


def cell_text(value: object) -> str:
    """Text of one cell of a plan: whole numbers as they are, others to ten digits."""
    if isinstance(value, str):
        if not set(value) & set(',"\r\n'):
            return value
        return '"' + value.replace('"', '""') + '"'
    number = float(value)  # type: ignore[arg-type]
    if math.isnan(number):
        return ""
    return str(int(number)) if number.is_integer() else format(number, ".10g")


def check_matrix(matrix: CouponMatrix) -> None:
    """Check that a furnace, a bath and an oven can run the plan.

    Raises
    ------
    PlanError
        With every breach: a load with two austenitize temperatures, a delay without a cold step,
        a coupon twice, an unknown level.
    """
    study, frame = matrix.study, matrix.frame
    problems: list[Problem] = []
    needed = ["coupon", "furnace_load", *(factor.column for factor in study.factors)]
    if missing := [name for name in needed if name not in frame]:
        raise PlanError(
            Problem("coupon matrix", f"has no column {', '.join(missing)}", "Make the plan again.")
        )
    for code, count in frame["coupon"].value_counts().items():
        if count > 1:
            problems.append(
                Problem(f"coupon {code}", f"stands {count} times in the plan", "Each coupon once.")
            )
    problems += forbidden_problems(study, frame)
    problems += reference_problems(study, frame)
    for factor in study.factors:
        problems += _level_problems(factor, study, matrix.analysed)
        unit = factor.set_for
        if unit == "coupon" or unit not in frame:
            continue
        told = frame[~frame[unit].isin([0, ""]) & (frame[factor.column] != "")]
        for name, levels in told.groupby(unit)[factor.column]:
            if len(found := sorted(levels.dropna().unique(), key=str)) > 1:
                words = " and ".join(factor.word(level) for level in found)
                problems.append(
                    Problem(
                        f"{study.unit_word(unit)} {name}",
                        f"has {words}, but {factor.title} is set once for a "
                        f"{study.unit_word(unit)}",
                        "Split the coupons or correct the level.",
                    )
                )
    if problems:
        raise PlanError(problems)


def _level_problems(factor: Factor, study: Study, frame: pd.DataFrame) -> list[Problem]:
    problems = []
    exists = pd.Series(True, index=frame.index)
    if factor.nested_in:
        parent = study.factor(factor.nested_in)
        exists = frame[parent.column].isin(factor.exists_for)
    for coupon, value, allowed in zip(frame["coupon"], frame[factor.column], exists, strict=True):
        blank = value is None or value != value or value == ""
        if allowed and (blank or value not in factor.levels):
            words = ", ".join(factor.word(level) for level in factor.levels)
            found = "no level" if blank else f"'{factor.word(value)}'"
            problems.append(
                Problem(
                    f"coupon {coupon}", f"{factor.title} is {found}", f"Declared levels: {words}."
                )
            )
        elif not allowed and not blank:
            where = study.factor(factor.nested_in)
            level = frame.loc[frame["coupon"] == coupon, where.column].iloc[0]
            problems.append(
                Problem(
                    f"coupon {coupon}",
                    f"{factor.title} {factor.word(value)} has no meaning with {where.word(level)}",
                    f"Leave {factor.title} blank.",
                )
            )
    return problems
