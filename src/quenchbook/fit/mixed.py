"""A fitted model: fixed part, strata, tests with the stratum named, variance components."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.both_units import Printed
from quenchbook.errors import EstimabilityError
from quenchbook.fit.coupon_data import CouponData
from quenchbook.fit.inversion import t_limit
from quenchbook.fit.precision import Precision
from quenchbook.fit.reml import RemlFit, cross_products, reml
from quenchbook.fit.small_sample import SmallSample
from quenchbook.fit.strata import Strata
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Scale, Study
from quenchbook.study.factors import UNIT_WORDS, plural
from quenchbook.study.terms import Array, Terms
from quenchbook.units import capital, listed

if TYPE_CHECKING:
    pass

DfMethod = Literal["auto", "stratum", "kenward_roger", "satterthwaite", "exact", "permute"]

METHOD_WORDS: Final[Mapping[str, str]] = {
    "stratum": "stratum F on unit values",
    "kenward_roger": "Kenward-Roger on REML",
    "satterthwaite": "Satterthwaite on REML",
    "exact": "exact bound over the variance ratio",
    "permute": "permutation of whole units",
}

LEAST_EFFICIENCY: Final = 0.85
"""Below this share of information inside batches, `auto` recovers the rest by Kenward-Roger."""


@dataclass(frozen=True, eq=False, repr=False)
class MixedModel(ShowsItself):
    """One response with its fixed part and its strata.

    Attributes
    ----------
    data : CouponData
        What was fitted.
    strata : Strata
    precision : Precision
    df_method : str
        As asked for; `method_of` says what was used for a term.
    notes : tuple of str
        What a reader must know: rows not used, terms that could not be estimated.
    """

    data: CouponData
    strata: Strata
    precision: Precision
    df_method: DfMethod = "auto"
    notes: tuple[str, ...] = ()

    @property
    def response(self) -> str:
        """Column that was analysed."""
        return self.data.response

    @property
    def unit(self) -> str:
        """Unit of the response."""
        return self.data.unit

    @property
    def scale(self) -> Scale:
        """``linear``, or ``log``: then all estimates are natural logarithms."""
        return self.data.scale

    @property
    def coupons(self) -> pd.DataFrame:
        """One row for each coupon: units, settings as run, ``value``, ``readings``."""
        return self.data.coupons

    @property
    def readings(self) -> pd.DataFrame:
        """One row for each reading: ``coupon`` and ``value`` on the analysed scale."""
        return self.data.readings

    @property
    def printed(self) -> Printed:
        """How values and differences of the response stand in print, off the log scale."""
        return Printed(self.unit, self.study.publishing.units if self.study else "metric")

    @property
    def units(self) -> tuple[str, ...]:
        """Random units above the coupon."""
        return self.data.units

    @property
    def study(self) -> Study | None:
        """Study of the records; None for a data frame."""
        return self.data.study

    @property
    def confidence(self) -> float:
        """Confidence level of intervals."""
        return self.data.confidence

    @property
    def terms(self) -> Terms:
        """Fixed terms that were estimated."""
        return self.strata.terms

    # --- words -----------------------------------------------------------------------------------

    def stratum_name(self, unit: str) -> str:
        """Name of a stratum in tables."""
        return {"coupon": self.data.lowest, "indent": self.data.reading}.get(unit, unit)

    def unit_word(self, unit: str, count: int = 1) -> str:
        """Word for a unit in print."""
        if self.study is not None:
            return self.study.unit_word(unit, count)
        name = self.stratum_name(unit)
        word = "row" if name == "residual" else UNIT_WORDS.get(name) or name.replace("_", " ")
        return word if count == 1 else plural(word)

    def term_word(self, term: str) -> str:
        """Term in print: ``temper by cold route``."""
        titles = {f.name: f.title for f in self.study.factors} if self.study is not None else {}
        return " by ".join(titles.get(part) or part.replace("_", " ") for part in term.split(":"))

    def units_ladder(self) -> str:
        """Say how many readings, coupons and units there are, and what each factor is judged on."""
        counts = [(len(self.readings), "readings")]
        counts.append((len(self.coupons), self.unit_word("coupon", len(self.coupons))))
        for unit in self.units:
            count = int(self.coupons[unit].nunique())
            if count < len(self.coupons):
                counts.append((count, self.unit_word(unit, count)))
        judged = []
        for stage in self.strata.stages:
            own = [
                self.term_word(term)
                for term in self.terms.names
                if self.strata.term_stage[term] == stage.unit
                and ":" not in term
                and term not in self.terms.blocks
            ]
            if own:
                names = own[0] if len(own) == 1 else f"{', '.join(own[:-1])} and {own[-1]}"
                verb = "is" if len(own) == 1 else "are"
                judged.append(
                    f"{names} {verb} judged on {self.unit_word(stage.unit, 2)} ({stage.df} df)"
                )
        ladder = ", ".join(f"{count} {word}" for count, word in counts)
        return ladder + (": " + "; ".join(judged) if judged else "") + "."

    # --- estimates and tests ---------------------------------------------------------------------

    def method_of(self, term: str) -> str:
        """Method used for a term: the one asked for, or the choice of ``auto``."""
        if self.df_method != "auto":
            return self.df_method
        return "kenward_roger" if self._is_incomplete(term) else "stratum"

    def _is_incomplete(self, term: str) -> bool:
        """Whether batches hold too little of a coupon-level term to judge it inside them alone."""
        return (
            self.strata.term_stage[term] == "coupon"
            and bool(self.strata.batches)
            and self.precision.efficiency(term) < LEAST_EFFICIENCY
        )

    def why(self, term: str) -> str:
        """Why this method was used for a term."""
        method = self.method_of(term)
        if self.df_method != "auto":
            return "asked for"
        if method == "kenward_roger":
            share = self.precision.efficiency(term)
            return f"batches are incomplete: they hold {share:.0%} of the information on this term"
        return "keeps its level however small the noise of the unit"

    @functools.cached_property
    def small_sample(self) -> SmallSample:
        """Kenward-Roger and Satterthwaite on the REML fit."""
        return SmallSample(self.reml)

    def tests(self) -> pd.DataFrame:
        """F test of each term against the noise of its own unit.

        Returns
        -------
        DataFrame
            ``term, stratum, df, df_error, statistic, p_value, safety_factor, method``. A term whose
            stratum has no error df has nan for the last numbers. Blocks (days) are not tested.
        """
        rows = []
        for term in self.terms.names:
            if term not in self.terms.blocks:
                rows.append(self._test_row(term))
        columns = [
            "term",
            "stratum",
            "df",
            "df_error",
            "statistic",
            "p_value",
            "safety_factor",
            "method",
        ]
        return pd.DataFrame(rows, columns=columns)

    def _test_row(self, term: str) -> dict[str, Any]:
        unit, place = self.strata.term_stage[term], self.strata.slices[term]
        row: dict[str, Any] = {
            "term": term,
            "stratum": self.stratum_name(unit),
            "df": place.stop - place.start,
        }
        method = self.method_of(term)
        if method in ("kenward_roger", "satterthwaite") and self.strata.stage(unit).df:
            weights = np.eye(self.strata.coefficient_count)[place]
            found = getattr(self.small_sample, method)(weights)
            return row | {
                "df_error": float(found.df_error[0]),
                "statistic": float(found.statistic[0]),
                "p_value": float(found.p_value[0]),
                "safety_factor": np.nan,
                "method": METHOD_WORDS[method] + self._zero_words(method),
            }
        test = self.precision.test(term)
        if test is None:
            nothing = dict.fromkeys(("statistic", "p_value", "safety_factor"), np.nan)
            return (
                row
                | nothing
                | {"df_error": 0.0, "method": f"no test: no spare {self.unit_word(unit)}"}
            )
        spare = self.strata.stage(unit).df
        classical = abs(test.safety[0] - 1) < 1e-6 and abs(test.df_error[0] - spare) < 1e-6
        row |= {
            "df_error": float(test.df_error[0]),
            "statistic": float(test.statistic[0]),
            "p_value": float(test.p_value[0]),
            "safety_factor": float(test.safety[0]),
            "method": "classical stratum F" if classical else METHOD_WORDS["stratum"],
        }
        if method == "exact" and unit != "coupon":
            row |= self._guaranteed(term, "exact")
        if method == "permute":
            row |= self._guaranteed(term, "permute")
        return row

    def _guaranteed(self, term: str, method: str) -> dict[str, Any]:
        """P value with a guarantee; where there is none, that of the stratum, and it is said."""
        from quenchbook.fit.guaranteed import exact_p_value, randomization_test

        try:
            if method == "exact":
                return {"p_value": exact_p_value(self, term), "method": METHOD_WORDS[method]}
            found = randomization_test(self, term)
        except EstimabilityError:
            return {"method": f"{METHOD_WORDS['stratum']} ({method} is not possible for this term)"}
        return {"p_value": found.p_value, "method": METHOD_WORDS[method]}

    def _zero_words(self, method: str) -> str:
        zero = [unit for unit, variance in self.variances.items() if variance == 0.0]
        if not zero:
            return ""
        names = " and ".join(self.unit_word(unit, 2) for unit in zero)
        words = f" (variance of {names} estimated as 0"
        return words + (": its df are those of a finer unit)" if method == "satterthwaite" else ")")

    def estimates(self, rows: Array) -> tuple[Array, Array, Array]:
        """Estimate, standard error and df of linear functions of the coefficients.

        Parameters
        ----------
        rows : ndarray, shape (functions, coefficients)

        Returns
        -------
        estimate, std_error, df : ndarray, shape (functions,)
        """
        rows = np.atleast_2d(np.asarray(rows, dtype=float))
        found = np.array([self._estimate(row) for row in rows])
        return found[:, 0], found[:, 1], found[:, 2]

    def _estimate(self, row: Array) -> tuple[float, float, float]:
        method = self.df_method
        if method == "auto":
            inside = [t for t, s in self.strata.slices.items() if np.any(np.abs(row[s]) > 1e-12)]
            mean = abs(row[0]) > 1e-12
            incomplete = any(self._is_incomplete(term) for term in inside) or (
                mean and any(self._is_incomplete(term) for term in self.terms.names)
            )
            method = "kenward_roger" if incomplete else "stratum"
        if method in ("kenward_roger", "satterthwaite"):
            estimate, std_error, df = self.small_sample.of(row[None, :], method)
            shift = row[0] * self.coupons["value"].mean()
            return float(estimate[0, 0] + shift), float(std_error[0, 0]), float(df[0, 0])
        estimate, std_error, df = self.precision.of(row[None, :])
        return float(estimate[0, 0]), float(std_error[0, 0]), float(df[0, 0])

    @property
    def coefficients(self) -> pd.DataFrame:
        """Coefficients in sum-to-zero coding with intervals.

        Returns
        -------
        DataFrame
            ``term, estimate, std_error, df, conf_low, conf_high``.
        """
        count = self.strata.coefficient_count
        names = ["mean"] + [""] * (count - 1)
        for term, place in self.strata.slices.items():
            for number in range(place.start, place.stop):
                names[number] = f"{term} {number - place.start + 1}"
        table = interval_frame(self, np.eye(count), self.confidence)
        table.insert(0, "term", names)
        return table

    # --- noise -----------------------------------------------------------------------------------

    @functools.cached_property
    def reml(self) -> RemlFit:
        """Variance components by restricted maximum likelihood."""
        values = self.coupons["value"].to_numpy(dtype=float)
        return reml(
            cross_products(
                values - values.mean(),
                self.fixed_matrix(),
                self.estimable_codes(),
                readings=self.coupons["readings"].to_numpy(dtype=np.int64),
                within=self.within_square,
            )
        )

    def estimable_codes(self) -> dict[str, npt.NDArray[np.int64]]:
        """Codes of the random units whose variance can be estimated, shape (coupons,) each."""
        spare = {stage.unit for stage in self.strata.batches if stage.df}
        return {unit: codes for unit, codes in self.strata.codes.items() if unit in spare}

    @property
    def variances(self) -> dict[str, float]:
        """REML variance of each unit, from the furnace load down to the indent."""
        names = self.reml.state.data.names
        return dict(zip(names, self.reml.variances[0].tolist(), strict=True))

    @functools.cached_property
    def within_square(self) -> float:
        """Sum of squares of readings about their coupon means."""
        means = self.readings.groupby("coupon", sort=False)["value"].transform("mean")
        return float(((self.readings["value"] - means) ** 2).sum())

    @property
    def variance_components(self) -> pd.DataFrame:
        """Variance of each unit by REML, with an interval of its standard deviation.

        Returns
        -------
        DataFrame
            ``stratum, count, variance, sd, conf_low, conf_high``; the limits are those of the sd.
        """
        from quenchbook.fit.noise import sd_limits

        limits = sd_limits(self)
        rows = []
        for unit, variance in self.variances.items():
            low, high = limits.get(unit, (np.nan, np.nan))
            count = len(self.readings) if unit == "indent" else len(self.coupons)
            if unit in self.units:
                count = int(self.coupons[unit].nunique())
            rows.append((self.stratum_name(unit), count, variance, np.sqrt(variance), low, high))
        columns = ["stratum", "count", "variance", "sd", "conf_low", "conf_high"]
        return pd.DataFrame(rows, columns=columns)

    def fixed_matrix(self, frame: pd.DataFrame | None = None) -> Array:
        """Coded fixed columns for the coupons, or for other rows."""
        return self.terms.matrix(self.coupons if frame is None else frame)

    def residuals(self) -> Array:
        """Coupon values less the fixed part, shape (coupons,): loads and batches are still in."""
        fitted = self.fixed_matrix() @ self.precision.coefficients[:, 0]
        return np.asarray(self.coupons["value"].to_numpy(dtype=float) - fitted)

    def to_frame(self) -> pd.DataFrame:
        """Return the tests of all terms, as `tests` does."""
        return self.tests()

    def shown(self) -> Shown:
        """Which terms show an effect, then the tests and what they were judged on."""
        table = self.tests()[
            ["term", "stratum", "df", "df_error", "statistic", "p_value", "method"]
        ]
        own = table.dropna(subset=["p_value"])
        told = [
            self.term_word(name) for name in own.loc[own["p_value"] < 1 - self.confidence, "term"]
        ]
        level = f"{100 * (1 - self.confidence):g} %"
        if own.empty:
            finding = f"{self.quantity_word}: no term can be tested."
        elif told:
            finding = f"{self.quantity_word} changes with {listed(told)} (tests at {level})."
        else:
            finding = f"{self.quantity_word}: no term shows an effect (tests at {level})."
        listings = {"Coupons": self.coupons}
        return Shown(
            finding, table, (self.units_ladder(), *self.notes),
            (f"Tests: {self.method_words()}.",), listings,
        )  # fmt: skip

    @property
    def quantity_word(self) -> str:
        """What was measured, as a sentence begins with it: ``Hardness``."""
        if self.study is None:
            return self.response
        return capital(self.study.response(self.response).quantity)

    def methods_used(self) -> tuple[str, ...]:
        """Names of the methods behind its tests and variances, as `quenchbook.cite` knows them."""
        return (*dict.fromkeys(self.method_of(name) for name in self.terms.names), "reml")

    def method_words(self) -> str:
        """Methods of the tests in print."""
        methods = dict.fromkeys(self.method_of(name) for name in self.terms.names)
        return listed([METHOD_WORDS.get(method, method) for method in methods])

    def __repr__(self) -> str:
        count = len(self.terms.names)
        return f"<MixedModel {self.response}: {len(self.coupons)} coupons, {count} terms>"


def interval_frame(model: MixedModel, rows: Array, confidence: float) -> pd.DataFrame:
    """Estimates of linear functions: ``estimate, std_error, df, conf_low, conf_high``."""
    estimate, std_error, df = model.estimates(rows)
    half = t_limit(df, confidence) * std_error
    return pd.DataFrame(
        {
            "estimate": estimate,
            "std_error": std_error,
            "df": df,
            "conf_low": estimate - half,
            "conf_high": estimate + half,
        }
    )
