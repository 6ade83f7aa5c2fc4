"""Keep a plan: the matrix as CSV, beside it seed, versions and hash; refuse a changed plan."""

from __future__ import annotations

import csv
import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.declaration import ONLY_WHERE_SAID, Declaration, changed_factors, declaration
from quenchbook.plan.matrix import (
    Continuation,
    CouponMatrix,
    canonical_text,
    cell_text,
    check_matrix,
)
from quenchbook.reading_files import file_fault
from quenchbook.study.definition import Study
from quenchbook.writing import write_text

FORMAT: Final = 1
MATRIX_FILE: Final = "coupon_matrix.csv"
PLAN_FILE: Final = "plan.json"
WHOLE_COLUMNS: Final = (
    "furnace_load", "day", "load_place", "furnace_place", "temper_batch", "bar", "bar_position",
)  # fmt: skip


def declaration_hash(study: Study) -> str:
    """SHA-256 of what must be fixed before the data: factors, margins, questions, confidence."""
    fixed: dict[str, object] = {
        "factors": [repr(factor) for factor in study.factors],
        "responses": [repr(response) for response in study.responses],
        "questions": [repr(question) for question in study.questions],
        "confidence": study.confidence,
    }
    if study.trade_questions:
        fixed["trade_questions"] = [repr(question) for question in study.trade_questions]
    text = json.dumps(fixed, sort_keys=True, ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def write_plan(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write ``coupon_matrix.csv`` and ``plan.json``.

    What was declared is written once: where the folder holds this plan already, its declaration
    stays, whatever the study file says now.

    Parameters
    ----------
    matrix : CouponMatrix
    folder : str or Path
        Usually ``plan`` in the study folder; made if needed.

    Returns
    -------
    list of Path

    Raises
    ------
    PlanError
        If the folder holds another plan: coupons may already carry its codes.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = [folder / MATRIX_FILE, folder / PLAN_FILE]
    declared = matrix.declaration
    known = dict(declared) == declaration(matrix.study)
    if paths[1].exists():
        kept = _about(paths[1])
        if kept.get("sha256") != matrix.hashes[0]:
            raise PlanError(
                Problem(
                    str(paths[1]),
                    f"holds plan {str(kept.get('sha256'))[:8]}, this one is {matrix.short_hash}",
                    "Coupons may already carry its codes, so it is not overwritten. "
                    "Move the folder away to start anew.",
                )
            )
        if "declared" in kept or kept.get("declaration_sha256") != declaration_hash(matrix.study):
            return [write_text(paths[0], canonical_text(matrix.parts()[0])), paths[1]]
    about = {
        "format": FORMAT,
        "study": matrix.study.key,
        "origin": matrix.origin,
        "seed": matrix.seed,
        "sha256": matrix.hashes[0],
        "declaration_sha256": declaration_hash(matrix.study) if known else None,
        "declared": dict(declared),
        "versions": dict(matrix.versions),
        "notes": list(matrix.notes),
    }
    text = json.dumps(about, indent=2, ensure_ascii=False) + "\n"
    return [write_text(paths[0], canonical_text(matrix.parts()[0])), write_text(paths[1], text)]


def write_continuation(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write the last continuation beside the plan it continues, which stays as it is.

    Parameters
    ----------
    matrix : CouponMatrix
        With at least one continuation.
    folder : str or Path
        Folder of the plan.

    Returns
    -------
    list of Path
        ``continuation_1.csv`` and ``continuation_1.json``, or the next free number.

    Raises
    ------
    PlanError
        If the folder holds another plan, or this continuation was written already.
    """
    folder = Path(folder)
    kept = read_plan(folder, matrix.study)
    number = len(matrix.continuations)
    own = matrix.continuations[-1]
    paths = [folder / f"continuation_{number}{ending}" for ending in (".csv", ".json")]
    if kept.hashes != matrix.hashes[:-1]:
        raise PlanError(
            Problem(
                str(folder),
                f"holds plan {kept.short_hash}, this continues plan {matrix.hashes[-2][:8]}",
                "Choose the next coupons again from the plan that is there.",
            )
        )
    about = {
        "format": FORMAT,
        "continues": matrix.hashes[-2],
        "seed": own.seed,
        "aim": own.aim,
        "sha256": matrix.hashes[-1],
        "versions": dict(own.versions),
        "notes": list(own.notes),
    }
    text = json.dumps(about, indent=2, ensure_ascii=False) + "\n"
    return [
        write_text(paths[0], canonical_text(matrix.parts()[-1])),
        write_text(paths[1], text),
    ]


def read_plan(folder: str | Path, study: Study) -> CouponMatrix:
    """Read a plan back and check that nothing was changed since it was made.

    Parameters
    ----------
    folder : str or Path
        Folder with ``coupon_matrix.csv`` and ``plan.json``.
    study : Study

    Returns
    -------
    CouponMatrix

    Raises
    ------
    PlanError
        If the plan is missing, was changed, cannot be run, or was made for other factors than
        those of the study.
    """
    folder = Path(folder)
    try:
        about = _about(folder / PLAN_FILE)
        declared = _declared(about, folder / PLAN_FILE, study)
        _check_factors(about, declared, folder, study)
        frame = _read_matrix(folder / MATRIX_FILE, study)
    except FileNotFoundError as error:
        raise PlanError(
            Problem(
                str(error.filename),
                "there is no such file",
                "Make the plan first: quenchbook plan STUDY",
            )
        ) from None
    matrix = CouponMatrix(
        frame=frame,
        study=study,
        seed=about.get("seed"),
        origin=str(about.get("origin", "randomized")),
        notes=tuple(str(note) for note in about.get("notes", ())),
        versions=dict(about.get("versions", {})),
        declaration=declared,
    )
    _check_hash(matrix, folder / MATRIX_FILE, about)
    number = 1
    while (folder / f"continuation_{number}.json").exists():
        matrix = _continued(matrix, folder, number)
        number += 1
    return matrix


def _continued(matrix: CouponMatrix, folder: Path, number: int) -> CouponMatrix:
    """Add the rows of a continuation and check them."""
    path = folder / f"continuation_{number}.csv"
    about = _about(path.with_suffix(".json"))
    if about.get("continues") != matrix.plan_hash:
        raise PlanError(
            Problem(
                str(path.with_suffix(".json")),
                f"continues plan {str(about.get('continues'))[:8]}, here is {matrix.short_hash}",
                "Take both files from a backup.",
            )
        )
    try:
        rows = _read_matrix(path, matrix.study)
    except FileNotFoundError:
        raise PlanError(
            Problem(str(path), "there is no such file", "Take it from a backup.")
        ) from None
    own = Continuation(
        first_row=len(matrix.frame),
        seed=int(about.get("seed", 0)),
        aim=str(about.get("aim", "")),
        notes=tuple(str(note) for note in about.get("notes", ())),
        versions=dict(about.get("versions", {})),
    )
    frame = pd.concat([matrix.frame, rows], ignore_index=True)
    grown = replace(matrix, frame=frame, continuations=(*matrix.continuations, own))
    _check_hash(grown, path, about)
    return grown


def _check_hash(matrix: CouponMatrix, path: Path, about: Mapping[str, Any]) -> None:
    check_matrix(matrix)
    if matrix.plan_hash != about.get("sha256"):
        raise PlanError(
            Problem(
                str(path),
                f"was changed after the plan was made (hash {matrix.short_hash}, "
                f"expected {str(about.get('sha256'))[:8]})",
                "Take the file from a backup; what went differently belongs into "
                "records/deviations.csv.",
            )
        )


def _check_file(path: Path) -> None:
    """Refuse a file that lies outside the study folder, is no file, or is far too large."""
    if not path.exists() and not path.is_symlink():
        raise FileNotFoundError(2, "there is no such file", str(path))
    wrong, remedy = file_fault(path, path.parent.parent)
    if wrong:
        raise PlanError(Problem(str(path), wrong, remedy))


def _about(path: Path) -> dict[str, Any]:
    _check_file(path)
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        raise PlanError(
            Problem(str(path), f"is damaged ({error})", "Take it from a backup.")
        ) from None
    if not isinstance(about, dict):
        raise PlanError(Problem(str(path), "is damaged", "Take it from a backup."))
    return about


def _declared(about: Mapping[str, Any], path: Path, study: Study) -> Declaration:
    """What was declared at plan time; of a plan that does not tell it, if its hash shows it."""
    now = declaration(study)
    declared = about.get("declared")
    if declared is None:
        return now if about.get("declaration_sha256") == declaration_hash(study) else {}
    if declared == {}:
        return {}
    kinds = {name: type(part) for name, part in now.items() if isinstance(part, dict)}
    if (
        not isinstance(declared, dict)
        or set(now) - set(declared) - set(ONLY_WHERE_SAID)
        or any(not isinstance(declared[name], kind) for name, kind in kinds.items())
    ):
        raise PlanError(
            Problem(str(path), "does not tell what was declared", "Take it from a backup.")
        )
    return declared


def _check_factors(
    about: Mapping[str, Any], declared: Declaration, folder: Path, study: Study
) -> None:
    """Refuse a plan that was made for other factors, in one message for all its coupons."""
    if changes := changed_factors(declared, study):
        loads = int(declared["layout"]["furnace_loads"])
        raise PlanError(
            Problem(
                str(folder / PLAN_FILE),
                f"plan {str(about.get('sha256'))[:8]} ({loads} "
                f"{study.unit_word('furnace_load', loads)}) was made for other factors: "
                f"{'; '.join(changes)}",
                "Put study.toml back as it was; to plan anew before anything is cut, move "
                f"{folder} away.",
            )
        )


def _read_matrix(path: Path, study: Study) -> pd.DataFrame:
    """Table of a plan; whole numbers, other numbers and words by the names of the columns."""
    _check_file(path)
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            head, *rows = [row for row in csv.reader(file, strict=True) if row] or [[]]
    except (UnicodeDecodeError, csv.Error) as error:
        raise PlanError(
            Problem(path.name, f"is damaged ({error})", "Take the file from a backup.")
        ) from None
    problems = [
        Problem(
            f"{path.name} row {number}",
            f"has {len(row)} cells, the head has {len(head)}",
            "Take the file from a backup.",
        )
        for number, row in enumerate(rows, start=2)
        if len(row) != len(head)
    ]
    if len(set(head)) < len(head):
        twice = next(name for name in head if head.count(name) > 1)
        problems.append(
            Problem(path.name, f"has two columns {twice}", "Take the file from a backup.")
        )
    if problems:
        raise PlanError(problems)
    words = {
        "coupon",
        "reference",
        "cold_batch",
        *(f.column for f in study.factors if not f.is_numeric),
    }
    levels = {
        factor.column: {cell_text(level): float(level) for level in factor.levels}
        for factor in study.factors
        if factor.is_numeric
    }
    frame = pd.DataFrame(index=range(len(rows)))
    for place, name in enumerate(head):
        texts = [row[place] for row in rows]
        if name in words:
            frame[name] = texts
            continue
        numbers = [_number(text, whole=name in WHOLE_COLUMNS) for text in texts]
        exact = levels.get(name, {})  # 1450 degF is 787.7777... degC, the file keeps ten digits
        numbers = [exact.get(text, own) for text, own in zip(texts, numbers, strict=True)]
        problems += [
            Problem(
                f"{path.name} row {number}",
                f"{name} is '{text}', expected a {'whole ' if name in WHOLE_COLUMNS else ''}number",
                "Take the file from a backup.",
            )
            for number, (text, value) in enumerate(zip(texts, numbers, strict=True), start=2)
            if value is None
        ]
        frame[name] = numbers
    if problems:
        raise PlanError(problems)
    return frame.astype(
        {n: "int64" if n in WHOLE_COLUMNS else "float64" for n in head if n not in words}
    )


def _number(text: str, *, whole: bool) -> float | None:
    """Number in a cell, nan for a blank one; None if it is no number of this kind."""
    if not text and not whole:
        return math.nan
    try:
        number = float(text)
    except ValueError:
        return None
    is_right = number.is_integer() and abs(number) < 2**53 if whole else math.isfinite(number)
    return number if is_right else None
