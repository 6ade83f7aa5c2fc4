"""What it costs to locate a peak: how well plans with more or fewer furnace loads do it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from quenchbook.errors import PlanError
from quenchbook.outlook.layouts import load_counts, resized
from quenchbook.outlook.peak import PeakOutlook, peak_compared, peak_outlook
from quenchbook.outlook.wording import chance_text
from quenchbook.plan.cost import PlanCost, plan_cost
from quenchbook.plan.randomization import coupon_matrix
from quenchbook.progress import progress
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import ExpectedPeak, Noise, Study


@dataclass(frozen=True, eq=False, repr=False)
class PeakCosts(ShowsItself):
    """Plans by number of furnace loads: cost, hours, and how well they locate the peak.

    Attributes
    ----------
    table : DataFrame
        ``furnace_loads, coupons, cost, hours, half_width, bounded, own_plan``.
    plans : tuple of (PeakOutlook, PlanCost)
        In the order of the table.
    notes : tuple of str
    """

    table: pd.DataFrame
    plans: tuple[tuple[PeakOutlook, PlanCost], ...]
    notes: tuple[str, ...] = ()

    def sentences(self) -> tuple[str, ...]:
        """What the plan of the study locates, and what more furnace loads buy."""
        own = [place for place, mine in enumerate(self.table["own_plan"]) if mine]
        if not own:
            return ("The plan as it stands cannot locate the peak.",)
        outlook, cost = self.plans[own[0]]
        lines = outlook.sentences()
        width = float(self.table["half_width"][own[0]])
        for place in range(own[0] + 1, len(self.table)):
            row, (better, dearer) = self.table.iloc[place], self.plans[place]
            if not float(row["half_width"]) < 0.85 * width:
                continue
            hours = round(dearer.hours - cost.hours)
            more = f"{hours} more {'hour' if hours == 1 else 'hours'} of work"
            if dearer.total == dearer.total:
                more = f"{dearer.prices.money(dearer.total - cost.total)} more and {more}"
            lines.append(
                f"{more[:1].upper()}{more[1:]} buy: {peak_compared(outlook, better)}, both ends in "
                f"{chance_text(float(row['bounded']))} of such studies "
                f"({int(row['furnace_loads'])} furnace loads)."
            )
            break
        return tuple(lines)

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def summary(self) -> str:
        """Say what locating the peak costs."""
        return "\n".join([*self.sentences(), *self.notes])

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Plans": self.table}

    def __repr__(self) -> str:
        return f"<PeakCosts: {len(self.table)} plans>"


def peak_costs(
    study: Study,
    *,
    loads: Sequence[int] = (),
    expected: ExpectedPeak | None = None,
    noise: Noise | None = None,
    seed: int = 1,
) -> PeakCosts:
    """How well plans with different numbers of furnace loads locate the expected peak.

    Parameters
    ----------
    study : Study
    loads : sequence of int
        Numbers of furnace loads; some around that of the study when left out.
    expected : ExpectedPeak, optional
        That of the study file when left out.
    noise : Noise, optional
    seed : int
        Of the plans that are drawn.

    Returns
    -------
    PeakCosts

    Raises
    ------
    EstimabilityError
        If no peak is expected, or no factor is analysed as a quadratic curve.
    """
    rows, plans = [], []
    notes: tuple[str, ...] = ()
    for count in progress(sorted({*(loads or load_counts(study))}), "plans"):
        try:
            matrix = coupon_matrix(resized(study, count, study.layout.coupons_per_load), seed=seed)
        except PlanError:
            continue
        outlook, cost = peak_outlook(matrix, expected=expected, noise=noise), plan_cost(matrix)
        notes = outlook.notes
        if not float(outlook.table["df_error"].min()):
            continue
        plans.append((outlook, cost))
        rows.append(
            {
                "furnace_loads": count,
                "coupons": len(matrix.frame),
                "cost": cost.total,
                "hours": cost.hours,
                "half_width": float(outlook.table["half_width"].max()),
                "bounded": float(outlook.table["bounded"].min()),
                "own_plan": count == study.layout.furnace_loads,
            }
        )
    names = ["furnace_loads", "coupons", "cost", "hours", "half_width", "bounded", "own_plan"]
    return PeakCosts(pd.DataFrame(rows, columns=names), tuple(plans), notes)
