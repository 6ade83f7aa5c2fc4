"""Levels in the words of an answer, and the study that an answer is about."""

from __future__ import annotations

from collections.abc import Mapping

from quenchbook.errors import EstimabilityError
from quenchbook.fit.mixed import MixedModel
from quenchbook.study.definition import Study
from quenchbook.study.factors import Level


def study_of(model: MixedModel) -> Study:
    """Study of a model; a declared question has an answer only there.

    Raises
    ------
    EstimabilityError
        If the model is of a data frame.
    """
    if model.study is None:
        raise EstimabilityError("A declared question needs the model of a study.")
    return model.study


def told_apart(study: Study, factor: str, level: Level) -> str:
    """Level in print; with its factor where the word alone does not tell which is meant."""
    own = study.factor(factor)
    word = own.word(level)
    shared = sum(word in map(other.word, other.levels) for other in study.factors) > 1
    return f"{own.title} {word}" if shared else own.named_word(level)


def held_levels(study: Study, at: Mapping[str, Level]) -> str:
    """Levels that were held: ``dry ice, austenitize 970 °C``."""
    return ", ".join(study.factor(name).named_word(level) for name, level in at.items())
