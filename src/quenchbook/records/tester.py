"""Were the testers right: block and certified readings, indents and coupons against the limits."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.made_by import made_from
from quenchbook.metallurgy.tester_limits import (
    IMPACT_COUPONS,
    Limit,
    capacity_limit,
    impact_error_limit,
)
from quenchbook.records.block_checks import block_checks, tested_in
from quenchbook.records.check_rows import (
    CHECK_COLUMNS,
    OUTCOMES,
    check_row,
    expanded,
    pooled_variance,
    rounding_variance,
)
from quenchbook.records.indents import indent_checks
from quenchbook.records.reading import Records
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Response
from quenchbook.study.tester import Tester, told_tester
from quenchbook.units import convert

NO_IMPACT: Final = (
    "No certified impact coupon was recorded: the impact tester's error is not known."
)
_NAMED: Final = 2  # checks that an alarm names
_LAX_SHARE: Final = 0.2  # of the certified value: there the limit hardly tests; common practice

Rows = list[dict[str, Any]]


@dataclass(frozen=True, eq=False, repr=False)
class TesterChecks(ShowsItself):
    """What is known of the testers behind the readings.

    Attributes
    ----------
    frame : DataFrame
        One row a check: ``check``, ``about``, ``value`` with its expanded ``uncertainty`` (blank:
        not known), ``bound`` and ``limit``, ``unit``, ``outcome`` (``pass``; ``warn``: inside the
        limit by less than is unsure; ``out``; ``not known``), ``clause``.
    notes : tuple of str
        What was not checked, and what the results mean.
    """

    __test__ = False  # pytest would collect the name

    frame: pd.DataFrame
    notes: tuple[str, ...] = ()

    @property
    def outcome(self) -> str:
        """Worst outcome; ``not known`` without a check."""
        found = set(self.frame["outcome"])
        return next((word for word in OUTCOMES if word in found), "not known")

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the checks."""
        return self.frame.copy()

    def counted(self) -> str:
        """Say how many checks there are, with each that does not pass."""
        frame, parts = self.frame, []
        counts = frame["outcome"].value_counts()
        for word in ("pass", "warn", "out", "not known"):
            own = frame[frame["outcome"] == word]
            if own.empty:
                continue
            which = [f"{row['check']}, {row['about']}" for row in own.to_dict("records")]
            told = f" ({'; '.join(which[:4])}{'; ...' if len(which) > 4 else ''})"
            parts.append(f"{counts[word]} {word}{told if word != 'pass' else ''}")
        many = f"{len(frame)} check{'' if len(frame) == 1 else 's'} of the testers"
        return f"{many}: {'; '.join(parts)}." if parts else "No check of a tester was recorded."

    def alarm(self) -> str:
        """Say in one line that a check is out of its limit; empty where none is."""
        own = self.frame[self.frame["outcome"] == "out"]
        if own.empty:
            return ""
        which = [f"{row['check']}, {row['about']}" for row in own.to_dict("records")]
        more = f"; and {len(which) - _NAMED} more" if len(which) > _NAMED else ""
        return (
            f"A tester check is out of its limit ({'; '.join(which[:_NAMED])}{more}): readings of "
            "that tester hold only as far as it does."
        )

    def summary(self) -> str:
        """Say in words what passed, what did not, and what is not known."""
        return "\n".join([self.counted(), *self.notes])

    def shown(self) -> Shown:
        """What passed, what did not, and what is not known; then each check."""
        clauses = self.frame[["check", "clause"]].drop_duplicates()
        return Shown(
            self.counted(),
            self.frame.drop(columns="clause"),
            tuple(self.notes),
            listings={"Where the limits come from": clauses},
        )

    def __repr__(self) -> str:
        return f"<TesterChecks: {len(self.frame)} checks, worst outcome {self.outcome}>"


def checks_of_testers(records: Records) -> TesterChecks:
    """Checks of the hardness and the impact tester, of the indents and of the thickness.

    The error of a set of block readings is their mean less the value of the block, as the standard
    compares them. Its expanded uncertainty joins the scatter of the readings (pooled over all sets
    on the block, Student's t at the confidence of the study) and the step they are written in; the
    uncertainty of the certificate is added to the mean error in the notes. A drift compares the
    readings after a session with those before it on the same block.

    Parameters
    ----------
    records : Records

    Returns
    -------
    TesterChecks

    References
    ----------
    ASTM E18-19 Table A1.3 (limits) and X2.8, X2.11 (parts of the uncertainty); each row of the
    result names its own clause.
    """
    study, tester = records.study, told_tester(records.study)
    rows: Rows = []
    notes: list[str] = []
    hardness = tested_in(study, "HRC")
    if hardness is not None or not records.block_checks.empty:
        own, words = block_checks(records.block_checks, study, tester)
        rows, notes = rows + own, notes + words
    if hardness is not None:
        own, words = indent_checks(records, hardness, tester)
        rows, notes = rows + own, notes + words
    impact = tested_in(study, "J")
    if impact is not None or not records.impact_checks.empty:
        own, words = _impact_checks(records, impact, tester)
        rows, notes = rows + own, notes + words
    frame = pd.DataFrame(rows, columns=list(CHECK_COLUMNS))
    numbers = dict.fromkeys(("value", "uncertainty", "limit"), "float64")
    return made_from(TesterChecks(frame.astype(numbers), tuple(notes)), records)


# --- certified impact coupons ---------------------------------------------------------------------


def _impact_checks(
    records: Records, impact: Response | None, tester: Tester
) -> tuple[Rows, list[str]]:
    study, checks = records.study, records.impact_checks
    rows: Rows = []
    notes: list[str] = [NO_IMPACT] if checks.empty else []
    joules = 1.0 if impact is None else convert(1.0, impact.unit, "energy")
    read_in = checks["impact_j"].to_numpy(dtype=float) / joules  # as they were written down
    rounding = joules**2 * rounding_variance(read_in)
    for (session, certified), own in checks.groupby(["session", "certified_value_j"], sort=False):
        values, value = own["impact_j"].to_numpy(dtype=float), float(str(certified))
        variance, df = pooled_variance([values])
        unsure = expanded(variance / len(values) + rounding, df, study.confidence)
        limit = impact_error_limit(value, units=study.publishing.units)
        few = len(values) < IMPACT_COUPONS
        if few:  # the rule is one for the mean of five
            limit = Limit(limit.value, limit.bound, limit.clause, spare=math.inf)
        name = Printed("J", study.publishing.units).told(value)
        about = f"session {session}, {len(values)} certified coupons of {name}"
        error = float(values.mean() - value)
        rows.append(check_row("impact error", about, error, limit, "J", unsure))
        if few:
            notes.append(f"The limit of the impact tester is for five coupons; {name} has fewer.")
        if limit.value > _LAX_SHARE * value:
            share = f"{limit.value / value:.0%}".replace("%", "\u00a0%")
            notes.append(f"At {name} the limit is {share} of the value: it tests little.")
    if impact is None:
        return rows, notes
    read = records.readings.loc[records.readings["response"] == impact.name, "value"]
    if tester.impact_capacity is None:
        notes.append(
            "The capacity of the pendulum is not told: whether it was enough is not known."
        )
    elif not read.empty:
        about = f"largest of {len(read)} readings"
        limit = capacity_limit(tester.impact_capacity)
        largest = float(read.max()) * joules
        rows.append(check_row("capacity", about, largest, limit, "J"))
    return rows, notes
