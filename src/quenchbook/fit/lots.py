"""The same treatment in several studies: a mean for each lot of steel, load noise included."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.means import marginal_means
from quenchbook.fit.mixed import MixedModel
from quenchbook.made_by import made_from
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

LOT_FACTOR: Final = "heat_lot"
"""Factor of a study that compares lots, and key of ``[steel]`` of one that has a single lot."""

CONFOUNDED: Final = (
    "Lots of different studies differ in more than the lot: furnace loads, days, sessions at the "
    "tester and whatever changed between the years are the same split. A difference here is that "
    "of lot and study together. Only both lots in the same furnace loads part them."
)


@dataclass(frozen=True, eq=False, repr=False)
class LotMeans(ShowsItself):
    """Means of one treatment by lot and study.

    Attributes
    ----------
    response, unit : str
    at : mapping of factor to level
        The treatment; other factors of a study are averaged evenly.
    table : DataFrame
        One row a lot and study: study, date, steel, heat_lot, coupons, furnace_loads, estimate,
        std_error, df, conf_low, conf_high (on the analysed scale).
    scale : str
    confidence : float
    left_out : mapping of study to reason
    notes : tuple of str
    """

    response: str
    unit: str
    at: Mapping[str, Level]
    table: pd.DataFrame
    scale: str
    confidence: float
    left_out: Mapping[str, str]
    notes: tuple[str, ...]

    def differences(self) -> pd.DataFrame:
        """Differences between lots of different studies, each later one less each earlier one.

        The variances are added and the degrees of freedom follow Welch and Satterthwaite. Every
        pair has its own confidence: with many pairs some leave out zero by chance.
        """
        import pandas as pd

        rows = []
        for first, second in itertools.combinations(self.table.to_dict("records"), 2):
            if first["study"] == second["study"]:
                continue  # its own model compares lots inside a study, with the loads they share
            parts = np.array([first["std_error"], second["std_error"]]) ** 2
            dfs = np.array([first["df"], second["df"]])
            df = float(parts.sum() ** 2 / (parts**2 / dfs).sum())
            std_error = math.sqrt(parts.sum())
            estimate = second["estimate"] - first["estimate"]
            half = float(t_limit(df, self.confidence)) * std_error
            rows.append(
                {
                    "label": _name(second), "against": _name(first), "estimate": estimate,
                    "std_error": std_error, "df": df, "conf_low": estimate - half,
                    "conf_high": estimate + half,
                }
            )  # fmt: skip
        return pd.DataFrame(rows)

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def shown(self) -> Shown:
        """The lowest and the highest lot, then the means and what they cannot tell."""
        rows = self.table.sort_values("estimate").to_dict("records")
        words = [
            f"{_name(row)}: {row['estimate']:.2f} ({row['conf_low']:.2f} to {row['conf_high']:.2f})"
            for row in (rows[0], rows[-1])
        ]
        finding = f"One lot. {words[0]}."
        if len(rows) > 1:
            finding = f"Of {len(rows)} lots the lowest mean is {words[0]}; the highest {words[1]}."
        left = [f"{study} is left out: {why}" for study, why in self.left_out.items()]
        return Shown(finding, self.table, (*left, *self.notes), confidence=self.confidence)

    def __repr__(self) -> str:
        return f"<LotMeans {self.response}: {len(self.table)} lots>"


def lot_means(
    models: Sequence[MixedModel],
    at: Mapping[str, Level],
    *,
    confidence: float = 0.95,
    left_out: Mapping[str, str] | None = None,
) -> LotMeans:
    """Mean of one treatment in each study and lot, with the noise of its furnace loads.

    Parameters
    ----------
    models : sequence of MixedModel
        Of one response, one a study.
    at : mapping of factor name to level
        The treatment, in storage units.
    confidence : float
    left_out : mapping of study to reason, optional
        Studies that have no model; they are listed with those without the treatment.

    Returns
    -------
    LotMeans

    Raises
    ------
    EstimabilityError
        If the models are of different responses or scales, or no study has the treatment.
    """
    import pandas as pd

    if len({(model.response, model.scale, model.unit) for model in models}) != 1:
        raise EstimabilityError("Compare models of one response, on one scale and in one unit.")
    rows: list[dict[str, Any]] = []
    reasons = dict(left_out or {})
    for model in models:
        study = model.study
        if study is None:
            raise EstimabilityError("Lots are compared between studies, not data frames.")
        try:
            rows += _rows(model, study, at, confidence)
        except EstimabilityError as error:
            reasons[study.key] = str(error)
    if not rows:
        words = " ".join(f"{key}: {why}" for key, why in reasons.items())
        raise EstimabilityError(f"No study has this treatment. {words}")
    table = pd.DataFrame(rows).sort_values(["date", "study"], kind="stable", ignore_index=True)
    notes = [CONFOUNDED] if table["study"].nunique() > 1 else []
    if (one := sorted(table.loc[table["furnace_loads"] == 1, "study"].unique())) != []:
        notes.append(
            f"{listed(one)}: one furnace load, so the interval holds the scatter of coupons only."
        )
    first = models[0]
    own = LotMeans(
        first.response, first.unit, dict(at), table, first.scale, confidence, reasons,
        tuple(notes),
    )  # fmt: skip
    return made_from(own, first) if len(models) == 1 else own  # several have several plans


def _rows(
    model: MixedModel, study: Study, at: Mapping[str, Level], confidence: float
) -> list[dict[str, Any]]:
    wanted = dict(at)
    has_lots = LOT_FACTOR in model.terms.names
    for name, level in wanted.items():
        if name not in {factor.name for factor in study.factors}:
            names = [factor.name for factor in study.factors]
            words = f"{name} was not varied; what it was is not in the table. Varied were "
            words += f"{', '.join(names)}."
            raise EstimabilityError(with_suggestion(words, name, names))
        if level not in study.factor(name).levels:
            levels = ", ".join(map(study.factor(name).word, study.factor(name).levels))
            word = study.factor(name).word(level)
            words = f"{name} {word} was not tried; levels are {levels}."
            raise EstimabilityError(with_suggestion(words, level, study.factor(name).levels))
    names = [*wanted, *([LOT_FACTOR] if has_lots else [])]
    means = marginal_means(
        model, names, at={name: [level] for name, level in wanted.items()}, confidence=confidence
    ).to_frame()
    rows = []
    for row in means.to_dict("records"):
        planned = model.data.planned
        here = planned["coupon"].isin(model.data.coupons["coupon"])
        for name, level in wanted.items():
            here &= planned[study.factor(name).column] == level
        lot = str(row[LOT_FACTOR]) if has_lots else str(study.steel.get(LOT_FACTOR, ""))
        if has_lots:
            here &= planned[study.factor(LOT_FACTOR).column] == row[LOT_FACTOR]
        if not (math.isfinite(row["std_error"]) and row["df"] > 0):
            raise EstimabilityError("the furnace loads leave no spare unit to judge a mean by")
        loads = planned.loc[here, "furnace_load"].nunique() if "furnace_load" in planned else 0
        rows.append(
            {
                "study": study.key, "date": study.date, "steel": str(study.steel.get("grade", "")),
                "heat_lot": lot, "coupons": int(here.sum()), "furnace_loads": int(loads),
                **{k: row[k] for k in ("estimate", "std_error", "df", "conf_low", "conf_high")},
            }
        )  # fmt: skip
    return rows


def _name(row: Mapping[Any, Any]) -> str:
    lot = f"lot {row['heat_lot']}" if row["heat_lot"] else "lot not told"
    return f"{lot} ({row['study']})"
