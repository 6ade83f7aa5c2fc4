"""What ten times as long a delay does to the response, judged by the pure error of its units.

The delays stay levels: the noise is what units at the same delay differ by (pure error), so the
slope is the average change for each decade whatever the true shape. With one unit at each delay
only a straight line leaves something to judge by; then its own residual is used, and it is said.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.fit.delay_lines import DelayLines, delay_lines
from quenchbook.fit.delay_rows import decade_row, routes_asked
from quenchbook.fit.effective_delays import EffectiveDelays, effective_delays
from quenchbook.fit.estimate_words import difference_words
from quenchbook.fit.fitting import fitted_model
from quenchbook.fit.means import MarginalMeans
from quenchbook.fit.mixed import MixedModel
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.factors import Level, plural
from quenchbook.study.terms import Terms, Variable

_DECADES: Final = "delay_decades"
_TOUCHED: Final = 1e-12


@dataclass(frozen=True, eq=False, repr=False)
class DecadeChange(ShowsItself):
    """Mean change of the response for each tenfold delay.

    Attributes
    ----------
    contrast : MarginalMeans
        One row: the change for each decade (on the log scale of its logarithm), or the difference
        of two such changes.
    delays : EffectiveDelays
    routes : tuple
        Routes it is averaged over.
    at : mapping of factor to level
    change : mapping of factor to two levels
        The row is the change at the first less that at the second.
    by_line : bool
        Whether the noise is the residual of a straight line, for want of two units at a delay.
    notes : tuple of str
    """

    contrast: MarginalMeans
    delays: EffectiveDelays
    routes: tuple[Level, ...]
    at: Mapping[str, Level] = field(default_factory=dict)
    change: Mapping[str, tuple[Level, Level]] = field(default_factory=dict)
    by_line: bool = False
    notes: tuple[str, ...] = ()

    @property
    def model(self) -> MixedModel:
        """Model with the delays as levels (or as a line) that it comes from."""
        return self.contrast.model

    @functools.cached_property
    def lines(self) -> DelayLines:
        """A line for each route with the coupons behind it, for tables and figures."""
        return delay_lines(self.model, self.delays, confidence=self.contrast.confidence)

    def to_frame(self) -> pd.DataFrame:
        """Return the estimate at full precision.

        Returns
        -------
        DataFrame
            ``contrast, estimate, std_error, df, conf_low, conf_high, strata``.
        """
        return self.contrast.to_frame()

    def shown(self) -> Shown:
        """The change for each tenfold delay, then the table."""
        table = self.to_frame()
        title = self.delays.factor.title
        change = difference_words(self.model, table.iloc[0])
        return Shown(
            f"{self.model.quantity_word} changes by {change} for each tenfold {title}.",
            table, self.notes,
            (f"Judged on the noise of {table['strata'].iloc[0]}; {self.model.method_words()}.",),
            confidence=self.contrast.confidence,
            unit="" if self.model.scale == "log" else self.model.unit,
        )  # fmt: skip

    def __repr__(self) -> str:
        return f"<DecadeChange of {self.model.response} along {self.delays.factor.name}>"


def decade_change(
    model: MixedModel,
    along: str = "delay",
    *,
    at: Mapping[str, Level] | None = None,
    change: Mapping[str, tuple[Level, Level]] | None = None,
    confidence: float | None = None,
) -> DecadeChange:
    """Mean change of the response for each tenfold delay.

    Parameters
    ----------
    model : MixedModel
        Of a study.
    along : str
        Factor that is a time.
    at : mapping of factor to level, optional
        Where it is asked, such as one route; other factors are averaged evenly.
    change : mapping of factor to two levels, optional
        Ask instead how the change differs, first level less second.
    confidence : float, optional
        That of the model when left out.

    Returns
    -------
    DecadeChange

    Raises
    ------
    EstimabilityError
        If the records cannot tell it, with the reason.

    Notes
    -----
    Likeliest misuse: reading it as a law. It is the average over the delays that were run; between
    them the loss may come early, late or at once.
    """
    study = model.study
    if study is None:
        raise EstimabilityError(
            "A change for each decade needs a study: it says which factor is the delay, and "
            "[timetable] says how long the coupons take to get cold."
        )
    at, change = dict(at or {}), dict(change or {})
    delays = effective_delays(study, along)
    used, by_line, notes = delay_model(model, delays)
    for name in (*at, *change):
        used.terms.variable(name)
    parent = delays.factor.nested_in
    if change:
        (name, (first, second)), *_ = change.items()
        _check_together(used, along, name)
        ahead, behind = ({**at, name: level} for level in (first, second))
        row = decade_row(used.terms, delays, ahead) - decade_row(used.terms, delays, behind)
        routes = tuple(dict.fromkeys(r for x in (ahead, behind) for r in routes_asked(delays, x)))
    else:
        row, routes = decade_row(used.terms, delays, at), routes_asked(delays, at)
        if parent in at and not _together(used, along, parent):
            words = used.term_word(f"{along}:{parent}")
            notes = (*notes, f"The same for all routes by assumption: {words} was not analysed.")
    if not np.any(np.abs(row) > _TOUCHED):
        raise EstimabilityError(f"{delays.factor.title} could not be estimated.")
    contrast = MarginalMeans(
        grid=pd.DataFrame({"contrast": [f"{delays.factor.title}, each decade"]}),
        linear=row[None, :],
        model=used,
        confidence=confidence or model.confidence,
        notes=(*notes, *_mix_note(used, delays, routes, at, change), *delays.notes),
    )
    return DecadeChange(contrast, delays, routes, at, change, by_line, contrast.notes)


def delay_model(
    model: MixedModel, delays: EffectiveDelays
) -> tuple[MixedModel, bool, tuple[str, ...]]:
    """Model with the delays as levels, so that its noise is pure error; else as a line.

    Parameters
    ----------
    model : MixedModel
    delays : EffectiveDelays

    Returns
    -------
    model : MixedModel
    by_line : bool
        Whether the delay is a straight line on the logarithm, for want of spare units.
    notes : tuple of str
    """
    name = delays.factor.name
    variable = next((v for v in model.data.terms.variables if v.name == name), None)
    if variable is None:
        raise EstimabilityError(f"'{name}' is not in the model of {model.response}.")
    notes: tuple[str, ...] = ()
    used = model
    if variable.degree:
        used = levels_model(model, variable)
        notes = (
            f"{delays.factor.title.capitalize()} is taken as levels here, so that the noise is "
            "what units at the same delay differ by.",
        )
    if _spare(used, name):
        return used, False, notes
    reason = used.strata.dropped.get(name, "no unit is spare")
    line = _line_model(model, variable, delays)
    if not _spare(line, name):
        raise EstimabilityError(
            f"{delays.factor.title.capitalize()} cannot be judged for {model.response}: "
            f"{line.strata.dropped.get(name, reason)}."
        )
    units = plural(line.unit_word(line.strata.term_stage[name]))
    note = (
        f"No two {units} tell the noise at one {delays.factor.title}, so it is judged by how far "
        "they lie from a straight line on the logarithm of time; where the truth is no such line "
        "the interval is too wide."
    )
    return line, True, (*notes, note)


def levels_model(model: MixedModel, variable: Variable) -> MixedModel:
    """Model in which a numeric factor is taken as its declared levels."""
    named = replace(variable, degree=0, first_power=1)
    column = variable.column
    coupons = model.coupons.assign(**{column: model.data.planned[column]})
    return _with_variable(model, coupons, named)


def _line_model(model: MixedModel, variable: Variable, delays: EffectiveDelays) -> MixedModel:
    """Model in which the delay is a straight line in decades of the time until cold."""
    planned = model.data.planned
    minutes = pd.Series(np.nan, index=planned.index)
    for route in delays.routes:
        known = dict(zip(map(float, delays.factor.levels), delays.of(route), strict=True))
        there = planned[variable.parent] == route if variable.parent else minutes.isna()
        minutes = minutes.where(~there, planned[variable.column].map(known))
    coupons = model.coupons.assign(**{_DECADES: np.log10(minutes)})
    middle = tuple(float(x) for x in np.mean([delays.decades(r) for r in delays.routes], axis=0))
    return _with_variable(
        model, coupons, replace(variable, column=_DECADES, levels=middle, degree=1)
    )


def _with_variable(model: MixedModel, coupons: pd.DataFrame, variable: Variable) -> MixedModel:
    terms = model.data.terms
    variables = tuple(variable if v.name == variable.name else v for v in terms.variables)
    column = variable.column
    planned = model.data.planned.assign(**{column: coupons[column]})
    data = replace(
        model.data,
        coupons=coupons,
        planned=planned,
        terms=Terms(variables, terms.names, terms.blocks),
    )
    return fitted_model(data, df_method=model.df_method)


def _spare(model: MixedModel, name: str) -> bool:
    """Whether a term is in the model and its unit has error df."""
    return name in model.terms.names and model.strata.stage(model.strata.term_stage[name]).df > 0


def _together(model: MixedModel, one: str, other: str) -> bool:
    return any({one, other} == set(name.split(":")) for name in model.terms.names)


def _check_together(model: MixedModel, along: str, name: str) -> None:
    if _together(model, along, name):
        return
    pair = f"{along}:{name}"
    known = next((t for t in model.strata.dropped if set(t.split(":")) == {along, name}), "")
    raise EstimabilityError(
        f"Whether this differs with {model.term_word(name)} "
        + (
            f"could not be estimated: {model.strata.dropped[known]}."
            if known
            else f"was not part of the analysis of {model.response}: add "
            f'"{pair}" to its combinations.'
        )
    )


def _mix_note(
    model: MixedModel,
    delays: EffectiveDelays,
    routes: tuple[Level, ...],
    at: Mapping[str, Level],
    change: Mapping[str, tuple[Level, Level]],
) -> tuple[str, ...]:
    """What was averaged over."""
    own = delays.factor
    held = {own.name, *at, *change, *model.terms.blocks}
    mixed = [
        model.term_word(v.name) + (" with a delay" if v.name == own.nested_in else "")
        for v in model.terms.variables
        if v.name not in held and not (v.name == own.nested_in and len(routes) == 1)
    ]
    return (f"Over an even mix of {', '.join(mixed)}.",) if mixed else ()
