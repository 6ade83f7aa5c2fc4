"""Planning sweeps: many plans, noises and true differences, each by formula and by simulation.

The formula (`power`) stays the answer for balanced plans. The simulation stands beside it, so that
each checks the other, and counts what the formula only tells roughly: unequal units, few df.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from quenchbook.outlook.power import PlannedContrast
from quenchbook.outlook.questions import QuestionOutlook
from quenchbook.outlook.sweep_blocks import BLOCK, simulated_block, summed
from quenchbook.outlook.sweep_grid import NoiseList, SweepCell, SweepGrid, sweep_grid
from quenchbook.outlook.sweep_table import PlanningSweep
from quenchbook.repeated_work import run_many
from quenchbook.study.definition import Study
from quenchbook.work_backends import Backend


def planning_sweep(
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
    seed: int = 1,
    backend: Backend | None = None,
    workers: int | None = None,
    chunk: int | None = None,
    scheduler: str | None = None,
    keep: str | Path | None = None,
) -> PlanningSweep:
    """Judge many plans at many noises and true differences, by formula and by simulated studies.

    Each plan is drawn once as a real plan. A simulated study draws the noise of its loads, batches
    and coupons and is analysed as the real one will be.

    Parameters
    ----------
    study : Study
    question : str, optional
        Key of a declared question; the first one when left out.
    loads, coupons, indents : sequence of int, optional
        Furnace loads, coupons in each, readings on each coupon. When left out: whole repeats of
        the furnace settings up to twice those of the study, and the study's own numbers.
    noise : sequence of float or mapping, optional
        Multiples of the noise of the study (told or assumed), or standard deviations by a short
        name: ``{"pilot": {"furnace_load": 0.2, "coupon": 0.4, "indent": 0.6}}``.
    differences : sequence of float, optional
        True differences on the analysed scale (natural logarithm where it is log). When left out:
        none and that of the margin; without a margin none and what the first plan finds.
    studies : int
        Simulated studies of each plan at each noise.
    power : float
        How often a difference is to be found, for the words.
    seed : int
        Each block of simulated studies has a seed of its own from this one, its plan and its
        noise: what else is swept with it changes no number.
    backend, workers, chunk, scheduler, keep
        As for `run_many`; no number depends on them.

    Returns
    -------
    PlanningSweep

    Raises
    ------
    EstimabilityError
        If no plan can answer the question.
    PlanError
        If the study was published: then there is nothing to plan.

    Notes
    -----
    On a cluster name the address of its scheduler and a file for what is finished; see `run_many`.
    In a script the call stands under ``if __name__ == "__main__":``.

    Examples
    --------
    >>> from quenchbook.study.files import read_study
    >>> from quenchbook.study_folder import resource
    >>> study = read_study(resource("data", "plane_irons"))
    >>> small = {"loads": [12], "coupons": [8], "studies": 50, "backend": "serial"}
    >>> sweep = planning_sweep(study, "freezer", differences=[0.5], **small)
    >>> sweep.to_frame()[["coupons", "difference", "power"]].round(2)
       coupons  difference  power
    0       96         0.5   0.81
    """
    grid = sweep_grid(
        study, question, loads=loads, coupons=coupons, indents=indents, noise=noise,
        differences=differences, studies=studies, power=power,
    )  # fmt: skip
    return swept(
        grid, seed, backend=backend, workers=workers, chunk=chunk, scheduler=scheduler, keep=keep
    )


def swept(
    grid: SweepGrid,
    seed: int,
    *,
    backend: Backend | None = None,
    workers: int | None = None,
    chunk: int | None = None,
    scheduler: str | None = None,
    keep: str | Path | None = None,
) -> PlanningSweep:
    """Simulate what a sweep lists, and put the counts beside the formula.

    Parameters
    ----------
    grid : SweepGrid
    seed : int
    backend, workers, chunk, scheduler, keep
        As for `run_many`.

    Raises
    ------
    RepeatedWorkError
        If a block failed.
    """
    work = run_many(
        simulated_block, grid.blocks, seed, backend=backend, workers=workers, chunk=chunk,
        scheduler=scheduler, keep=keep, progress=f"blocks of {BLOCK} simulated studies",
    )  # fmt: skip
    results = iter(work.values())
    rows: list[dict[str, Any]] = []
    for cell in grid.cells:
        total = summed(list(itertools.islice(results, len(cell.blocks))))
        rows += [_row(cell, true, total, place) for place, true in enumerate(grid.differences)]
    return PlanningSweep(
        study=grid.study, question=grid.question, frame=pd.DataFrame(rows), studies=grid.studies,
        seed=work.seed, power=grid.power, margin=grid.cells[0].judged.margin,
        versions=dict(work.versions), work=work.summary().split("\n")[0], notes=grid.notes,
    )  # fmt: skip


def _row(cell: SweepCell, true: float, total: Mapping[str, Any], place: int) -> dict[str, Any]:
    count, judged = int(total["studies"]), cell.judged
    contrast = isinstance(judged.planned, PlannedContrast)
    width, width_error = math.nan, math.nan
    if contrast:
        width = total["width"] / count
        spread = max(total["width_squares"] / count - width**2, 0.0)
        width_error = math.sqrt(spread / count)
    inside = contrast and judged.margin is not None
    shares = {name: total[name][place] / count for name in ("found", "inside", "untrue")}
    equivalence = judged.equivalence_power(true)
    return {
        "furnace_loads": cell.drawn.loads,
        "coupons_per_load": cell.drawn.coupons_per_load,
        "indents": cell.indents,
        "coupons": cell.drawn.counts.coupons,
        "noise_name": cell.noise_name,
        "noise_multiple": math.nan if cell.multiple is None else cell.multiple,
        "difference": true,
        "df_error": judged.df_error,
        "half_width": judged.half_width() if contrast else math.nan,
        "simulated_half_width": width,
        "half_width_error": width_error,
        "power": judged.power(true),
        "simulated_power": shares["found"],
        "simulation_error": share_error(shares["found"], count),
        "inside_chance": math.nan if equivalence is None else equivalence,
        "simulated_inside_chance": shares["inside"] if inside else math.nan,
        "inside_error": share_error(shares["inside"], count) if inside else math.nan,
        "untrue_claims": untrue_chance(judged, true),
        "simulated_untrue_claims": shares["untrue"],
        "untrue_error": share_error(shares["untrue"], count),
        "rough": isinstance(judged.planned, PlannedContrast) and judged.planned.is_rough,
        "studies": count,
    }


def share_error(share: float, count: int) -> float:
    """Monte Carlo standard error of a share; at 0 and 1 that of one study in `count`.

    >>> round(share_error(0.8, 2000), 4)
    0.0089
    """
    return math.sqrt(max(share * (1 - share), 1 / count) / count)


def untrue_chance(judged: QuestionOutlook, true: float) -> float:
    """Chance by formula that a study claims something that is not so; see `untrue_claims`."""
    if true == 0 or not isinstance(judged.planned, PlannedContrast):
        return (judged.power(0.0) or 0.0) if true == 0 else 0.0
    planned, level, size = judged.planned, judged.confidence, abs(true)
    chance = planned.chance_above(-size, confidence=level)  # the other way round
    if judged.margin is not None and size <= judged.margin:
        chance += planned.chance_above(size - judged.margin, confidence=level)
    if judged.margin is not None and size >= judged.margin:
        chance += planned.equivalence_power(judged.margin, difference=size, confidence=level)
    return chance
