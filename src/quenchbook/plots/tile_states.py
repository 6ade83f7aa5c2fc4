"""Coupons of the plan that were lost, were not read, or were run otherwise than planned."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import pandas as pd

from quenchbook.records.run_otherwise import run_otherwise
from quenchbook.units import listed

if TYPE_CHECKING:
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study

_MOST_NAMED: Final = 4


@dataclass(frozen=True)
class States:
    """What became of the coupons of a plan.

    Attributes
    ----------
    known : bool
        Whether there are records to tell it.
    lost, unread : tuple of str
        Coupons that are lost, and others without any reading.
    otherwise : frozenset of str
        Coupons of which a setting was not run as planned; the load's own is in `loads`.
    loads : frozenset of int
        Furnace loads that were not run at the planned level.
    notes : tuple of str
    """

    known: bool = False
    lost: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    otherwise: frozenset[str] = frozenset()
    loads: frozenset[int] = frozenset()
    notes: tuple[str, ...] = ()

    @property
    def absent(self) -> frozenset[str]:
        """Coupons without any reading."""
        return frozenset((*self.lost, *self.unread))

    @property
    def absent_word(self) -> str:
        """Why they have none, for the key."""
        return "lost" if not self.unread else "lost or not read" if self.lost else "not read"

    def reading(self, study: Study) -> str:
        """How to read the strokes."""
        parts = []
        if self.absent:
            parts.append(f"a {study.unit_word('coupon')} that is {self.absent_word}")
        text = f"A stroke through a tile: {parts[0]}." if parts else ""
        if self.otherwise or self.loads:
            what = " or step" if self.loads else ""
            text += f" A short stroke through a mark{what}: not run as planned."
        return text.strip()

    def unusual(self) -> str:
        """Name of what is missing, for the alternative text."""
        parts = [
            f"{listed([*names[:_MOST_NAMED], *_more(names)])} {word}"
            for names, word in ((self.lost, "lost"), (self.unread, "not read"))
            if names
        ]
        moved = [f"load {listed([str(load) for load in sorted(self.loads)])}"] if self.loads else []
        moved += [f"{len(self.otherwise)} single"] if self.otherwise else []
        if moved:
            parts.append(f"{listed(moved)} run otherwise than planned")
        return "; ".join(parts)


def states_of(records: Records, step: str = "") -> States:
    """What became of each coupon, from the records.

    Parameters
    ----------
    records : Records
    step : str
        Factor that is drawn as the step of a load.
    """
    plan = records.matrix.analysed
    read = set(records.readings["coupon"])
    lost = tuple(dict.fromkeys(str(coupon) for coupon in records.lost["coupon"]))
    if not read:
        return States(True, lost)
    unread = tuple(str(one) for one in plan["coupon"] if one not in read and one not in lost)
    run = pd.concat([records.frame(response.name) for response in records.study.responses])
    run = run.drop_duplicates("coupon").reset_index(drop=True)
    own = run_otherwise(run, records)
    notes = (f"Run otherwise than planned: {own.words}.",) if own.words else ()
    single = own.any_of(but=(step,))
    loads = run.loc[own.flags[step], "furnace_load"] if step else []
    reasons = records.lost.drop_duplicates("coupon").set_index("coupon")["reason"]
    told = [f"{one} ({reasons[one]})" for one in lost[:_MOST_NAMED]]
    if lost:
        notes = (f"Lost: {listed([*told, *_more(lost)])}.", *notes)
    if unread:
        notes = (*notes, f"Not read: {listed([*unread[:_MOST_NAMED], *_more(unread)])}.")
    return States(
        True, lost, unread, frozenset(run.loc[single, "coupon"]),
        frozenset(int(load) for load in loads), notes,
    )  # fmt: skip


def _more(names: tuple[str, ...]) -> list[str]:
    return [f"{len(names) - _MOST_NAMED} more"] if len(names) > _MOST_NAMED else []
