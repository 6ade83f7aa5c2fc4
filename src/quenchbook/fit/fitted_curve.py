"""A curve of a fitted model along one factor, with the noise of all strata."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from quenchbook.errors import EstimabilityError, with_suggestion
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.precision import Precision
from quenchbook.fit.strata import Strata, strata_of
from quenchbook.fit.stratum_covariance import NoisyRows, noisy_rows, stratum_covariance
from quenchbook.study.factors import Factor, Level, plural
from quenchbook.study.terms import Array, Terms
from quenchbook.units import number_text, with_unit

LEAST_DF: Final = 2
"""Spare units of the stratum of the curve below which nothing is told."""

CHECKABLE: Final = 4
"""Settings from which a quadratic can be checked by what it leaves over."""

CUBIC_FROM: Final = 5
"""Settings from which a common cubic is given as a second curve."""


@dataclass(frozen=True, eq=False)
class FittedCurve:
    """Polynomials of one or two curves along a factor, in ``x = (place - centre)/half range``.

    Attributes
    ----------
    noise : NoisyRows
        Coefficients of 1, x, x^2 (and x^3): of one curve, or of two, one after the other.
    degree : int
    centre, half : float
        Middle and half of the tested range [storage unit of the factor].
    along : str
    factor : Factor or None
        None for a data frame.
    settings : int
        How many settings were planned.
    unit_df : int
        Spare units of the stratum of the factor (furnace loads).
    unit_word : str
        That unit in print, plural.
    confidence : float
    at : mapping of factor to level
        Where the (first) curve is taken.
    model : MixedModel or None
        Model it was taken from, for figures.
    untold : tuple of str
        Units in print whose noise is in the values of the curve, not in its slopes, and cannot be
        told: there is no height then.
    """

    noise: NoisyRows
    degree: int
    centre: float
    half: float
    along: str
    factor: Factor | None
    settings: int
    unit_df: int
    unit_word: str
    confidence: float = 0.95
    at: Mapping[str, Level] = field(default_factory=dict)
    model: MixedModel | None = None
    untold: tuple[str, ...] = ()

    @property
    def low(self) -> float:
        """Lowest setting that was tried."""
        return self.centre - self.half

    @property
    def high(self) -> float:
        """Highest setting that was tried."""
        return self.centre + self.half

    def x_of(self, places: Array) -> Array:
        """Places on the scale of the polynomials."""
        return (np.asarray(places, dtype=float) - self.centre) / self.half

    def value_rows(self, x: Array) -> Array:
        """Weights of the value at places, shape (places, coefficients)."""
        return np.stack([x**power for power in range(self.degree + 1)], axis=-1)

    def slope_rows(self, x: Array) -> Array:
        """Weights of the slope at places, for one unit of x."""
        powers = range(1, self.degree + 1)
        steep = [power * x ** (power - 1) for power in powers]
        return np.stack([np.zeros_like(x), *steep], axis=-1)

    def bend_row(self) -> Array:
        """Weights of the coefficient of x^2, shape (1, coefficients)."""
        return np.eye(self.degree + 1)[2:3]

    def place_word(self, place: float) -> str:
        """Place in print, whole degrees: ``990 °C``."""
        if self.factor is None:
            return number_text(place, 0 if self.half >= 5 else 2)
        if self.half >= 5 and self.factor.dimension == "temperature":
            return self.factor.printed.place(place)
        return self.factor.word(float(round(place)) if self.half >= 5 else place)

    def range_word(self, low: float, high: float) -> str:
        """Both ends of a range of places, with the unit once: ``980 to 996 °C``."""
        first, last = self.place_word(low), self.place_word(high)
        if self.factor is None or not self.factor.unit:
            return f"{first} to {last}"
        if self.factor.printed.other is not None:
            return self.factor.printed.place_range(low, high, 0 if self.half >= 5 else 1)
        return f"{first.removesuffix(with_unit('', self.factor.unit))} to {last}"


def _along_variable(model: MixedModel, along: str) -> tuple[float, float, int]:
    """Middle, half range and count of the settings; refuses what is not a quadratic curve."""
    variable = model.terms.variable(along)
    if variable.degree < 2 or along not in model.terms.names:
        raise EstimabilityError(
            f"{model.term_word(along)} is not analysed as a quadratic curve, so it has no peak. "
            'Declare shape = "quadratic" with three or more levels (better four or five).'
        )
    levels = [float(level) for level in variable.levels]
    unit = model.strata.term_stage[along]
    spare = model.strata.stage(unit).df
    if spare < LEAST_DF:
        word = plural(model.unit_word(unit))
        raise EstimabilityError(
            f"Only {spare} spare {word if spare != 1 else model.unit_word(unit)} beyond what the "
            f"curve takes: with fewer than {LEAST_DF} the noise of {word} cannot be told, and no "
            f"place either. Run more {word}."
        )
    middle = (min(levels) + max(levels)) / 2
    settings = int(model.data.planned[variable.column].nunique())
    return middle, (max(levels) - min(levels)) / 2, settings


def polynomial_rows(
    terms: Terms,
    along: str,
    at: Mapping[str, Level],
    centre: float,
    half: float,
    degree: int,
    coded: Terms | None = None,
) -> Array:
    """Coefficients of 1, x, x^2 ... of a mean curve as functions of the model's coefficients.

    Parameters
    ----------
    terms : Terms
        Give the even mix of the other factors.
    along : str
    at : mapping of factor to level
        Where the curve is taken.
    centre, half : float
    degree : int
    coded : Terms, optional
        As in `mean_rows`.

    Returns
    -------
    ndarray, shape (degree + 1, coefficients)
    """
    x = np.linspace(-1.0, 1.0, degree + 1)
    levels: dict[str, Sequence[Level]] = {name: (level,) for name, level in at.items()}
    levels[along] = [float(place) for place in centre + half * x]
    rows, _ = mean_rows(terms, [along, *at], levels, coded=coded)
    if len(rows) != degree + 1:
        raise EstimabilityError(f"The curve along {along} cannot be taken there.")
    return np.asarray(np.linalg.solve(np.vander(x, increasing=True), rows))


def _checked_levels(model: MixedModel, at: Mapping[str, Level]) -> None:
    for name, level in at.items():
        variable = model.terms.variable(name)
        if not variable.degree and level not in variable.levels:
            words = f"{name} {level!r} was not tried; levels are "
            words += f"{', '.join(map(str, variable.levels))}."
            raise EstimabilityError(with_suggestion(words, level, variable.levels))


@dataclass(frozen=True, eq=False)
class CurveModel:
    """A fixed part coded for curves: strata, mean squares, and where the mix comes from.

    Attributes
    ----------
    mix : Terms
    coded : Terms
    strata : Strata
    precision : Precision
    degree : int
    """

    mix: Terms
    coded: Terms
    strata: Strata
    precision: Precision
    degree: int = 2


def primary_curves(model: MixedModel) -> CurveModel:
    """The model as it was declared."""
    return CurveModel(model.terms, model.terms, model.strata, model.precision)


def _with_terms(model: MixedModel, coded: Terms, degree: int) -> CurveModel:
    strata = strata_of(model.coupons, coded, model.units, planned=model.data.planned)
    if strata.dropped:
        lost = ", ".join(model.term_word(name) for name in strata.dropped)
        raise EstimabilityError(f"The curve cannot be refitted: {lost} cannot be estimated.")
    precision = Precision(strata, model.coupons["value"].to_numpy(dtype=float))
    return CurveModel(model.terms, coded, strata, precision, degree)


def one_curvature(terms: Terms, along: str, factor: str) -> Terms:
    """Terms in which all levels of a factor share one curvature along another factor."""
    line = f"{along} (line)"
    own = replace(terms.variable(along), name=line, degree=1)
    names = tuple(
        ":".join(line if part == along else part for part in name.split(":"))
        if {along, factor} <= set(name.split(":"))
        else name
        for name in terms.names
    )
    return replace(terms, variables=(*terms.variables, own), names=names)


def common_curvature(model: MixedModel, along: str, factor: str) -> CurveModel:
    """Refit with one curvature for all levels of a factor.

    Raises
    ------
    EstimabilityError
        If factor and curve were not analysed together: then the curves are parallel by assumption.
    """
    together = any({along, factor} <= set(name.split(":")) for name in model.terms.names)
    if not together:
        pair = model.term_word(f"{along}:{factor}")
        why = next(
            (why for name, why in model.strata.dropped.items()
             if {along, factor} == set(name.split(":"))), "",
        )  # fmt: skip
        raise EstimabilityError(
            f"The curves of {model.term_word(factor)} are parallel by assumption, so no shift can "
            f"be told: {pair} was not analysed"
            + (f" ({why})." if why else ".")
            + f' Add "{along}:{factor}" to the combinations of the response.'
        )
    return _with_terms(model, one_curvature(model.terms, along, factor), 2)


def common_cubic(model: MixedModel, along: str) -> CurveModel:
    """Refit with a cubic part that all curves share."""
    own = replace(model.terms.variable(along), name=f"{along} (cube)", degree=3, first_power=3)
    blocks = [name for name in model.terms.names if name in model.terms.blocks]
    names = tuple(name for name in model.terms.names if name not in blocks)
    coded = replace(
        model.terms,
        variables=(*model.terms.variables, own),
        names=(*names, own.name, *blocks),
    )
    return _with_terms(model, coded, 3)


def curve_of(
    model: MixedModel,
    along: str,
    places: Sequence[Mapping[str, Level]] = ({},),
    *,
    curves: CurveModel | None = None,
    weights: Array | None = None,
    confidence: float | None = None,
) -> FittedCurve:
    """Take one curve, or several at once, from a model.

    Parameters
    ----------
    model : MixedModel
    along : str
        Factor analysed as a quadratic.
    places : sequence of mapping of factor to level
        One for each curve; other factors are averaged evenly.
    curves : CurveModel, optional
        The declared model when left out.
    weights : ndarray, optional
        Functions of the stacked polynomial coefficients to take in their place.
    confidence : float, optional

    Returns
    -------
    FittedCurve

    Raises
    ------
    EstimabilityError
        If the factor is no quadratic, there are too few spare units, or a noise is not known.
    """
    centre, half, settings = _along_variable(model, along)
    own = curves or primary_curves(model)
    for at in places:
        _checked_levels(model, at)
    rows = np.concatenate(
        [polynomial_rows(own.mix, along, at, centre, half, own.degree, own.coded) for at in places]
    )
    values = np.arange(len(rows)) % (own.degree + 1) == 0
    if weights is not None:
        rows = weights @ rows
        values = np.zeros(len(rows), dtype=bool)
    covariance = stratum_covariance(own.strata)
    if blind := covariance.unknown_units(rows[~values]):
        words = " and ".join(plural(model.unit_word(unit)) for unit in blind)
        raise EstimabilityError(
            f"The noise of {words} counts here and cannot be told: none is left over beyond the "
            f"settings. Run more {words}."
        )
    factor = model.study.factor(along) if model.study is not None else None
    unit = model.strata.term_stage[along]
    df = own.strata.stage(unit).df
    if df < LEAST_DF:
        raise EstimabilityError(
            f"Only {df} spare {plural(model.unit_word(unit))} for this curve; it takes {LEAST_DF}."
        )
    return FittedCurve(
        noise=noisy_rows(covariance, own.precision, rows),
        degree=own.degree,
        centre=centre,
        half=half,
        along=along,
        factor=factor,
        settings=settings,
        unit_df=df,
        unit_word=plural(model.unit_word(unit)),
        confidence=confidence or model.confidence,
        at=dict(places[0]),
        model=model,
        untold=tuple(
            plural(model.unit_word(unit)) for unit in covariance.unknown_units(rows[values])
        )
        if values.any()
        else (),
    )
