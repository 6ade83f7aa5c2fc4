"""Which figure shows a result: the one place that knows both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import ReportError
from quenchbook.units import listed

if TYPE_CHECKING:
    from quenchbook.plots.drawing import Drawing

_DRAWN: Final[Mapping[str, str]] = {
    "CouponMatrix": "coupon_tiles:figure_coupon_matrix",
    "PlanningSweep": "sweep:figure_sweep",
    "CutList": "bar_drawing:figure_bars",
    "Timetable": "timetable:figure_timetable",
    "CertaintyCosts": "certainty:figure_certainty",
    "SteelPrior": "steel_prior:figure_steel_prior",
    "ResponseCurves": "curves:figure_response_curves",
    "FurnaceOrder": "furnace_order:figure_furnace_order",
    "NoiseBudget": "noise:figure_noise_budget",
    "DecadeChange": "delay:figure_delay",
    "EvidenceAnswer": "evidence:figure_evidence",
}
"""Results that a figure takes as they are, with its module in `plots` and its name."""

_ASKS: Final[Mapping[str, str]] = {
    "peak": "peaks:figure_peaks",
    "working_window": "peaks:figure_peaks",
    "target_window": "peaks:figure_peaks",
    "peak_shift": "peaks:figure_peaks",
    "curve_shift": "peaks:figure_peaks",
    "per_decade": "delay:figure_delay_findings",
    "half_loss": "delay:figure_delay_findings",
    "equal_hardness": "equal_hardness:figure_equal_hardness",
    "temper_for": "tempering:figure_temper",
}
"""Figures that take answers to questions about curves."""


def plot(result: Any, **options: Any) -> Drawing:
    """Draw the figure of a result.

    Parameters
    ----------
    result : object
        A plan, records, a model or another result of quenchbook.
    **options
        Those of the figure, such as ``day=2`` for a timetable.

    Returns
    -------
    Drawing
        The figure with its caption, its alternative text and the numbers behind it.

    Raises
    ------
    ReportError
        If results of this kind have no figure; it says which have one.

    Examples
    --------
    >>> from quenchbook.study_folder import plan_of, resource
    >>> plot(plan_of(resource("data", "two_lots"))).key
    'coupon_matrix'
    """
    kind = type(result).__name__
    if kind in _DRAWN:
        return _named(_DRAWN[kind])(result, **options)
    if kind == "TradeFinding":
        return _named(_ASKS[result.asks])([result], **options)
    if kind in _BY_WAY_OF:
        return _BY_WAY_OF[kind](result, **options)
    kinds = listed(sorted([*_DRAWN, *_BY_WAY_OF, "TradeFinding"]))
    raise ReportError(
        f"There is no figure of {kind}. Figures show {kinds}; to_frame() has the numbers."
    )


def _named(where: str) -> Callable[..., Drawing]:
    module, _, name = where.partition(":")
    draw: Callable[..., Drawing] = getattr(import_module(f"quenchbook.plots.{module}"), name)
    return draw


def _of_records(records: Any, **options: Any) -> Drawing:
    return _named(_DRAWN["CouponMatrix"])(records.matrix, records, **options)


def _of_preview(preview: Any, **options: Any) -> Drawing:
    return _named(_DRAWN["CouponMatrix"])(preview.matrix, **options)


def _of_model(model: Any, **options: Any) -> Drawing:
    from quenchbook.fit.curves import curve_factors, response_curves

    x, group = curve_factors(model)
    options = {"x": x, "group": group, **options}
    if options["x"] is None:
        raise ReportError("No factor of this model has numbers as levels, so there is no curve.")
    return _named(_DRAWN["ResponseCurves"])(response_curves(model, **options))


def _of_finding(finding: Any, **options: Any) -> Drawing:
    from quenchbook.units import difference_unit

    own = {"unit": difference_unit(finding.unit), "quantity": finding.quantity, **options}
    return _named("gauges:figure_contrasts")([finding], **own)


def _of_curve(result: Any, **options: Any) -> Drawing:
    model = result.curve.model
    if model is None or model.study is None:
        raise ReportError(
            "This result comes from a data frame; only a study says what its axes are called."
        )
    return _of_model(model, **options)


def _of_analysis(analysis: Any, response: str = "", **options: Any) -> Drawing:
    name = response or next(iter(analysis.models), "")
    own = analysis.comparisons(name)
    if not own:
        raise ReportError(
            f"No comparison of {name or 'any response'} was answered, so there is no figure of all "
            "answers. Single findings and the models have figures of their own."
        )
    from quenchbook.units import difference_unit

    return _named("gauges:figure_contrasts")(own, unit=difference_unit(own[0].unit), **options)


_BY_WAY_OF: Final[Mapping[str, Callable[..., Drawing]]] = {
    "Records": _of_records,
    "PlanPreview": _of_preview,
    "MixedModel": _of_model,
    "Finding": _of_finding,
    "Analysis": _of_analysis,
    "PeakPlace": _of_curve,
    "PeakShift": _of_curve,
    "WorkingWindow": _of_curve,
    "TargetWindow": _of_curve,
}
"""Results that are drawn by way of another one."""
