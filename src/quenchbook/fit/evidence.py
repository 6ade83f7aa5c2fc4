"""Published comparisons of one kind put together: what they say on average, and how they scatter.

The variance inside a study comes from the scatter pooled over all studies, because that of a
handful of coupons is too unsure to weight by, and because it stands in where a study tells none.
Studies are never counted by their verdicts, and kinds are never averaged together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from quenchbook.both_units import Printed, PrintedUnits
from quenchbook.errors import EstimabilityError
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.random_effects import DRAWS, FEWEST, RandomMean, further_study, random_mean
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.terms import Array
from quenchbook.units import NO_BREAK, capital, decimals_for, interval_text, listed, number_text

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.records.published_comparisons import Kind, PublishedComparison

SEED: Final = 20261125
"""Of the range for a further study, where none is named."""

FEW: Final = 5
"""Up to so many studies the spread is not allowed to be smaller than chance gives."""

_MUCH_LARGER: Final = 4.0  # times the coupons of any other study


@dataclass(frozen=True)
class PooledScatter:
    """Scatter of coupons inside an arm, pooled over the arms that tell it.

    Attributes
    ----------
    sd : float
        Coefficient of variation for ratios, standard deviation for differences; nan if no arm
        tells it.
    df : float
        Coupons less arms behind it.
    arms : int
        Number of arms that tell it.
    """

    sd: float
    df: float
    arms: int


@dataclass(frozen=True, eq=False, repr=False)
class Synthesis(ShowsItself):
    """Studies of one kind that compare the same.

    Attributes
    ----------
    kind : str
    comparisons : tuple of PublishedComparison
    effects, variances : ndarray, shape (studies,)
        Difference, or natural logarithm of the ratio, and its variance within the study. A
        variance is nan where nothing is known of the scatter.
    scatter : PooledScatter
    mean : RandomMean or None
        None where the studies are listed only.
    conf_low, conf_high, inner_low, inner_high : float
        Interval of the mean at `confidence`, and of the two one-sided tests.
    further_low, further_high : float
        Where the true effect of one more such study lies, at `confidence`.
    confidence : float
    seed, draws : int
        Of the range for a further study.
    notes : tuple of str
    """

    kind: Kind
    comparisons: tuple[PublishedComparison, ...]
    effects: Array
    variances: Array
    scatter: PooledScatter
    mean: RandomMean | None
    conf_low: float
    conf_high: float
    inner_low: float
    inner_high: float
    further_low: float
    further_high: float
    confidence: float
    seed: int
    draws: int
    notes: tuple[str, ...]

    @property
    def is_ratio(self) -> bool:
        """Whether the effects are logarithms of ratios."""
        return self.comparisons[0].effect == "ratio"

    def limits(self) -> tuple[Array, Array]:
        """Interval of each study, from the scatter it is weighted with; nan where unknown."""
        from scipy import special

        own = np.array([not math.isnan(row.estimate) for row in self.comparisons])
        factors = np.full(len(own), float(special.ndtri((1 + self.confidence) / 2)))
        if self.scatter.df > 0:
            factors[~own] = t_limit(self.scatter.df, self.confidence)
        half = factors * np.sqrt(self.variances)
        return self.effects - half, self.effects + half

    def to_frame(self) -> pd.DataFrame:
        """Return one row for each study, and one for all of them together."""
        import pandas as pd

        low, high = self.limits()
        rows = [
            {
                "what": "study", "study": own.study, "kind": self.kind, "coupons": own.coupons or
                math.nan, "furnace_loads": own.furnace_loads or math.nan, "estimate": effect,
                "std_error": math.sqrt(variance), "conf_low": below, "conf_high": above,
            }
            for own, effect, variance, below, above in zip(
                self.comparisons, self.effects, self.variances, low, high, strict=True
            )
        ]  # fmt: skip
        if self.mean is not None:
            together = {
                "study": "together", "kind": self.kind, "estimate": self.mean.estimate,
                "std_error": self.mean.std_error, "df": self.mean.df,
                "sd": math.sqrt(self.mean.between),
            }  # fmt: skip
            mean = {"what": "mean", "conf_low": self.conf_low, "conf_high": self.conf_high}
            further = {
                "what": "further study",
                "conf_low": self.further_low,
                "conf_high": self.further_high,
            }
            rows += [{**together, **mean}, {**together, "std_error": math.nan, **further}]
        return pd.DataFrame(rows)

    def shown(self) -> Shown:
        """The mean of the studies, or that they are listed only; then each study."""
        count = len(self.comparisons)
        who = f"{count} {'study' if count == 1 else 'studies'}, {self.kind}"
        if self.mean is None:
            finding = f"{capital(who)}: listed, not pooled."
        else:
            ends = [self.mean.estimate, self.conf_low, self.conf_high]
            if self.is_ratio:
                ends = [100 * math.expm1(end) for end in ends]
            decimals = decimals_for((ends[2] - ends[1]) / 4)
            mean = number_text(ends[0], decimals, sign=True) + (" %" if self.is_ratio else "")
            limits = interval_text(ends[1], ends[2], decimals, sign=True)
            finding = f"{capital(who)}: on average {mean} ({limits})."
        return Shown(finding, self.to_frame(), self.notes, confidence=self.confidence)

    def __repr__(self) -> str:
        pooled = "listed" if self.mean is None else "pooled"
        return f"<Synthesis {self.kind}: {len(self.comparisons)} studies, {pooled}>"


def syntheses(
    comparisons: Sequence[PublishedComparison],
    *,
    confidence: float = 0.95,
    seed: int = SEED,
    units: PrintedUnits = "metric",
) -> list[Synthesis]:
    """Put together what compares the same, kind by kind.

    Parameters
    ----------
    comparisons : sequence of PublishedComparison
        Rows of `EvidenceTable.comparisons`: of one quantity and comparison, of any kinds.
    confidence : float
    seed : int
        Of the range for a further study.
    units : str
        Units in print, for the notes: ``metric`` or ``both``.

    Returns
    -------
    list of Synthesis
        Kinds in the order of `KINDS`.

    Raises
    ------
    EstimabilityError
        If the rows compare different things.
    """
    from quenchbook.records.published_comparisons import KINDS

    if len({own.about for own in comparisons}) > 1:
        raise EstimabilityError(
            "These studies compare different things. Put together one comparison at a time."
        )
    by_kind = {kind: tuple(own for own in comparisons if own.kind == kind) for kind in KINDS}
    everywhere = pooled_scatter(comparisons)
    return [
        _synthesis(kind, rows, everywhere, confidence, seed, units)
        for kind, rows in by_kind.items()
        if rows
    ]


def pooled_scatter(comparisons: Sequence[PublishedComparison]) -> PooledScatter:
    """Scatter of the arms that tell it, weighted by their coupons less one.

    Parameters
    ----------
    comparisons : sequence of PublishedComparison
        All ratios (coefficient of variation) or all differences (standard deviation).
    """
    total, df, count = 0.0, 0.0, 0
    for own in comparisons:
        for arm in (own.level_arm, own.against_arm):
            if arm.sd > 0 and arm.coupons > 1:
                share = arm.sd / arm.mean if own.effect == "ratio" else arm.sd
                total += (arm.coupons - 1) * share**2
                df += arm.coupons - 1
                count += 1
    return PooledScatter(math.sqrt(total / df) if df else math.nan, df, count)


# --- one kind -------------------------------------------------------------------------------------


def _synthesis(
    kind: Kind,
    rows: tuple[PublishedComparison, ...],
    everywhere: PooledScatter,
    confidence: float,
    seed: int,
    units: PrintedUnits,
) -> Synthesis:
    scatter, notes = pooled_scatter(rows), list[str]()
    by_arms = any(math.isnan(own.estimate) for own in rows)
    if by_arms and math.isnan(scatter.sd) and not math.isnan(everywhere.sd):
        scatter = everywhere
        notes.append(
            "No study of this kind tells its scatter; that of the other kinds stands in for it."
        )
    effects = np.array([_effect(own) for own in rows])
    variances = np.array([_variance(own, scatter.sd) for own in rows])
    notes += _scatter_notes(rows, scatter, units)
    mean: RandomMean | None = None
    limits: dict[str, Any] = dict.fromkeys(
        ("conf_low", "conf_high", "inner_low", "inner_high", "further_low", "further_high"),
        math.nan,
    )
    if len(rows) < FEWEST:
        notes.append(f"Fewer than {_word(FEWEST)} studies: listed, not pooled.")
    elif np.isnan(variances).any():
        notes.append("No study tells its scatter, so none has a weight: listed, not pooled.")
    else:
        floor, why = _floor(rows)
        mean = random_mean(effects, variances, floor=floor)
        for names, share in (("conf", confidence), ("inner", 2 * confidence - 1)):
            half = float(t_limit(mean.df, share)) * mean.std_error
            limits[f"{names}_low"] = mean.estimate - half
            limits[f"{names}_high"] = mean.estimate + half
        limits["further_low"], limits["further_high"] = further_study(
            effects, variances, confidence=confidence, seed=seed, floor=floor
        )
        notes += _method_notes(mean, why if floor else "", seed, rows, units)
    return Synthesis(
        kind=kind, comparisons=rows, effects=effects, variances=variances, scatter=scatter,
        mean=mean, confidence=confidence, seed=seed, draws=DRAWS, notes=tuple(notes), **limits,
    )  # fmt: skip


def _effect(own: PublishedComparison) -> float:
    if not math.isnan(own.estimate):
        return own.estimate
    level, against = own.level_arm.mean, own.against_arm.mean
    return math.log(level / against) if own.effect == "ratio" else level - against


def _variance(own: PublishedComparison, sd: float) -> float:
    if not math.isnan(own.estimate):
        return own.std_error**2
    return sd**2 * (1 / own.level_arm.coupons + 1 / own.against_arm.coupons)


def _floor(rows: Sequence[PublishedComparison]) -> tuple[bool, str]:
    """Whether the spread may not fall below chance, and why."""
    if len(rows) <= FEW:
        return True, f"there are only {_word(len(rows))} studies"
    sizes = sorted(own.coupons for own in rows)
    if sizes[-1] > _MUCH_LARGER * sizes[-2] > 0:
        return True, "one study is far larger than the others"
    return False, ""


def _scatter_notes(
    rows: Sequence[PublishedComparison], scatter: PooledScatter, units: PrintedUnits
) -> list[str]:
    by_arms = [own for own in rows if math.isnan(own.estimate)]
    notes = []
    if by_arms and not math.isnan(scatter.sd):
        ratio = by_arms[0].effect == "ratio"
        shown = (
            f"{number_text(100 * scatter.sd, 0 if scatter.sd > 0.095 else 1)}{NO_BREAK}%"
            if ratio
            else Printed(by_arms[0].unit, units).difference(scatter.sd, 2)
        )
        name = "coefficient of variation" if ratio else "standard deviation"
        notes.append(
            f"Scatter inside an arm: one {name} for all, {shown} "
            f"({scatter.arms} arms, {scatter.df:.0f} df)."
        )
        missing = [
            own.study for own in by_arms if not (own.level_arm.sd > 0 and own.against_arm.sd > 0)
        ]
        if missing:
            notes.append(
                f"{capital(listed(missing))} {'tells' if len(missing) == 1 else 'tell'} no scatter "
                "for at least one arm; the pooled one stands in."
            )
    told = [own.study for own in rows if not math.isnan(own.estimate)]
    if told:
        notes.append(f"{capital(listed(told))}: comparison and standard error as published.")
    return notes


def _method_notes(
    mean: RandomMean,
    floor: str,
    seed: int,
    rows: Sequence[PublishedComparison],
    units: PrintedUnits,
) -> list[str]:
    apart = math.sqrt(mean.between)
    shown = (
        f"{number_text(100 * math.expm1(apart), 0)}{NO_BREAK}%"
        if rows[0].effect == "ratio"
        else Printed(rows[0].unit, units).difference(apart, 2)
    )
    notes = [
        f"Standard deviation between studies {shown} (REML); interval of the mean after Hartung "
        f"and Knapp with {mean.df:.0f} df; range of a further study from the confidence "
        f"distribution, {DRAWS} draws, seed {seed}."
    ]
    if floor:
        raised = ", and it was raised to that" if mean.floored else ""
        notes.append(
            f"Because {floor}, their spread counts as no smaller than chance gives{raised}."
        )
    if any(not own.furnace_loads for own in rows):
        notes.append(
            "Where furnace loads are not told, a study's interval holds the scatter of coupons "
            "only; what differs from load to load shows up between the studies."
        )
    return notes


def _word(count: int) -> str:
    return {1: "one", 2: "two", 3: "three", 4: "four", 5: "five"}.get(count, str(count))
