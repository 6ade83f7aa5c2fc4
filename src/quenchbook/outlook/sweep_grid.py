"""What a planning sweep is to simulate: real plans of many sizes at many noises."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from quenchbook.errors import EstimabilityError, PlanError, with_suggestion
from quenchbook.outlook.error_df import tested_coupons
from quenchbook.outlook.layouts import DrawnLayout, drawn_layout, load_counts
from quenchbook.outlook.noise import (
    assumed_noise,
    completed_noise,
    coupon_value_variance,
    noise_words,
)
from quenchbook.outlook.power import PlannedContrast
from quenchbook.outlook.prepared import planned_precision_of, prepared, same_term
from quenchbook.outlook.questions import QuestionOutlook
from quenchbook.outlook.sweep_blocks import BLOCK, SweepBlock, SweptPlan
from quenchbook.progress import progress
from quenchbook.study.definition import Noise, Question, Response, Study
from quenchbook.study.factors import UNITS
from quenchbook.units import listed, number_text

PLAN_SEED: Final = 1
"""Of the plans that are drawn: another order of the coupons changes no precision of a plan."""

_UNITS: Final = (*UNITS, "indent")

NoiseList = Sequence[float] | Mapping[str, Noise | Mapping[str, float]]
"""Multiples of the noise of the study, or standard deviations by a short name."""


@dataclass(frozen=True, eq=False)
class SweepCell:
    """One plan at one noise.

    Attributes
    ----------
    drawn : DrawnLayout
    indents : int
    noise_name : str
    multiple : float or None
    judged : QuestionOutlook
        By formula.
    blocks : tuple of SweepBlock
    """

    drawn: DrawnLayout
    indents: int
    noise_name: str
    multiple: float | None
    judged: QuestionOutlook
    blocks: tuple[SweepBlock, ...]


@dataclass(frozen=True, eq=False)
class SweepGrid:
    """Everything that a sweep is to simulate, before it is simulated.

    Attributes
    ----------
    study : Study
    question : Question
    cells : tuple of SweepCell
    differences : tuple of float
    studies : int
    power : float
    notes : tuple of str
    """

    study: Study
    question: Question
    cells: tuple[SweepCell, ...]
    differences: tuple[float, ...]
    studies: int
    power: float
    notes: tuple[str, ...]

    @property
    def blocks(self) -> list[SweepBlock]:
        """Blocks of all cells, in order: the items of the repeated work."""
        return [block for cell in self.cells for block in cell.blocks]


def sweep_grid(
    study: Study,
    question: str | None = None,
    *,
    loads: Sequence[int] | None = None,
    coupons: Sequence[int] | None = None,
    indents: Sequence[int] | None = None,
    noise: NoiseList = (1.0,),
    differences: Sequence[float] | None = None,
    studies: int = 2000,
    power: float = 0.8,
) -> SweepGrid:
    """Draw the plans of a sweep and list what is to be simulated; as for `planning_sweep`."""
    if study.published:
        raise PlanError(f"{study.title}: this study was published, so there is nothing to plan.")
    asked = asked_question(study, question)
    response = study.response(asked.response)
    _check(loads, coupons, indents, studies, power)
    noises = _noises(study, response, noise)
    sizes = itertools.product(
        sorted(set(loads or load_counts(study))),
        sorted(set(coupons or [study.layout.coupons_per_load])),
    )
    left_out: dict[str, list[str]] = {}
    judged: list[tuple[DrawnLayout, int, str, float | None, QuestionOutlook, Noise]] = []
    for size in progress(list(sizes), "plans"):
        try:
            drawn = drawn_layout(study, asked, *size, seed=PLAN_SEED)
        except PlanError as error:
            left_out.setdefault(str(error), []).append(f"{size[0]} × {size[1]}")
            continue
        for number in sorted(set(indents or [response.readings])):
            for name, multiple, own in noises:
                outlook = drawn.outlook(own, number, power=power, indent_correlation=0.0)
                if outlook.planned is None:
                    left_out.setdefault(outlook.reason, []).append(drawn.size_text)
                    continue
                judged.append((drawn, number, name, multiple, outlook, own))
    if not judged:
        raise EstimabilityError(
            f"“{asked.words}” cannot be answered by any of these plans. {' '.join(left_out)}"
        )
    true = _differences(differences, judged[0][4])
    cells = tuple(
        SweepCell(drawn, number, name, multiple, outlook,
                  _blocks(drawn, outlook, own, number, true, studies))
        for drawn, number, name, multiple, outlook, own in judged
    )  # fmt: skip
    return SweepGrid(
        study, asked, cells, true, studies, power, _notes(study, response, noises, cells, left_out)
    )


def asked_question(study: Study, question: str | None) -> Question:
    """The question of a key; the first one without a key."""
    if not study.questions:
        raise EstimabilityError(
            "The study declares no question, so there is nothing to sweep. Add [[questions]] to "
            "study.toml."
        )
    return study.questions[0] if question is None else study.question_of(question)


def _blocks(
    drawn: DrawnLayout,
    judged: QuestionOutlook,
    noise: Noise,
    indents: int,
    differences: tuple[float, ...],
    studies: int,
) -> tuple[SweepBlock, ...]:
    matrix, asked, response = drawn.matrix, judged.question, judged.response.name
    value = coupon_value_variance(noise, indents)
    sds = {**noise.sds, "coupon": math.sqrt(value), "indent": 0.0}
    precision, _ = planned_precision_of(matrix, response, Noise(sds, noise.source))
    variances = {unit: float(own[0]) for unit, own in precision.components.items()}
    ready = prepared(matrix)
    strata, term, unit_effect = ready.strata[response], "", None
    tested = tested_coupons(matrix, response)
    if judged.pattern is not None:
        term = same_term(asked.term, strata.terms.names)
        unit_effect = strata.terms.columns(tested, term) @ judged.pattern
    plan = SweptPlan(
        matrix.plan_hash, strata, strata.terms.matrix(tested), ready.rows.get(asked.key), term,
        unit_effect, judged.margin, judged.confidence,
    )  # fmt: skip
    sizes = [min(BLOCK, studies - start) for start in range(0, studies, BLOCK)]
    return tuple(
        SweepBlock(plan, variances, differences, size, number) for number, size in enumerate(sizes)
    )


def _check(
    loads: Sequence[int] | None,
    coupons: Sequence[int] | None,
    indents: Sequence[int] | None,
    studies: int,
    power: float,
) -> None:
    for name, values in (("loads", loads), ("coupons", coupons), ("indents", indents)):
        if values is not None and (not len(values) or any(int(x) != x or x < 1 for x in values)):
            raise EstimabilityError(
                f"{name} is {list(values)}. Write whole numbers from 1, such as [4, 8, 12]."
            )
    if studies < 1:
        raise EstimabilityError(f"studies is {studies}. Write a whole number, such as 2000.")
    if not 0 < power < 1:
        raise EstimabilityError(f"power is {power:g}. Write a number such as 0.8.")


def _noises(
    study: Study, response: Response, noise: NoiseList
) -> list[tuple[str, float | None, Noise]]:
    """Name, multiple and standard deviations of each noise."""
    found: list[tuple[str, float | None, Noise]] = []
    if isinstance(noise, Mapping):
        for name, own in noise.items():
            told = own if isinstance(own, Noise) else Noise(dict(own), "as given")
            if wrong := [unit for unit in told.sds if unit not in _UNITS]:
                words = f"'{wrong[0]}' has no noise of its own. Units are {', '.join(_UNITS)}."
                raise EstimabilityError(with_suggestion(words, wrong[0], _UNITS))
            if "coupon" not in told.sds or any(not sd >= 0 for sd in told.sds.values()):
                raise EstimabilityError(
                    f"The noise '{name}' is {dict(told.sds)}. Give standard deviations from 0, "
                    'that of a coupon as "coupon".'
                )
            found.append((name, None, completed_noise(told, study, response.name)))
    else:
        base = assumed_noise(study, response.name)
        for multiple in dict.fromkeys(noise):
            if not (math.isfinite(multiple) and multiple > 0):
                raise EstimabilityError(
                    f"A multiple of the noise is {multiple:g}. Write numbers above 0, such as "
                    "0.5 1 2."
                )
            sds = {unit: multiple * sd for unit, sd in base.sds.items()}
            words = f"{multiple:g} times: {base.source}" if multiple != 1 else base.source
            name = f"{multiple:g} × noise"
            if any(name == other for other, _, _ in found):
                raise EstimabilityError(
                    f"Two multiples of the noise are {multiple:g} in print. Write multiples that "
                    "differ in their first six digits."
                )
            found.append((name, float(multiple), dataclasses.replace(base, sds=sds, source=words)))
    if not found:
        raise EstimabilityError("noise is empty. Write multiples such as [0.5, 1, 2].")
    return found


def _differences(differences: Sequence[float] | None, judged: QuestionOutlook) -> tuple[float, ...]:
    if differences is None:
        size = judged.margin if judged.margin is not None else judged.detectable_difference()
        return (0.0, float(size or 0.0)) if size else (0.0,)
    if not len(differences) or any(not math.isfinite(own) for own in differences):
        raise EstimabilityError(
            f"differences is {list(differences)}. Write true differences such as [0, 0.5]."
        )
    return tuple(sorted({float(own) for own in differences}))


def _notes(
    study: Study,
    response: Response,
    noises: Sequence[tuple[str, float | None, Noise]],
    cells: Sequence[SweepCell],
    left_out: Mapping[str, Sequence[str]],
) -> tuple[str, ...]:
    units = cells[0].drawn.units
    notes = [
        f"Noise of {response.quantity}, {name}: "
        f"{noise_words(own, study, response, (*units, 'coupon'))}."
        for name, _, own in noises
    ]
    rough = [
        cell.drawn.size_text for cell in cells
        if isinstance(cell.judged.planned, PlannedContrast) and cell.judged.planned.is_rough
    ]  # fmt: skip
    if rough:
        notes.append(
            "Unequal units (also groups of one and of two coupons), or few df of several kinds of "
            "unit: the error df of a study depend on its noise, the formula holds only roughly, "
            f"the simulation counts, for loads × coupons {listed(list(dict.fromkeys(rough)))}."
        )
    for why, sizes in left_out.items():
        shown = listed(list(dict.fromkeys(sizes)))
        notes.append(f"Left out, loads × coupons {shown}: {why.split('. ')[0].rstrip('.')}.")
    if cells[0].judged.margin is None:
        notes.append(
            f"No margin is declared for {response.quantity}, or a term is asked for: no chance of "
            "showing that a difference does not matter."
        )
    notes.append(
        "Rows that differ only in the true difference share their simulated noise; each block of "
        f"{number_text(BLOCK, 0)} studies has a seed from its plan, noise and number."
    )
    return tuple(notes)
