"""A planning sweep on a study folder: resumed by itself, its table beside the plan."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from quenchbook.errors import EstimabilityError, UnitError

if TYPE_CHECKING:
    from quenchbook.outlook.sweep_table import PlanningSweep
    from quenchbook.study.definition import Response
    from quenchbook.work_backends import Backend

FOLDER: Final = "sweep"
"""Folder of a study for its sweeps: no part of the plan, which stands in ``plan``."""

TABLE: Final = "sweep.csv"
FINISHED: Final = "sweep.jsonl"
"""Blocks that are finished; where a sweep was interrupted, it goes on from here."""


def sweep_study(
    folder: str | Path,
    question: str | None = None,
    *,
    loads: Sequence[int] | None = None,
    coupons: Sequence[int] | None = None,
    indents: Sequence[int] | None = None,
    noise: Sequence[str | float] = (1.0,),
    effects: Sequence[str | float] | None = None,
    studies: int = 2000,
    seed: int = 1,
    backend: Backend | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
) -> tuple[PlanningSweep, list[Path]]:
    """Sweep plans of a study, and keep table and finished blocks in its folder ``sweep``.

    The same sweep again goes on from what is finished; another one gets a file of its own,
    ``sweep_2.csv`` and so on.

    Parameters
    ----------
    folder : str or Path
    question : str, optional
    loads, coupons, indents : sequence of int, optional
    noise : sequence of float or str
        Multiples of the study's noise; or standard deviations, each such as
        ``furnace_load=0.2,coupon=0.4,indent=0.6``.
    effects : sequence of float or str, optional
        True differences in the unit of the response, such as ``0.5`` or ``0.5 HRC``; in per cent
        where ratios are analysed, such as ``15 %``.
    studies, seed : int
    backend, workers, scheduler
        As for `run_many`.

    Returns
    -------
    sweep : PlanningSweep
    paths : list of Path
        Table and finished blocks.
    """
    from quenchbook.outlook.sweep import swept
    from quenchbook.outlook.sweep_blocks import simulated_block
    from quenchbook.outlook.sweep_grid import asked_question, sweep_grid
    from quenchbook.study.files import read_study
    from quenchbook.writing import write_text

    study = read_study(folder)
    asked = asked_question(study, question)
    response = study.response(asked.response)
    true = None if effects is None else [difference_told(own, response) for own in effects]
    grid = sweep_grid(
        study, asked.key, loads=loads, coupons=coupons, indents=indents,
        noise=noise_told(noise), differences=true, studies=studies,
    )  # fmt: skip
    place = Path(folder) / FOLDER
    place.mkdir(exist_ok=True)
    table, finished = _own_files(place, simulated_block, grid.blocks, seed)
    found = swept(grid, seed, backend=backend, workers=workers, scheduler=scheduler, keep=finished)
    frame = found.to_frame()
    frame.insert(0, "question", asked.key)
    write_text(table, frame.to_csv(index=False, lineterminator="\n"))
    return found, [table, finished]


def _own_files(
    place: Path, function: object, blocks: Sequence[object], seed: int
) -> tuple[Path, Path]:
    """Names of table and finished blocks: those of the same sweep, else the first free ones."""
    from quenchbook.kept_items import header, header_of
    from quenchbook.work_backends import versions

    head = header(function, blocks, seed, versions())  # type: ignore[arg-type]
    number = 1
    while True:
        ending = f"_{number}" if number > 1 else ""
        table = place / TABLE.replace(".", f"{ending}.")
        finished = place / FINISHED.replace(".", f"{ending}.")
        if header_of(finished) == head or not (finished.exists() or table.exists()):
            return table, finished
        number += 1


def noise_told(texts: Sequence[str | float]) -> Sequence[float] | Mapping[str, Mapping[str, float]]:
    """Multiples of the noise, or standard deviations by what was written.

    >>> noise_told(["0.5", "2"])
    [0.5, 2.0]
    >>> noise_told(["furnace_load=0.2,coupon=0.4"])
    {'furnace_load=0.2,coupon=0.4': {'furnace_load': 0.2, 'coupon': 0.4}}
    """
    named = [str(text) for text in texts if "=" in str(text)]
    if not named:
        return [_number(str(text), "noise") for text in texts]
    if len(named) < len(texts):
        raise EstimabilityError(
            "Noise is told in multiples, such as 0.5 1 2, or in standard deviations, such as "
            "furnace_load=0.2,coupon=0.4; not both at once."
        )
    found: dict[str, dict[str, float]] = {}
    for text in named:
        parts = [part.partition("=") for part in text.split(",")]
        sds = {unit.strip(): _number(value, "noise") for unit, _, value in parts}
        found[text] = sds
    return found


def difference_told(text: str | float, response: Response) -> float:
    """Read a true difference in the unit of a response, as it is analysed.

    Parameters
    ----------
    text : str or float
        ``0.5``, ``0.5 HRC``; where ratios are analysed ``15 %``.
    response : Response
    """
    ending = "%" if response.scale == "log" else response.unit
    plain = str(text).strip()
    value = _number(plain.removesuffix(ending).strip() if ending else plain, "effects")
    if response.scale != "log":
        return value
    if value != 0 and not plain.endswith("%"):
        raise EstimabilityError(
            f"effects: '{text}' is no ratio. {response.quantity.capitalize()} is compared as "
            "ratios; write per cent, such as 15%."
        )
    if value <= -100:
        raise EstimabilityError(f"effects: '{text}' leaves nothing. Write more than -100%.")
    return math.log1p(value / 100)


def _number(text: str, what: str) -> float:
    from quenchbook.units import parse_number

    try:
        return parse_number(text)
    except UnitError as error:
        raise EstimabilityError(f"{what}: {error}") from None
