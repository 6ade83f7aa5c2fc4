"""Response against the temper, and which temper gives a wanted value.

The curve is planned, not chosen by the data: a straight line between two tempers, a quadratic from
three on (never forced to fall: a low temper may raise hardness, and an alloy steel hardens again
near 500 °C), with a cubic beside it from five on. Where the hold differs too, temper and hold can
be put on one axis, the tempering parameter.

Which temper gives a value is answered by inverting a test: every temper at which the mean is not
told from the value at the confidence of the study. So an end may be open, and the set empty or in
pieces. The noise is that of the strata which the mean carries, temper batches among them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from quenchbook.errors import EstimabilityError
from quenchbook.fit.estimate_words import value_words
from quenchbook.fit.fitting import fitted_model
from quenchbook.fit.inversion import excess_runs, with_open_ends
from quenchbook.fit.mean_rows import mean_rows
from quenchbook.fit.mixed import MixedModel, interval_frame
from quenchbook.metallurgy.tempering import HOURS_CONSTANT, tempering_parameter
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level
from quenchbook.study.terms import Array, Variable

PARAMETER: Final = "tempering_parameter_k"
CURVE_POINTS: Final = 31
_SET_POINTS: Final = 401
_NODES: Final = 17
_SHAPES: Final = {1: "a straight line", 2: "a quadratic", 3: "a cubic"}
_CUBIC_TEMPERS: Final = 5  # from here a cubic can be set beside the quadratic


@dataclass(frozen=True, eq=False, repr=False)
class TemperCurve(ShowsItself):
    """Fitted means along the temper.

    Attributes
    ----------
    model : MixedModel
        With the temper as a curve.
    along : str
        Variable of the axis.
    at : mapping of variable to level
        Where the curve holds; other variables are averaged evenly.
    degree : int
        1, 2 or 3.
    levels : ndarray, shape (tempers,)
        Tempers that were planned, rising, in the storage unit of the axis.
    notes : tuple of str
        What the curve assumes.
    """

    model: MixedModel
    along: str
    at: Mapping[str, Level]
    degree: int
    levels: Array
    notes: tuple[str, ...] = ()

    @property
    def limits(self) -> tuple[float, float]:
        """Lowest and highest temper that was planned."""
        return float(self.levels[0]), float(self.levels[-1])

    @property
    def shape_words(self) -> str:
        """Shape in print: ``a straight line``."""
        return _SHAPES[self.degree]

    def rows(self, x: ArrayLike) -> Array:
        """Weights of the coefficients in the mean at each place, shape (n, coefficients)."""
        places = np.atleast_1d(np.asarray(x, dtype=float))
        different, back = np.unique(places, return_inverse=True)
        held: dict[str, Sequence[Level]] = {name: (level,) for name, level in self.at.items()}
        held[self.along] = [float(place) for place in different]
        linear, first = mean_rows(self.model.terms, [self.along], held)
        column = self.model.terms.variable(self.along).column
        order = np.argsort(first[column].to_numpy(dtype=float))
        return np.asarray(linear[order][back])

    def to_frame(self, x: ArrayLike | None = None) -> pd.DataFrame:
        """Means along the temper, on the analysed scale.

        Returns
        -------
        DataFrame
            ``x, estimate, std_error, df, conf_low, conf_high``.
        """
        places = np.linspace(*self.limits, CURVE_POINTS) if x is None else np.atleast_1d(x)
        table = interval_frame(self.model, self.rows(places), self.model.confidence)
        return pd.concat([pd.DataFrame({"x": np.asarray(places, dtype=float)}), table], axis=1)

    def coupons(self) -> pd.DataFrame:
        """Coupons that the curve is about, adjusted to its mix of the other variables.

        Returns
        -------
        DataFrame
            ``coupon, furnace_load, temper_batch, x, value``; coupons at another level of a named
            variable of `at` are left out.
        """
        table = self.model.coupons
        columns = self.model.terms.variable(self.along).column
        there = table[columns].notna().to_numpy()
        for name, level in self.at.items():
            variable = self.model.terms.variable(name)
            if not variable.degree:
                there = there & (table[variable.column] == level).to_numpy()
        x = table[columns].to_numpy(dtype=float)
        fitted = np.full(len(table), np.nan)
        fitted[there] = self.rows(x[there]) @ self.model.precision.coefficients[:, 0]
        kept = [name for name in ("coupon", "furnace_load", "temper_batch") if name in table]
        frame = table[kept].assign(x=x, value=fitted + self.model.residuals())
        return frame[there].reset_index(drop=True)

    def __repr__(self) -> str:
        return f"<TemperCurve of {self.model.response}: {self.shape_words}>"

    def _at_levels(self) -> pd.DataFrame:
        return self.to_frame(self.levels).rename(columns={"x": self.along})

    def shown(self) -> Shown:
        """From where to where the mean goes, then the means at the planned tempers."""
        table = self._at_levels()
        first, last = (value_words(self.model, table.iloc[place]) for place in (0, -1))
        low, high = self.limits
        return Shown(
            f"{self.model.quantity_word} along {self.along}, {self.shape_words}: {first} at "
            f"{low:g}, {last} at {high:g}.",
            table, self.notes, confidence=self.model.confidence,
            unit="" if self.model.scale == "log" else self.model.unit,
        )  # fmt: skip


@dataclass(frozen=True, eq=False, repr=False)
class TemperSet(ShowsItself):
    """Tempers whose mean is not told from a wanted value.

    Attributes
    ----------
    curve : TemperCurve
    target : float
        Wanted value, on the analysed scale.
    pieces : tuple of (float, float)
        Ends of each piece of the set, rising; an end at a limit of the tempers is open, and given
        as infinite.
    estimates : tuple of float
        Where the fitted curve itself has the value, inside the limits.
    mean_less_target : float
        At the temper that comes nearest, fitted mean less wanted value; 0 where there is an
        estimate.
    nearest : float
        That temper.
    df : float
        Of the mean there.
    """

    curve: TemperCurve
    target: float
    pieces: tuple[tuple[float, float], ...]
    estimates: tuple[float, ...]
    mean_less_target: float
    nearest: float
    df: float

    @property
    def is_empty(self) -> bool:
        """Whether no temper inside the limits gives the value."""
        return not self.pieces

    @property
    def is_everything(self) -> bool:
        """Whether no temper inside the limits can be excluded."""
        return self.pieces == ((-np.inf, np.inf),)

    def to_frame(self) -> pd.DataFrame:
        """One row for each piece: ``conf_low, conf_high``; infinite where no limit was found."""
        return pd.DataFrame(list(self.pieces), columns=["conf_low", "conf_high"])

    def summary(self) -> str:
        """Say which tempers are in the set."""
        low, high = self.curve.limits
        wanted = f"Mean of {self.target:g}, tempers of {low:g} to {high:g} tried"
        if self.is_empty:
            return f"{wanted}: none gives it."
        if self.is_everything:
            return f"{wanted}: none is excluded."
        parts = [
            f"{bottom:.0f} to {top:.0f}" if np.isfinite([bottom, top]).all()
            else f"{top:.0f} or less" if np.isinf(bottom)
            else f"{bottom:.0f} or more"
            for bottom, top in self.pieces
        ]  # fmt: skip
        places = "".join(f"{place:.0f}, " for place in self.estimates)
        level = f"{self.curve.model.confidence * 100:g} % interval"
        return f"{wanted}: {places}{level} {'; '.join(parts)}."

    def __repr__(self) -> str:
        return f"<TemperSet {self.pieces} for {self.target:g}>"


def temper_curve(
    model: MixedModel,
    along: str = "temper",
    *,
    at: Mapping[str, Level] | None = None,
    hold: str = "",
    degree: int = 0,
) -> TemperCurve:
    """Fit the temper of a model as a curve.

    Parameters
    ----------
    model : MixedModel
    along : str
        Variable with the temper temperature (or its hold).
    at : mapping of variable to level
        Where the curve is wanted; other variables are averaged evenly.
    hold : str
        Variable with the hold [minutes]: then both are put on the tempering parameter, constant 20,
        and `along` and `hold` are replaced by it.
    degree : int
        1, 2 or 3; 0: a straight line for two tempers or where the study declares one, else a
        quadratic.

    Returns
    -------
    TemperCurve

    Raises
    ------
    EstimabilityError
        If there are fewer tempers than the curve needs, or the temper cannot be estimated.
    """
    at = dict(at or {})
    data = model.data
    known = {own.name: own for own in data.terms.variables}
    for name in (along, *at, *([hold] if hold else [])):
        if name not in known:
            model.terms.variable(name)  # says what there is
    if hold:
        data_model = _on_the_parameter(model, known[along], known[hold])
        data, at = data_model.data, {n: x for n, x in at.items() if n not in (along, hold)}
        known = {own.name: own for own in data.terms.variables}
    variable = known[along]
    if variable.inside is not None:
        raise EstimabilityError(f"{model.term_word(along)} is nested; it has no common curve.")
    levels = np.unique(np.asarray([float(x) for x in variable.levels]))
    run = np.unique(data.planned[variable.column].dropna().to_numpy(dtype=float))
    levels = levels[np.isin(levels, run)]
    if len(levels) < 2:
        raise EstimabilityError(
            f"There is one {model.term_word(along)} only: nothing tells what another would give. "
            "Plan two or more."
        )
    declared = variable.degree
    chosen = degree or (1 if len(levels) == 2 or declared == 1 else 2)
    if len(levels) <= chosen:
        raise EstimabilityError(
            f"{_SHAPES[chosen].capitalize()} needs {chosen + 1} tempers; there are {len(levels)}."
        )
    curved = replace(variable, degree=chosen, levels=tuple(float(x) for x in levels))
    terms = replace(
        data.terms,
        variables=tuple(curved if own.name == along else own for own in data.terms.variables),
    )
    fitted = fitted_model(replace(data, terms=terms), df_method=model.df_method)
    if along not in fitted.terms.names:
        why = fitted.strata.dropped.get(along, "it is not among the terms")
        raise EstimabilityError(f"{model.term_word(along)} could not be estimated: {why}.")
    curve = TemperCurve(fitted, along, at, chosen, levels)
    return replace(curve, notes=_assumed(curve, declared))


def temper_set(curve: TemperCurve, target: float) -> TemperSet:
    """Tempers whose mean is not told from a wanted value, by inverting the t test of the mean.

    In the set: every x inside the planned tempers with |mean(x) - target| <= t(df(x)) SE(x), each
    standard error and df from the strata of that mean.

    Parameters
    ----------
    curve : TemperCurve
    target : float
        On the analysed scale.

    Raises
    ------
    EstimabilityError
        If a stratum that the mean needs has no error df.
    """
    from scipy.interpolate import CubicSpline

    low, high = curve.limits
    nodes = np.linspace(low, high, _NODES)
    table = curve.to_frame(nodes)
    half = (table["conf_high"] - table["conf_low"]).to_numpy() / 2
    if not np.isfinite(half).all():
        raise EstimabilityError(
            "The noise of a mean cannot be told here: every unit of a stratum it needs is used up "
            "by the settings. Two temper batches and two furnace loads for each setting make it "
            "possible."
        )
    # the mean is a polynomial, and the half width is smooth: few of it are enough
    means = np.polynomial.Polynomial.fit(nodes, table["estimate"].to_numpy(), curve.degree)
    widths = CubicSpline(nodes, np.log(np.maximum(half, 1e-300)))

    def excess(x: Array) -> Array:
        return np.asarray(np.abs(means(x) - target) - np.exp(widths(x)))

    roots = (means - target).roots()
    real = roots.real[np.abs(roots.imag) <= 1e-9 * (high - low)]
    estimates = sorted(float(x) for x in real if low < x < high)
    grid = np.linspace(low, high, _SET_POINTS)
    pieces = with_open_ends(excess_runs(excess, grid, known=estimates), low, high)
    gap = means(grid) - target
    place = int(np.argmin(np.abs(gap)))
    return TemperSet(
        curve, float(target), tuple(pieces), tuple(estimates),
        0.0 if estimates else float(gap[place]), float(grid[place]),
        float(np.interp(grid[place], nodes, table["df"])),
    )  # fmt: skip


def cubic_beside(curve: TemperCurve) -> TemperCurve | None:
    """Same means with a cubic, as a second opinion; None below five tempers."""
    if curve.degree != 2 or len(curve.levels) < _CUBIC_TEMPERS:
        return None
    return temper_curve(curve.model, curve.along, at=curve.at, degree=3)


def _on_the_parameter(model: MixedModel, temper: Variable, hold: Variable) -> MixedModel:
    """Same data with temper and hold replaced by the tempering parameter."""
    data = model.data

    def with_parameter(frame: pd.DataFrame) -> pd.DataFrame:
        hours = frame[hold.column].to_numpy(dtype=float) / 60
        found = tempering_parameter(frame[temper.column], hours, constant=HOURS_CONSTANT)
        return frame.assign(**{PARAMETER: np.round(found, 6)})

    coupons, planned = with_parameter(data.coupons), with_parameter(data.planned)
    levels = tuple(float(x) for x in np.unique(planned[PARAMETER]))
    own = Variable(temper.name, PARAMETER, levels, degree=2)
    terms = replace(
        data.terms,
        variables=tuple(
            own if v.name == temper.name else v for v in data.terms.variables if v.name != hold.name
        ),
        names=tuple(n for n in data.terms.names if hold.name not in n.split(":")),
    )
    return replace(model, data=replace(data, coupons=coupons, planned=planned, terms=terms))


def _assumed(curve: TemperCurve, declared: int) -> tuple[str, ...]:
    """What the curve takes for granted."""
    model, count = curve.model, len(curve.levels)
    word = model.term_word(curve.along)
    notes = []
    if count == 2:
        notes.append(f"Two {word} levels: only a straight line between them can be told.")
    elif curve.degree == 1 and declared == 1:
        notes.append(f"The {word} enters as a straight line, as the study declares.")
    elif declared == 0:
        notes.append(
            f"The {word} enters as {curve.shape_words} here; elsewhere its levels are compared as "
            "levels."
        )
    for name in curve.at:
        if not any({curve.along, name} <= set(term.split(":")) for term in model.terms.names):
            notes.append(
                f"That the {word} acts alike at every {model.term_word(name)} was assumed."
            )
    mixed = [
        model.term_word(v.name)
        for v in model.terms.variables
        if v.name not in (curve.along, *curve.at) and v.name not in model.terms.blocks
    ]
    if mixed:
        notes.append(f"Over an even mix of {', '.join(mixed)}.")
    tests = model.tests().set_index("term")["p_value"]
    for term in model.terms.names:
        parts = set(term.split(":"))
        other = parts - {curve.along}
        if curve.along in parts and len(parts) == 2 and not other & set(curve.at):
            (name,) = other
            if tests.get(term, 1.0) < 1 - model.confidence:
                notes.append(
                    f"The {word} acts differently with {model.term_word(name)}: ask at one level "
                    "of it."
                )
    return tuple(notes)
