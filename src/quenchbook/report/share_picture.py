"""The small figure of a summary: the coupons behind the answer that comes first."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd

from quenchbook.errors import EstimabilityError
from quenchbook.findings.answers import Analysis, AnyFinding, AnyQuestion
from quenchbook.findings.statements import interval_words
from quenchbook.findings.verdicts import TermFinding
from quenchbook.fit.curves import response_curves
from quenchbook.fit.means import adjusted_values, marginal_means
from quenchbook.fit.mixed import MixedModel
from quenchbook.fit.peaks import PeakPlace
from quenchbook.plots.second_unit import axis_words
from quenchbook.plots.share_words import SmallPicture
from quenchbook.study.definition import Response, Study
from quenchbook.study.factors import Factor, Level, route_key
from quenchbook.units import capital

_MOST_LEVELS = 6  # levels that stand apart in a small figure
_COLUMNS = ["what", "group", "x", "value", "conf_low", "conf_high", "furnace_load", "coupon"]
_COLD_ROUTES = ("none", "freezer", "dry_ice", "liquid_nitrogen")


def share_picture(analysis: Analysis, own: AnyFinding) -> SmallPicture | None:
    """Small figure of one answer: curves of what it compares, or the coupons of each level.

    Parameters
    ----------
    analysis : Analysis
    own : finding
        The answer.

    Returns
    -------
    SmallPicture or None
        None where the answer is about nothing that can be drawn small.
    """
    study, model = analysis.study, analysis.models[own.response]
    names = [variable.name for variable in model.terms.variables]
    if (picture := _along_levels(analysis, model, own)) is not None:
        return picture
    for along, factor, levels in _views(analysis, own):
        if any(name and name not in names for name in (along, factor)):
            continue
        try:
            if along:
                return _curves(analysis, model, own, along, factor, levels)
            if factor:
                return _levels(model, study, study.factor(factor), levels)
        except EstimabilityError:
            continue
    return None


def _along_levels(analysis: Analysis, model: MixedModel, own: AnyFinding) -> SmallPicture | None:
    """Means along a factor that has no curve, at the one level that the question asks about."""
    study = analysis.study
    question = next((one for one in study.trade_questions if one.key == own.key), None)
    along = study.factor(question.along) if question is not None and question.along else None
    if question is None or along is None or along.shape != "levels" or not question.factor:
        return None
    try:
        return _levels(model, study, along, along.levels, only=(question.factor, question.level))
    except EstimabilityError:
        return None


def _views(analysis: Analysis, own: AnyFinding) -> list[tuple[str, str, tuple[Level, ...]]]:
    """What can be drawn, best first: factor of the curves, factor compared, its levels."""
    study = analysis.study
    if isinstance(own, TermFinding):
        return [("", name, study.factor(name).levels) for name in own.term.split(":")]
    every: tuple[AnyQuestion, ...] = (*study.questions, *study.trade_questions)
    question = next((one for one in every if one.key == own.key), None)
    if question is None:
        return []
    curved = [f.name for f in study.factors if f.is_numeric and f.shape != "levels"]
    along = getattr(question, "along", "")
    factor = question.factor
    if along and along not in curved:  # curves along another factor would show nothing of it
        return [("", along, study.factor(along).levels)]
    levels: tuple[Level, ...] = (question.against, question.level)
    views: list[tuple[str, str, tuple[Level, ...]]] = []
    if question.at and (not factor or factor in curved):
        place, level = next(iter(question.at.items()))  # one curve, at the place that was asked for
        if not study.factor(place).is_numeric and (factor or along) in curved:
            views.append((factor or along, place, (level,)))
    if factor and factor not in curved and not study.factor(factor).is_numeric:
        views += [(name, factor, levels) for name in ((along,) if along in curved else curved)]
    if factor in curved or (along in curved and not factor):
        views.append((factor if factor in curved else along, "", ()))
    shown = factor or along
    if shown:
        views.append(("", shown, levels if factor else study.factor(shown).levels))
    return views


def _curves(
    analysis: Analysis, model: MixedModel, own: AnyFinding, along: str, group: str,
    levels: Sequence[Level],
) -> SmallPicture:  # fmt: skip
    study = analysis.study
    x, by = study.factor(along), study.factor(group) if group else None
    curves = response_curves(model, along, group or None)
    wanted: list[Level] = list(levels) if by else [""]
    groups = [(str(level), by.word(level) if by else "", _style(by, level)) for level in wanted]
    line = curves.curve.rename(columns={"estimate": "value"}).assign(what="curve")
    coupons = curves.coupons.assign(what="coupon")
    data = pd.concat([line, coupons], ignore_index=True)
    data = data[data["group"].isin(wanted)]
    peaks = _peaks(analysis, own.response, along, group, wanted)
    count = coupons.loc[coupons["group"].isin(wanted), "coupon"].nunique()
    response = study.response(own.response)
    return SmallPicture(
        y_title=axis_words(curves.response_title, response.printed),
        x_title=axis_words(curves.x_title, x.printed),
        is_curve=True,
        ticks=tuple((repr(float(level)), _number(x, level)) for level in x.levels),
        ticks_below=_below(x, x.levels),
        y_unit=_unit_in_both(response),
        groups=tuple(groups),
        data_csv=_csv(data),
        peaks=tuple(peaks),
        alt=_alt(study, curves.response_title, x.title, [words for _, words, _ in groups], count),
        reading=_reading(study, model, "curve", data)
        + (" Bar below: interval of a peak." if peaks else ""),
        loads=_side_by_side(study),
    )


def _peaks(
    analysis: Analysis, response: str, along: str, group: str, levels: Sequence[Level]
) -> list[tuple[str, ...]]:
    """Peaks that the study asked for along this factor, of the groups that are drawn."""
    rows = []
    for level in levels:
        for question in analysis.study.trade_questions:
            at = {group: level} if group else {}
            if (question.asks, question.response, question.along) != ("peak", response, along):
                continue
            found = next((f for f in analysis.findings if f.key == question.key), None)
            place = getattr(found, "result", None)
            if question.at == at and isinstance(place, PeakPlace) and math.isfinite(place.estimate):
                ends = (place.estimate, place.conf_low, place.conf_high)
                rows.append((str(level), *(repr(float(end)) for end in ends)))
    return rows


def _levels(
    model: MixedModel, study: Study, factor: Factor, levels: Sequence[Level],
    *, only: tuple[str, Level] | None = None,
) -> SmallPicture:  # fmt: skip
    """Means of single levels with their coupons; `only` is a factor and its one level."""
    response, coupons = study.response(model.response), model.coupons
    at = {only[0]: only[1]} if only else {}
    values = adjusted_values(model, [factor.name, *at])
    if len(levels) > _MOST_LEVELS:
        raise EstimabilityError(f"{factor.title} has more levels than a small figure can show.")
    if factor.is_numeric:
        numbers = coupons[factor.column].to_numpy(dtype=float)
        every = np.array([float(level) for level in factor.levels])
        near = np.abs(numbers[:, None] - every[None, :]).argmin(axis=1)
        of = np.where(np.isfinite(numbers), near, -1)
        own = [factor.levels[place] if place >= 0 else None for place in of]
        levels = sorted(levels, key=float)
    else:
        own = coupons[factor.column].tolist()
        levels = [level for level in factor.levels if level in levels]
    if only:
        kept = (coupons[study.factor(only[0]).column] == only[1]).tolist()
        own = [level if keep else None for level, keep in zip(own, kept, strict=True)]
    means = marginal_means(model, [factor.name], at=at).to_frame().set_index(factor.column)
    rows: list[dict[str, object]] = []
    for place, level in enumerate(levels):
        mean = means.loc[level]
        rows.append(
            {"what": "mean", "group": str(level), "x": place, "value": mean["estimate"],
             "conf_low": mean["conf_low"], "conf_high": mean["conf_high"]}
        )  # fmt: skip
        for index, found in enumerate(own):
            if found == level:
                rows.append(
                    {"what": "coupon", "group": str(level), "x": place, "value": values[index],
                     "furnace_load": coupons["furnace_load"].iloc[index],
                     "coupon": coupons["coupon"].iloc[index]}
                )  # fmt: skip
    data = pd.DataFrame(rows, columns=_COLUMNS)
    if model.scale == "log":
        names = ["value", "conf_low", "conf_high"]
        data[names] = np.exp(data[names].astype(float))
    words = [factor.word(level) for level in levels]
    below = _below(factor, levels)
    title = capital(factor.title) if not below else axis_words(factor.axis_title, factor.printed)
    marks = [_number(factor, level) for level in levels] if below else words
    one = study.factor(only[0]).word(only[1]) if only else ""
    return SmallPicture(
        y_title=axis_words(response.axis_title, response.printed),
        x_title=", ".join(filter(None, (title, one))),
        is_curve=False,
        ticks=tuple((str(place), word) for place, word in enumerate(marks)),
        ticks_below=below,
        y_unit=_unit_in_both(response),
        groups=tuple(
            (str(level), word, _style(factor, level))
            for level, word in zip(levels, words, strict=True)
        ),
        data_csv=_csv(data),
        alt=_alt(
            study,
            response.axis_title,
            " with ".join(filter(None, (factor.title, one))),
            words,
            len(data) - len(levels),
        ),
        reading=_reading(study, model, "mean", data),
        loads=_side_by_side(study),
    )


def _style(factor: Factor | None, level: Level) -> str:
    """Name of the style of a level: a cold route, or its number among all levels."""
    if factor is None:
        return "1 of 1"
    if factor.name == "cold_route":
        keys = [route_key(own) for own in factor.levels]
        if set(keys) <= set(_COLD_ROUTES) and len(set(keys)) == len(keys):
            return route_key(level)
    return f"{list(factor.levels).index(level) + 1} of {len(factor.levels)}"


def _number(factor: Factor, level: Level) -> str:
    """Words of a tick; the unit stands in the title of the axis."""
    return factor.word(level) if factor.dimension == "time" else f"{round(float(level), 1):g}"


def _below(factor: Factor, levels: Sequence[Level]) -> tuple[str, ...]:
    """Levels in the other unit, for a second line under the ticks; empty where there is none."""
    if factor.printed.other is None:
        return ()
    return tuple(factor.printed.beside_place(round(float(level), 1)) for level in levels)


def _unit_in_both(response: Response) -> str:
    """Unit of a response that is printed with another one; empty for any other."""
    return response.unit if response.printed.other is not None else ""


def _csv(data: pd.DataFrame) -> str:
    return data.reindex(columns=_COLUMNS).to_csv(index=False, lineterminator="\n")


def _reading(study: Study, model: MixedModel, what: str, data: pd.DataFrame) -> str:
    coupon, load = study.unit_word("coupon"), study.unit_word("furnace_load")
    own = data[data["what"] == "coupon"]
    tied = f"thin lines tie {study.unit_word('coupon', 2)} of one {load}"
    lines = f"; {tied}" if own["furnace_load"].duplicated().any() else ""
    beside = f" {capital(_side_by_side(study))}." if own["furnace_load"].nunique() > 1 else ""
    return (
        f"A mark is a {coupon}{lines}.{beside} "
        f"Band: {interval_words(model.confidence)} of the {what}."
    )


def _side_by_side(study: Study) -> str:
    return f"{study.unit_word('furnace_load', 2)} side by side"


def _alt(study: Study, response: str, along: str, groups: Sequence[str], count: int) -> str:
    quantity = response.partition(",")[0]
    named = [word for word in groups if word]
    of = f" for {', '.join(named)}" if named else ""
    return f"{quantity} against {along}{of}, with {count} {study.unit_word('coupon', count)}"
