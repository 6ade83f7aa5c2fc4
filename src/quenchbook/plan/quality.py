"""How good a coupon matrix is: precision, what a better plan would give, what is mixed up."""

from __future__ import annotations

import dataclasses
import functools
import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError, PlanError
from quenchbook.plan.best_plan import best_arrangement
from quenchbook.plan.coordinates import Array, Criterion
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.needed_units import term_words
from quenchbook.plan.plan_model import (
    column_terms,
    full_treatments,
    information,
    noise_ratios,
    not_estimable,
    plan_terms,
    planned_precision,
    prediction_region,
)
from quenchbook.plan.randomization import coupon_matrix, is_tested
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import PlanKind, Study
from quenchbook.study.terms import Terms
from quenchbook.units import NO_BREAK

GUESSES: Final = ((0.1, 0.1), (1.0, 0.5), (5.0, 0.5), (10.0, 5.0))
"""Noise that is tried: variance of a furnace load, and of the batches, over that of a coupon."""

_STARTS: Final = 10
_MORE: Final = 1.005  # 101 % in print
_WORTH_TELLING: Final = 0.05


@dataclass(frozen=True, eq=False, repr=False)
class PlanQuality(ShowsItself):
    """What a plan is worth, each part computed when it is asked for.

    Attributes
    ----------
    matrix : CouponMatrix
    response : str
        Whose terms are judged.
    """

    matrix: CouponMatrix
    response: str

    @property
    def study(self) -> Study:
        """The study of the plan."""
        return self.matrix.study

    @functools.cached_property
    def frame(self) -> pd.DataFrame:
        """Coupons that are tested and analysed."""
        frame = self.matrix.frame
        tested = frame[f"{self.response}_order"].notna().to_numpy()
        return frame[tested & full_treatments(self.study, frame)].reset_index(drop=True)

    @functools.cached_property
    def not_estimable(self) -> tuple[str, ...]:
        """Terms that this plan cannot tell from others; they are left out of all that follows."""
        return not_estimable(self.study, self.frame, plan_terms(self.study, self.response))

    @functools.cached_property
    def terms(self) -> Terms:
        """Terms that this plan can estimate."""
        return plan_terms(self.study, self.response).without(self.not_estimable)

    @functools.cached_property
    def information(self) -> Array:
        """Information matrix with the assumed noise, coupon variance 1, days taken out."""
        return information(self.frame, self.terms, noise_ratios(self.study, self.response))

    @property
    def log_determinant(self) -> float:
        """Ln of the determinant of the information matrix."""
        return float(np.linalg.slogdet(self.information)[1])

    @property
    def d_value(self) -> float:
        """Determinant to the power 1/p, for one coupon; more is better."""
        return float(np.exp(self.log_determinant / len(self.information)) / len(self.frame))

    @property
    def average_variance(self) -> float:
        """Average variance of a prediction over an even mix of the levels, in coupon variances."""
        return _average_variance(self.information, prediction_region(self.terms))

    @functools.cached_property
    def efficiencies(self) -> pd.DataFrame:
        """Precision of the plan against others of the same layout.

        Returns
        -------
        DataFrame
            ``comparison, d_efficiency, i_efficiency``: 1 is as good, above 1 is better. A plan that
            cannot be made, or cannot estimate the terms, is not there.
        """
        rows = []
        for words, other in self._others().items():
            M = information(other, self.terms, noise_ratios(self.study, self.response))
            if np.linalg.matrix_rank(M) < len(M):
                continue
            rows.append((words, _d_ratio(self.information, M), self._i_ratio(self.information, M)))
        return pd.DataFrame(rows, columns=["comparison", "d_efficiency", "i_efficiency"])

    def _others(self) -> dict[str, pd.DataFrame]:
        found = {}
        for criterion in ("D", "I"):
            found[f"best for {criterion}"] = self._best(criterion)
        if self.study.plan.kind == "crossed":
            return found
        try:
            crossed = coupon_matrix(_wished(self.study, "crossed"), seed=self.matrix.seed or 1)
        except PlanError:
            return found
        found["crossed"] = PlanQuality(crossed, self.response).frame
        return found

    def _best(
        self, criterion: Criterion, ratios: Mapping[str, float] | None = None
    ) -> pd.DataFrame:
        study = _wished(
            self.study, "best", criterion=criterion, response=self.response,
            noise_ratios=ratios or self.study.plan.noise_ratios,
        )  # fmt: skip
        kept = tuple(name for name in self.terms.names if ":" in name)
        responses = tuple(
            dataclasses.replace(r, combinations=kept) if r.name == self.response else r
            for r in study.responses
        )
        study = dataclasses.replace(study, responses=responses)
        seed = self.matrix.seed or 1
        frame = best_arrangement(study, seed=seed, starts=_STARTS)
        tested = is_tested(study, frame, self.response, seed)
        return frame[tested].reset_index(drop=True)

    def _i_ratio(self, own: Array, other: Array) -> float:
        region = prediction_region(self.terms)
        return _average_variance(other, region) / _average_variance(own, region)

    @functools.cached_property
    def aliasing(self) -> pd.DataFrame:
        """What pairs of factors that are not in the model would do to the estimates.

        Returns
        -------
        DataFrame
            ``combination, term, alias_share, correlation``, the worst first: how much of a
            coefficient of the combination would be taken for one of the term, and the correlation
            of their columns, both the largest of the columns and without sign.
        """
        columns = ["combination", "term", "alias_share", "correlation"]
        W = planned_precision(self.frame, noise_ratios(self.study, self.response))
        X = self.terms.matrix(self.frame)
        owners = np.array(column_terms(self.terms, self.frame))
        present = {frozenset(name.split(":")) for name in self.terms.names}
        rows = []
        for pair in itertools.combinations([f.name for f in self.study.factors], 2):
            if frozenset(pair) in present:
                continue
            Z = self.terms.columns(self.frame, ":".join(pair))
            Z = Z[:, np.abs(Z).sum(axis=0) > 0]
            if not Z.shape[1]:
                continue
            alias = np.abs(np.linalg.solve(self.information, X.T @ W @ Z)).max(axis=1)
            correlation = np.abs(_correlations(X, Z)).max(axis=1)
            for term in self.terms.names:
                own = owners == term
                rows.append((":".join(pair), term, alias[own].max(), correlation[own].max()))
        table = pd.DataFrame(rows, columns=columns).astype(
            {"alias_share": float, "correlation": float}
        )
        return table.sort_values("alias_share", ascending=False, ignore_index=True, kind="stable")

    @functools.cached_property
    def sensitivity(self) -> pd.DataFrame:
        """Efficiency where the noise is another than the one that was assumed.

        Returns
        -------
        DataFrame
            ``load_ratio, batch_ratio, criterion, efficiency``: against a plan made for that noise,
            of fewer starts, so that it may be a little above 1.
        """
        criterion: Criterion = self.study.plan.criterion
        rows = []
        for load, batch in GUESSES:
            ratios = {"furnace_load": load, "cold_batch": batch, "temper_batch": batch}
            own = information(self.frame, self.terms, ratios)
            other = information(self._best(criterion, ratios), self.terms, ratios)
            ratio = _d_ratio(own, other) if criterion == "D" else self._i_ratio(own, other)
            rows.append((load, batch, criterion, ratio))
        return pd.DataFrame(rows, columns=["load_ratio", "batch_ratio", "criterion", "efficiency"])

    def to_frame(self) -> pd.DataFrame:
        """Return the efficiencies: ``comparison, d_efficiency, i_efficiency``."""
        return self.efficiencies.copy()

    def summary(self) -> str:
        """Say in words how good the plan is; takes some seconds."""
        lines = [
            "A prediction, averaged over an even mix of the levels, has a standard deviation "
            f"{self.average_variance**0.5:.2f} times that of a single coupon."
        ]
        if self.not_estimable:
            lost = ", ".join(term_words(self.study, name) for name in self.not_estimable)
            lines.append(f"Cannot be estimated, and left out here: {lost}.")
        told: dict[str, list[str]] = {}
        for row in self.efficiencies.itertuples(index=False):
            shares_words = (
                f"all effects together are told with {_share(row.d_efficiency)} of its precision "
                f"(D), predictions with {_share(row.i_efficiency)} (I)."
            )
            told.setdefault(shares_words, []).append(_against(str(row.comparison)))
        for words, plans in told.items():
            lines.append(f"Against a plan {', and one '.join(plans)}: {words}")
        shares = self.efficiencies[["d_efficiency", "i_efficiency"]].to_numpy(dtype=float)
        if (shares > _MORE).any():
            lines.append(
                f"More than 100{NO_BREAK}%: this plan tells more than the one it is held against. "
                "A short search found that one; it need not be the best there is."
            )
        seen = self.aliasing[self.aliasing["alias_share"] > _WORTH_TELLING]
        if len(seen):
            first = seen.iloc[0]
            lines.append(
                f"{len(seen)} pairs of a term and a combination that is not analysed are mixed; "
                f"most: {term_words(self.study, str(first['combination']))} into "
                f"{term_words(self.study, str(first['term']))} ({first['alias_share']:.2f} of it)."
            )
        low = self.sensitivity["efficiency"].min()
        lines.append(
            "If loads and batches are noisier or quieter than thought, the plan keeps at least "
            f"{_share(low)} of the precision of a plan made for that noise."
        )
        return "\n".join(lines)

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Efficiencies": self.efficiencies}

    def __repr__(self) -> str:
        return (
            f"<PlanQuality {self.study.key}, {self.response}: D {self.d_value:.4f}, average "
            f"variance {self.average_variance:.3g}>"
        )


def plan_quality(matrix: CouponMatrix, response: str = "") -> PlanQuality:
    """How good a plan is for a response, whatever kind of plan it is.

    Of a plan that was continued the first part is judged.

    Parameters
    ----------
    matrix : CouponMatrix
    response : str
        Empty: the response wished in ``[plan]``, or else the first.

    Raises
    ------
    EstimabilityError
        If not even the mean and one factor can be estimated.
    """
    if matrix.continuations:  # others of the layout have the size of the first plan
        matrix = matrix.part(0)
    study = matrix.study
    name = study.response(response or study.plan.response or study.responses[0].name).name
    quality = PlanQuality(matrix, name)
    if not quality.terms.names:
        raise EstimabilityError(f"{name}: no factor of this plan can be told from the others.")
    return quality


# --- numbers
# ----------------------------------------------------------------------------------------


def _average_variance(information: Array, region: Array) -> float:
    return float(np.trace(np.linalg.solve(information, region)))


def _d_ratio(own: Array, other: Array) -> float:
    difference = np.linalg.slogdet(own)[1] - np.linalg.slogdet(other)[1]
    return float(np.exp(difference / len(own)))


def _correlations(first: Array, second: Array) -> Array:
    """Correlation of each column with each, 0 for a column without scatter."""
    a, b = first - first.mean(axis=0), second - second.mean(axis=0)
    sizes = np.outer(np.linalg.norm(a, axis=0), np.linalg.norm(b, axis=0))
    found: Array = np.where(sizes > 0, a.T @ b / np.where(sizes > 0, sizes, 1.0), 0.0)
    return found


def _wished(study: Study, kind: PlanKind, **wishes: object) -> Study:
    plan = dataclasses.replace(study.plan, kind=kind, **wishes)  # type: ignore[arg-type]
    return dataclasses.replace(study, plan=plan, published=False)


def _against(comparison: str) -> str:
    return {
        "best for D": "made for the coefficients (D)",
        "best for I": "made for predictions (I)",
        "crossed": "of all combinations (crossed)",
    }[comparison]


def _share(value: object) -> str:
    return f"{100 * float(str(value)):.0f}{NO_BREAK}%"
