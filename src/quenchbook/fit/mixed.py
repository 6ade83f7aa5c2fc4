"""A fitted model: fixed part, strata, tests with the stratum named, variance components."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.precision import Precision
from quenchbook.fit.reml import RemlFit, cross_products, reml
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.fit.terms import Array, Terms, formula_terms, study_terms
from quenchbook.study.definition import Response, Scale, Study
from quenchbook.study.factors import UNIT_WORDS

if TYPE_CHECKING:
    from quenchbook.records.reading import Records

RANDOM_UNITS = ("furnace_load", "cold_batch", "temper_batch")


@dataclass(frozen=True, eq=False, repr=False)
class MixedModel:
    """One response with its fixed part and its strata.

    Attributes
    ----------
    response : str
        Column that was analysed.
    unit : str
        Unit of the response.
    scale : str
        ``linear`` or ``log``; on the log scale all estimates are natural logarithms.
    coupons : DataFrame
        One row for each coupon: units, factors as run, ``value`` (mean on the analysed scale),
        ``readings``.
    readings : DataFrame
        One row for each reading: ``coupon`` and ``value`` on the analysed scale.
    units : tuple of str
        Random units above the coupon.
    strata : Strata
    precision : Precision
    study : Study or None
    confidence : float
    notes : tuple of str
        What a reader must know: rows not used, terms that could not be estimated.
    """

    response: str
    unit: str
    scale: Scale
    coupons: pd.DataFrame
    readings: pd.DataFrame
    units: tuple[str, ...]
    strata: Strata
    precision: Precision
    study: Study | None = None
    confidence: float = 0.95
    notes: tuple[str, ...] = ()

    @property
    def terms(self) -> Terms:
        """Fixed terms that were estimated."""
        return self.strata.terms

    def unit_word(self, unit: str, count: int = 1) -> str:
        """Word for a unit in print."""
        if self.study is not None:
            return self.study.unit_word(unit, count)
        return (UNIT_WORDS.get(unit) or unit.replace("_", " ")) + ("s" if count != 1 else "")

    def term_word(self, term: str) -> str:
        """Term in print: ``temper by cold route``."""
        study = self.study
        titles = {f.name: f.title for f in study.factors} if study is not None else {}
        return " by ".join(titles.get(part) or part.replace("_", " ") for part in term.split(":"))

    def tests(self) -> pd.DataFrame:
        """F test of each term against the noise of its own unit.

        Returns
        -------
        DataFrame
            ``term, stratum, df, df_error, statistic, p_value, safety_factor, method``. A term whose
            stratum has no error df has nan for the last numbers.
        """
        rows = []
        for term in self.terms.names:
            unit = self.strata.term_stage[term]
            test = self.precision.test(term)
            place = self.strata.slices[term]
            row: dict[str, Any] = {"term": term, "stratum": unit, "df": place.stop - place.start}
            if test is None:
                row |= dict.fromkeys(("df_error", "statistic", "p_value", "safety_factor"), np.nan)
                row |= {"df_error": 0.0, "method": f"no test: no spare {self.unit_word(unit)}"}
            else:
                spare = self.strata.stage(unit).df
                classical = abs(test.safety[0] - 1) < 1e-6 and abs(test.df_error[0] - spare) < 1e-6
                row |= {
                    "df_error": float(test.df_error[0]),
                    "statistic": float(test.statistic[0]),
                    "p_value": float(test.p_value[0]),
                    "safety_factor": float(test.safety[0]),
                    "method": "classical stratum F" if classical else "stratum F on unit values",
                }
            rows.append(row)
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
        table = interval_frame(self.precision, np.eye(count), self.confidence)
        table.insert(0, "term", names)
        return table

    @functools.cached_property
    def reml(self) -> RemlFit:
        """Variance components by restricted maximum likelihood."""
        values = self.coupons["value"].to_numpy(dtype=float)
        return reml(
            cross_products(
                values - values.mean(),
                self.fixed_matrix(),
                self.random_codes(),
                readings=self.coupons["readings"].to_numpy(dtype=np.int64),
                within=self.within_square,
            )
        )

    def random_codes(self) -> dict[str, npt.NDArray[np.int64]]:
        """Codes of the random units that can be told from the coupon, shape (coupons,) each."""
        codes = {u: pd.factorize(self.coupons[u])[0].astype(np.int64) for u in self.units}
        return {u: c for u, c in codes.items() if 1 < c.max() + 1 < len(self.coupons)}

    @property
    def variances(self) -> dict[str, float]:
        """REML variance of each unit, from the furnace load down to the indent."""
        names = self.reml.state.data.names
        return dict(zip(names, self.reml.variances[0].tolist(), strict=True))

    @property
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
            rows.append((unit, count, variance, np.sqrt(variance), low, high))
        columns = ["stratum", "count", "variance", "sd", "conf_low", "conf_high"]
        return pd.DataFrame(rows, columns=columns)

    def fixed_matrix(self, frame: pd.DataFrame | None = None) -> Array:
        """Coded fixed columns for the coupons, or for other rows."""
        return self.terms.matrix(self.coupons if frame is None else frame)

    def residuals(self) -> Array:
        """Coupon values less the fixed part, shape (coupons,): loads and batches are still in."""
        fitted = self.fixed_matrix() @ self.precision.coefficients[:, 0]
        return np.asarray(self.coupons["value"].to_numpy(dtype=float) - fitted)

    def units_ladder(self) -> str:
        """Say how many readings, coupons and units there are, and what each factor is judged on."""
        counts = [
            (len(self.readings), "readings"),
            (len(self.coupons), self.unit_word("coupon", 2)),
        ]
        counts += [(int(self.coupons[u].nunique()), self.unit_word(u, 2)) for u in self.units]
        parts = [f"{count} {word}" for count, word in counts]
        judged = []
        for stage in self.strata.stages:
            own = [
                t
                for t, u in self.strata.term_stage.items()
                if u == stage.unit and ":" not in t and t != "day" and t in self.strata.slices
            ]
            if own:
                names = " and ".join(self.term_word(name) for name in own)
                judged.append(
                    f"{names} is judged on {self.unit_word(stage.unit, 2)} ({stage.df} df)"
                )
        return ", ".join(parts) + (": " + "; ".join(judged) if judged else "") + "."

    def summary(self) -> str:
        """Say what was fitted, then the tests."""
        table = self.tests()[["term", "stratum", "df", "df_error", "statistic", "p_value"]]
        return "\n".join([self.units_ladder(), table.to_string(index=False), *self.notes])

    def __repr__(self) -> str:
        count = len(self.terms.names)
        return f"<MixedModel {self.response}: {len(self.coupons)} coupons, {count} terms>"

    def _repr_html_(self) -> str:
        from html import escape

        words = "".join(f"<p>{escape(text)}</p>" for text in (self.units_ladder(), *self.notes))
        table = self.tests().round(4).to_html(index=False, border=0, na_rep="")
        return words + table


def interval_frame(precision: Precision, rows: Array, confidence: float) -> pd.DataFrame:
    """Estimates of linear functions: ``estimate, std_error, df, conf_low, conf_high``."""
    from scipy import special

    estimate, std_error, df = (part[:, 0] for part in precision.of(rows))
    half = special.stdtrit(df, (1 + confidence) / 2) * std_error
    return pd.DataFrame(
        {
            "estimate": estimate,
            "std_error": std_error,
            "df": df,
            "conf_low": estimate - half,
            "conf_high": estimate + half,
        }
    )


def mixed_model(
    data: Records | pd.DataFrame,
    response: str,
    study: Study | None = None,
    *,
    fixed: str | None = None,
    strata: Sequence[str] = (),
    scale: Scale = "linear",
    confidence: float = 0.95,
) -> MixedModel:
    """Fit one response, with the strata that the randomization gives.

    Parameters
    ----------
    data : Records or DataFrame
        Records of a study: the strata come from its coupon matrix and are never typed again. Or a
        plain data frame, one row for each reading, with `fixed` and `strata`.
    response : str
        Column of the response.
    study : Study, optional
        The study of the records; taken from them when left out.
    fixed : str, optional
        For a data frame: fixed part as a Wilkinson-Rogers formula.
    strata : sequence of str
        For a data frame: columns that name the random units (furnace loads, batches, coupons).
        Codes must be unique over the whole frame.
    scale : {"linear", "log"}
        For a data frame: analyse the values or their logarithms.
    confidence : float
        For a data frame: confidence level of intervals.

    Returns
    -------
    MixedModel

    Raises
    ------
    EstimabilityError
        If there is nothing to estimate from.
    """
    if isinstance(data, pd.DataFrame):
        return _from_frame(data, response, fixed or "", strata, scale, confidence)
    study = study or data.study
    return _from_records(data, study.response(response), study)


def _from_records(records: Records, response: Response, study: Study) -> MixedModel:
    readings = records.frame(response.name).dropna(subset=["value"])
    if readings.empty:
        raise EstimabilityError(f"There are no readings of {response.quantity} yet.")
    if response.scale == "log":
        readings = readings.assign(value=np.log(readings["value"]))
    coupons = _coupon_means(readings)
    terms = study_terms(study, response, coupons)
    units = tuple(unit for unit in RANDOM_UNITS if unit in coupons)
    planned = coupons.copy()
    for factor in study.factors:
        if f"{factor.column}_planned" in coupons:
            planned[factor.column] = coupons[f"{factor.column}_planned"]
    return _fitted(
        coupons,
        readings,
        terms,
        units,
        planned=planned,
        response=response.name,
        unit=response.unit,
        scale=response.scale,
        study=study,
        confidence=study.confidence,
        notes=(),
    )


def _coupon_means(readings: pd.DataFrame) -> pd.DataFrame:
    groups = readings.groupby("coupon", sort=False)
    coupons = groups.first().reset_index()
    coupons["value"] = groups["value"].mean().to_numpy()
    coupons["readings"] = groups["value"].size().to_numpy()
    return coupons


def _from_frame(
    frame: pd.DataFrame,
    response: str,
    fixed: str,
    strata: Sequence[str],
    scale: Scale,
    confidence: float,
) -> MixedModel:
    if missing := [name for name in (response, *strata) if name not in frame]:
        raise EstimabilityError(
            f"The data have no column {', '.join(missing)}. They have {', '.join(map(str, frame))}."
        )
    used = frame.dropna(subset=[response, *strata]).reset_index(drop=True)
    notes = []
    if len(used) < len(frame):
        notes.append(
            f"{len(frame) - len(used)} of {len(frame)} rows not used: blank {response} or unit."
        )
    terms = formula_terms(fixed, used)
    values = used[response].astype(float)
    readings = used.assign(value=np.log(values) if scale == "log" else values)
    repeated = _repeated_unit(readings, terms, strata)
    units = tuple(unit for unit in strata if unit != repeated)
    key = readings[repeated] if repeated else pd.RangeIndex(len(readings))
    readings = readings.assign(coupon=key)
    return _fitted(
        _coupon_means(readings),
        readings,
        terms,
        units,
        planned=None,
        response=response,
        unit="",
        scale=scale,
        study=None,
        confidence=confidence,
        notes=tuple(notes),
    )


def _repeated_unit(frame: pd.DataFrame, terms: Terms, strata: Sequence[str]) -> str | None:
    """Finest unit whose rows differ by nothing but the reading: its rows are averaged."""
    fixed = [variable.column for variable in terms.variables]
    for unit in sorted(strata, key=lambda name: -frame[name].nunique()):
        if frame[unit].nunique() == len(frame):
            continue
        others = [*fixed, *(name for name in strata if name != unit)]
        if not others or bool((frame.groupby(unit)[others].nunique() <= 1).all(axis=None)):
            return unit
    return None


def _fitted(
    coupons: pd.DataFrame,
    readings: pd.DataFrame,
    terms: Terms,
    units: tuple[str, ...],
    *,
    planned: pd.DataFrame | None,
    response: str,
    unit: str,
    scale: Scale,
    study: Study | None,
    confidence: float,
    notes: tuple[str, ...],
) -> MixedModel:
    strata = strata_of(coupons, terms, units, planned=planned)
    for term, reason in strata.dropped.items():
        notes = (*notes, f"Not estimated: {term.replace('_', ' ').replace(':', ' by ')}: {reason}.")
    return MixedModel(
        response=response,
        unit=unit,
        scale=scale,
        coupons=coupons,
        readings=readings,
        units=units,
        strata=strata,
        precision=Precision(strata, coupons["value"].to_numpy(dtype=float)),
        study=study,
        confidence=confidence,
        notes=notes,
    )
