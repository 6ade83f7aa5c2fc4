"""The noise a plan is judged with: told in the study file, from earlier studies, or assumed.

An assumption is never taken for a fact: it carries its source into every table and sentence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Final

from quenchbook.errors import EstimabilityError, Problem
from quenchbook.study.definition import Noise, Response, Study
from quenchbook.units import is_energy, listed, number_text, with_unit

if TYPE_CHECKING:
    from quenchbook.fit.mixed import MixedModel

USUAL: Final[Mapping[tuple[str, str, str], Mapping[str, float]]] = {
    ("hardness", "HRC", "linear"): {
        "furnace_load": 0.3, "cold_batch": 0.15, "temper_batch": 0.15, "bar": 0.2,
        "coupon": 0.45, "indent": 0.6,
    },
    ("impact", "J", "log"): {
        "furnace_load": 0.05, "cold_batch": 0.04, "temper_batch": 0.04, "bar": 0.05,
        "coupon": 0.15, "indent": 0.0,
    },
}  # fmt: skip
"""Standard deviations to start from, by kind, unit and scale: common practice, no source."""

ASSUMED: Final = "assumed, common practice, no source"


def assumed_noise(study: Study, response: str) -> Noise:
    """Noise of a response for planning.

    What the study file tells comes first; units it does not tell get the usual value where there
    is one, and the source says so.

    Parameters
    ----------
    study : Study
    response : str

    Returns
    -------
    Noise

    Raises
    ------
    EstimabilityError
        If nothing is told and there is no usual value.
    """
    own = study.response(response)
    if own.noise is not None:
        return completed_noise(own.noise, study, response)
    usual = _usual(study, own)
    if usual is None:
        raise EstimabilityError(
            Problem(
                "study.toml",
                f"does not tell the noise of {own.quantity}, and no usual value is known",
                f'Add [responses.{own.name.split("_")[0]}.noise] with furnace_load = "..." and '
                f'coupon = "..." (standard deviations), from a pilot or an earlier study.',
            )
        )
    return Noise(dict(usual), ASSUMED)


def completed_noise(noise: Noise, study: Study, response: str) -> Noise:
    """Noise in which units that are not told have the usual value, where there is one.

    Parameters
    ----------
    noise : Noise
    study : Study
    response : str
    """
    usual = _usual(study, study.response(response)) or {}
    missing = {unit: sd for unit, sd in usual.items() if unit not in noise.sds}
    if not missing:
        return noise
    words = listed([study.unit_word(unit) for unit in missing])
    return Noise({**missing, **noise.sds}, f"{noise.source}; {words} {ASSUMED}")


def _usual(study: Study, response: Response) -> Mapping[str, float] | None:
    """Usual values; that of a bar only where bars are told apart, else it is in the coupon's."""
    unit = "J" if is_energy(response.unit) else response.unit  # shares are the same in each unit
    found = USUAL.get((response.kind, unit, response.scale))
    if found is None or any(factor.set_for == "bar" for factor in study.factors):
        return found
    return {unit: sd for unit, sd in found.items() if unit != "bar"}


def measured_noise(models: MixedModel | Sequence[MixedModel]) -> Noise:
    """Noise from the noise budgets of a pilot or of earlier studies of the same response.

    Mean squares are averaged with the error df of their strata as weights; a unit that one model
    alone tells has the estimate of that model.

    Parameters
    ----------
    models : MixedModel or sequence of MixedModel
        Of one response on one scale.

    Returns
    -------
    Noise
        Its source names the studies and how many units each standard deviation rests on.
    """
    from quenchbook.fit.mixed import MixedModel
    from quenchbook.outlook.noise_parts import noise_parts, pooled_noise

    models = [models] if isinstance(models, MixedModel) else list(models)
    if not models:
        raise EstimabilityError("Name at least one model of a pilot or of an earlier study.")
    if len({(model.response, model.scale) for model in models}) > 1:
        raise EstimabilityError("The models are of different responses or scales.")
    return pooled_noise([part for model in models for part in noise_parts(model)])


def coupon_value_variance(noise: Noise, readings: int, *, indent_correlation: float = 0.0) -> float:
    """Variance of the mean of a coupon: its own, and its indents'.

    Parameters
    ----------
    noise : Noise
    readings : int
        Indents on the coupon.
    indent_correlation : float
        Correlation of two indents of a coupon, from lying close together; then a part of their
        scatter does not average out.
    """
    indent = noise.sds.get("indent", 0.0) ** 2
    share = indent_correlation + (1 - indent_correlation) / readings
    return noise.sds.get("coupon", 0.0) ** 2 + indent * share


def planning_variances(
    noise: Noise, response: Response, *, indent_correlation: float = 0.0
) -> dict[str, float]:
    """Variance of each unit and of a coupon value, as `PlannedPrecision` wants them."""
    units = {unit: sd**2 for unit, sd in noise.sds.items() if unit not in ("coupon", "indent")}
    own = coupon_value_variance(noise, response.readings, indent_correlation=indent_correlation)
    return {**units, "coupon": own}


def noise_words(noise: Noise, study: Study, response: Response, units: Sequence[str]) -> str:
    """Noise in one line: ``furnace load 0.3 HRC, coupon 0.45 HRC (assumed ...)``."""
    parts = []
    for unit in (*units, "indent"):
        sd = noise.sds.get(unit)
        if sd is not None and (sd or unit != "indent"):
            text = number_text(sd * 100, 1) if response.scale == "log" else number_text(sd, 2)
            shown = with_unit(text, "%" if response.scale == "log" else response.unit)
            parts.append(f"{study.unit_word(unit)} {shown}")
    return f"{', '.join(parts) or 'none'} (standard deviations; {noise.source})"
