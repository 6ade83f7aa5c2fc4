"""Keep a plan: the matrix as CSV, beside it seed, versions and hash; refuse a changed plan."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.declaration import ONLY_WHERE_SAID, Declaration, changed_factors, declaration
from quenchbook.plan.matrix import CouponMatrix, canonical_text, check_matrix
from quenchbook.study.definition import Study
from quenchbook.writing import write_text

FORMAT: Final = 1
MATRIX_FILE: Final = "coupon_matrix.csv"
PLAN_FILE: Final = "plan.json"


def declaration_hash(study: Study) -> str:
    """SHA-256 of what must be fixed before the data: factors, margins, questions, confidence."""
    fixed = {
        "factors": [repr(factor) for factor in study.factors],
        "responses": [repr(response) for response in study.responses],
        "questions": [repr(question) for question in study.questions],
        "confidence": study.confidence,
    }
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
        if kept.get("sha256") != matrix.plan_hash:
            raise PlanError(
                Problem(
                    str(paths[1]),
                    f"holds plan {str(kept.get('sha256'))[:8]}, this one is {matrix.short_hash}",
                    "Coupons may already carry its codes, so it is not overwritten. "
                    "Move the folder away to start anew.",
                )
            )
        if "declared" in kept or kept.get("declaration_sha256") != declaration_hash(matrix.study):
            return [write_text(paths[0], canonical_text(matrix.frame)), paths[1]]
    about = {
        "format": FORMAT,
        "study": matrix.study.key,
        "origin": matrix.origin,
        "seed": matrix.seed,
        "sha256": matrix.plan_hash,
        "declaration_sha256": declaration_hash(matrix.study) if known else None,
        "declared": dict(declared),
        "versions": dict(matrix.versions),
        "notes": list(matrix.notes),
    }
    text = json.dumps(about, indent=2, ensure_ascii=False) + "\n"
    return [write_text(paths[0], canonical_text(matrix.frame)), write_text(paths[1], text)]


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
    check_matrix(matrix)
    if matrix.plan_hash != about.get("sha256"):
        raise PlanError(
            Problem(
                str(folder / MATRIX_FILE),
                f"was changed after the plan was made (hash {matrix.short_hash}, "
                f"expected {str(about.get('sha256'))[:8]})",
                "Take the file from a backup; what went differently belongs into "
                "records/deviations.csv.",
            )
        )
    return matrix


def _about(path: Path) -> dict[str, Any]:
    try:
        about = json.loads(path.read_text(encoding="utf-8"))
    except (json.JSONDecodeError, UnicodeDecodeError) as error:
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
    texts = pd.read_csv(path, dtype=str, keep_default_na=False)
    frame = pd.DataFrame(index=texts.index)
    words = {
        "coupon",
        "reference",
        "cold_batch",
        *(f.column for f in study.factors if not f.is_numeric),
    }
    whole = {"furnace_load", "day", "load_place", "temper_batch", "bar", "bar_position"}
    for name in texts.columns:
        if name in words:
            frame[name] = texts[name]
            continue
        numbers = pd.to_numeric(texts[name].replace("", "nan"), errors="coerce")
        unreadable = texts.index[numbers.isna() & (texts[name] != "")]
        if len(unreadable) or (name in whole and numbers.isna().any()):
            row = (
                int(unreadable[0]) + 2
                if len(unreadable)
                else int(numbers.index[numbers.isna()][0]) + 2
            )
            raise PlanError(
                Problem(
                    f"{path.name} row {row}",
                    f"{name} is not a number",
                    "Take the file from a backup.",
                )
            )
        frame[name] = numbers.astype("int64" if name in whole else "float64")
    return frame
