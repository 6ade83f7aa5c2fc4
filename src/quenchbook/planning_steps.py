"""The steps of planning on a study folder: draft, plan, and the next coupons."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import PlanError, Problem
from quenchbook.study_folder import read_folder, study_folders

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.fit.mixed import MixedModel
    from quenchbook.outlook.next_coupons import Aim
    from quenchbook.outlook.undecided import Undecided
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.study.definition import Noise


def plan_study(folder: str | Path, *, seed: int | None = None) -> tuple[CouponMatrix, list[Path]]:
    """Make the plan of a study, or read the one that was made.

    Parameters
    ----------
    folder : str or Path
    seed : int, optional
        Seed of the randomization. When left out some are drawn, and the one whose plan tells the
        questions most sharply is kept in the plan (`outlook.sharpest`).

    Raises
    ------
    PlanError
        If a plan was made before for another seed, layout or other factors than asked for now.
    """
    import secrets

    from quenchbook.outlook.sharpest import DRAWS, sharpest_draw
    from quenchbook.plan.declaration import changed_layout
    from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan, write_plan
    from quenchbook.study.files import read_study

    study, place = read_study(folder), Path(folder) / "plan"
    if (place / PLAN_FILE).exists():
        matrix = read_plan(place, study)
        if seed is not None and seed != matrix.seed:
            raise PlanError(
                Problem(
                    str(place / PLAN_FILE),
                    f"holds a plan with seed {matrix.seed}, you asked for {seed}",
                    "Coupons may already carry its codes. Move the plan folder away to start anew.",
                )
            )
        if asked := changed_layout(matrix.declaration, study):
            loads = matrix.unit_counts()["furnace_load"]
            raise PlanError(
                f"A plan exists ({matrix.short_hash}, {loads} "
                f"{study.unit_word('furnace_load', loads)}) and was left as it is; study.toml now "
                f"asks for {'; '.join(asked)}. To plan anew before anything is cut, move {place} "
                "away."
            )
        return matrix, [place / MATRIX_FILE, place / PLAN_FILE]
    seeds = [secrets.randbelow(10**8) for _ in range(DRAWS)] if seed is None else [seed]
    matrix = sharpest_draw(study, seeds)
    return matrix, write_plan(matrix, place)


def draft_plan(folder: str | Path, *, seed: int | None = None) -> CouponMatrix:
    """Plan that was kept, or else a draft of it that is written nowhere.

    Parameters
    ----------
    folder : str or Path
    seed : int, optional
        Of a draft; when left out, that of the first few whose plan tells the questions most
        sharply. The plan that is kept gets a seed of its own.
    """
    from quenchbook.outlook.sharpest import DRAWS, sharpest_draw
    from quenchbook.plan.files import PLAN_FILE, read_plan
    from quenchbook.study.files import read_study

    study, place = read_study(folder), Path(folder) / "plan"
    if (place / PLAN_FILE).exists():
        return read_plan(place, study)
    return sharpest_draw(study, range(1, 1 + DRAWS) if seed is None else [seed])


def noise_of_studies(folders: Sequence[str | Path]) -> dict[str, Noise]:
    """Noise of each response as measured by a pilot or by earlier studies.

    Parameters
    ----------
    folders : sequence of str or Path
        Study folders with records, or folders of such folders; none: nothing is measured, and the
        study file has the word.

    Returns
    -------
    dict of response to Noise
        For `question_outlooks` and the other functions that judge a plan.
    """
    from quenchbook.findings.answers import analyse
    from quenchbook.outlook.noise import measured_noise

    models: dict[str, list[MixedModel]] = {}
    for folder in (own for place in folders for own in study_folders(place)):
        for name, model in analyse(read_folder(folder)[2]).models.items():
            models.setdefault(name, []).append(model)
    return {name: measured_noise(own) for name, own in models.items()}


def next_needs(folder: str | Path, *, power: float = 0.8) -> Undecided:
    """What each undecided question of a finished study still needs."""
    from quenchbook.outlook.undecided import undecided_needs

    analysis, matrix = _analysis_of(folder)
    needs = undecided_needs(
        matrix,
        analysis.models,
        analysis.undecided(),
        power=power,
        remedies={own.key: own.remedy for own in analysis.findings},
    )
    curves = {question.key for question in analysis.study.trade_questions}
    unanswered = [
        f"{question.words} Not answered: {why}"
        for question, why in analysis.unanswered
        if question.key in curves
    ]
    unsettled = [
        f"{own.question} Real, but whether it is more than the margin is not settled: its interval "
        "has to become narrower."
        for own in analysis.findings
        if own.key in analysis.open_questions() and own.verdict == "differs"
    ]
    return dataclasses.replace(needs, notes=(*unsettled, *unanswered, *needs.notes))


def next_study(
    folder: str | Path,
    loads: int,
    *,
    aim: Aim | None = None,
    seed: int | None = None,
    keep: bool = True,
) -> tuple[CouponMatrix, list[Path]]:
    """Continue a study with new furnace loads; the plan so far stays as it is.

    Parameters
    ----------
    folder : str or Path
        Study with a plan; for the aims ``peak`` and ``verdicts`` with records.
    loads : int
        New furnace loads.
    aim : {"same", "peak", "verdicts"}, optional
        More of the same model; the place of the peak; the questions that are undecided. When left
        out: ``verdicts`` if any question is undecided, else ``same``.
    seed : int, optional
        Drawn when left out, and kept.
    keep : bool
        False: write nothing.
    """
    import secrets

    from quenchbook.outlook.next_coupons import next_coupons
    from quenchbook.plan.files import read_plan, write_continuation
    from quenchbook.study.files import read_study

    seed = secrets.randbelow(10**8) if seed is None else seed
    place = Path(folder) / "plan"
    if aim == "same":
        matrix = next_coupons(read_plan(place, read_study(folder)), loads, aim=aim, seed=seed)
        return matrix, write_continuation(matrix, place) if keep else []
    analysis, before = _analysis_of(folder)
    open_questions = analysis.open_questions()
    matrix = next_coupons(
        before,
        loads,
        aim=aim or ("verdicts" if open_questions else "same"),
        models=analysis.models,
        questions=open_questions,
        seed=seed,
    )
    return matrix, write_continuation(matrix, place) if keep else []


def _analysis_of(folder: str | Path) -> tuple[Analysis, CouponMatrix]:
    from quenchbook.findings.answers import analyse

    records = read_folder(folder)[2]
    return analyse(records), records.matrix


def unanswerable(matrix: CouponMatrix) -> tuple[list[str], bool]:
    """Questions of the study that its plan cannot judge.

    A question cannot be judged if a term it needs is not estimable or its stratum has no error df.
    Without questions the factors themselves are asked about.

    Returns
    -------
    lost : list of str
        The questions in words.
    all_lost : bool
        Whether no question is left.
    """
    from quenchbook.outlook.error_df import error_df_frame

    table, study = error_df_frame(matrix), matrix.study
    spare = {
        (response, frozenset(term.split(":"))): df > 0 and df_error > 0
        for response, term, df, df_error in zip(
            table["response"], table["term"], table["df"], table["df_error"], strict=True
        )
    }
    asked: list[tuple[str, str, list[frozenset[str]]]] = []
    for question in study.questions:
        own = frozenset(question.term.split(":") if question.term else [question.factor])
        needed = [own]
        if question.change:
            needed = [own | {next(iter(question.change))}]
        needed += [own | {name} for name in question.at if name != question.factor]
        needed = [term for term in needed if term == own or (question.response, term) in spare]
        asked.append((question.words, question.response, needed or [own]))
    if not asked:
        asked = [
            (factor.title, response.name, [frozenset([factor.name])])
            for factor in study.factors
            for response in study.responses
        ]
    lost = [
        words
        for words, response, needed in asked
        if not all(spare.get((response, term), False) for term in needed)
    ]
    return list(dict.fromkeys(lost)), bool(asked) and len(lost) == len(asked)


def count_words(matrix: CouponMatrix) -> list[str]:
    """What hours, days and cold batches of a plan count, where the booklet counts otherwise."""
    from quenchbook.bench.making_timetable import bench_timetable
    from quenchbook.plan.cost import plan_cost, plan_counts
    from quenchbook.units import number_text

    lines = []
    table = bench_timetable(matrix, search=False)
    if table.days:
        lines.append(
            f"The {plan_cost(matrix).hours:.0f} hours count all own work, from cutting to "
            f"measuring; the booklet counts {number_text(table.hands_minutes() / 60, 1)} h with "
            "your hands at furnace, cold and oven."
        )
        days = int(matrix.in_loads["day"].nunique())
        if days != len(table.days):
            lines.append(
                f"{days} days with furnace loads; with cold steps and tempers {len(table.days)} "
                "days of work."
            )
    if without := matrix.batches_without_cold():
        cold = plan_counts(matrix).cold_batches
        words = ", ".join(
            f"{count} {matrix.study.factor('cold_route').word(route)}"
            for route, count in cold.items()
        )
        lines.append(
            f"{without + sum(cold.values())} cold batches: {without} with no cold step, {words}."
        )
    return lines
