"""How wide the interval of a comparison at equal hardness will be, from a plan and assumed noise.

Two routes lie in every batch of every furnace load and temper. The formula was checked against
simulated studies to 6 % of the width.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from quenchbook.errors import PlanError
from quenchbook.fit.hardness_notes import LEAST_SPAN
from quenchbook.fit.temper_line import SMALLEST_DF_OF_ONE_T, Estimate
from quenchbook.shown import ShowsItself
from quenchbook.units import number_text

if TYPE_CHECKING:
    import pandas as pd

ROOM: Final = 1.0
"""Hardness [HRC] that tempers should span beyond the expected difference of the routes."""


@dataclass(frozen=True)
class TemperPlan:
    """A plan for a comparison at equal hardness.

    Attributes
    ----------
    loads : int
        Furnace loads, each with all tempers and routes.
    tempers : int
    coupons : int
        Coupons of each route in each batch of load and temper.
    step : float
        Hardness between neighbouring tempers [HRC].
    routes : int
    """

    loads: int
    tempers: int
    coupons: int
    step: float
    routes: int = 2

    @property
    def span(self) -> float:
        """Hardness from the softest to the hardest temper [HRC]."""
        return self.step * (self.tempers - 1)

    @property
    def moved(self) -> float:
        """Sum of squares of the hardness that the tempers make, over the batches."""
        middle = (self.tempers - 1) / 2
        return self.loads * sum((self.step * (n - middle)) ** 2 for n in range(self.tempers))

    @property
    def line_df(self) -> int:
        """Batches beyond what loads and tempers need."""
        return (self.loads - 1) * (self.tempers - 1)

    @property
    def coupon_df(self) -> int:
        """Coupons beyond what batches and routes need."""
        batches = self.loads * self.tempers
        return batches * self.routes * self.coupons - batches - (self.routes - 1)


@dataclass(frozen=True)
class ToughnessNoise:
    """Assumed noise of the response and the hardness.

    Attributes
    ----------
    cv : float
        Coefficient of variation of the response of a coupon, such as 0.15.
    line_slope : float
        Change of the logarithm for 1 HRC when the temper makes it.
    scatter_slope : float
        The same when coupons happen to differ.
    coupon_sd, indent_sd : float
        Of the hardness [HRC].
    indents : int
        On each coupon.
    batch_sd : float
        Of the logarithm of the response, between batches.
    """

    cv: float
    line_slope: float
    scatter_slope: float
    coupon_sd: float
    indent_sd: float
    indents: int
    batch_sd: float

    @property
    def coupon_variance(self) -> float:
        """Variance of a coupon's response less slope times hardness."""
        return (
            math.log1p(self.cv**2)
            + self.line_slope**2 * self.indent_sd**2 / self.indents
            + (self.scatter_slope - self.line_slope) ** 2 * self.coupon_sd**2
        )


@dataclass(frozen=True)
class EqualHardnessOutlook(ShowsItself):
    """Expected interval of a comparison at equal hardness.

    Attributes
    ----------
    width : float
        From limit to limit, of the logarithm of the ratio.
    std_error, df : float
    line_share : float
        Share of the variance that comes from the slope of the temper line.
    notes : tuple of str
    """

    width: float
    std_error: float
    df: float
    line_share: float
    notes: tuple[str, ...] = ()

    def to_frame(self) -> pd.DataFrame:
        """Return one row: ``width, std_error, df, line_share``."""
        import pandas as pd

        names = ("width", "std_error", "df", "line_share")
        return pd.DataFrame([{name: getattr(self, name) for name in names}])

    def summary(self) -> str:
        """Say how wide it will be."""
        half = math.expm1(self.width / 2) * 100
        share = number_text(100 * self.line_share, 0)
        words = (
            f"Expected interval of the ratio at equal hardness: about {number_text(half, 0)} % "
            f"upward from the estimate; {share} % of the variance comes from the temper line."
        )
        return "\n".join([words, *self.notes])


def equal_hardness_outlook(
    plan: TemperPlan, noise: ToughnessNoise, *, difference: float, confidence: float = 0.95
) -> EqualHardnessOutlook:
    """Expected width of the interval at equal hardness.

    Parameters
    ----------
    plan : TemperPlan
    noise : ToughnessNoise
    difference : float
        Expected difference in hardness between two routes [HRC].
    confidence : float

    Returns
    -------
    EqualHardnessOutlook

    Raises
    ------
    PlanError
        If the plan has one temper, or no spare batch for the temper line, or no spare coupon.
    """
    if plan.tempers < 2:
        raise PlanError("One temper gives no line. Plan two or three tempers in each route.")
    if plan.line_df < 1:
        raise PlanError(
            "One furnace load leaves no batch to judge the temper line by. Plan three or more."
        )
    if plan.step <= 0 or plan.coupons < 1 or plan.coupon_df < 1:
        raise PlanError("A plan needs a step in hardness above zero and a coupon of each route.")
    coupon = noise.coupon_variance
    inside = coupon * 2 / (plan.loads * plan.tempers * plan.coupons)
    batch = noise.batch_sd**2 + coupon / (plan.routes * plan.coupons)
    line = difference**2 * batch / plan.moved
    own = Estimate(
        0.0,
        {"coupon": (inside, float(plan.coupon_df)), "batch": (line, float(plan.line_df))},
        inside + line,
        howe=plan.line_df < SMALLEST_DF_OF_ONE_T,
    )
    return EqualHardnessOutlook(
        width=2 * own.half((1 + confidence) / 2),
        std_error=own.std_error,
        df=own.df,
        line_share=line / (inside + line),
        notes=_plan_notes(plan, difference),
    )


def _plan_notes(plan: TemperPlan, difference: float) -> tuple[str, ...]:
    notes = []
    if plan.span < LEAST_SPAN:
        notes.append(
            f"The tempers span {number_text(plan.span, 2)} HRC only; plan "
            f"{number_text(LEAST_SPAN, 1)} or more."
        )
    if plan.span < abs(difference) + ROOM:
        notes.append(
            "The routes may never have the same hardness, and then there is no answer: span "
            f"{number_text(abs(difference) + ROOM, 2)} HRC, the expected difference and 1 more."
        )
    if plan.tempers < 3:
        notes.append("Two tempers cannot show whether the temper line is straight.")
    if plan.loads < 3:
        notes.append("Plan three loads or more: the slope is judged on few batches.")
    return tuple(notes)
