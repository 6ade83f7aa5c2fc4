"""Keep a plan: the matrix as CSV, beside it seed, versions and hash; refuse a changed plan."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from typing import Final

import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.randomization import CouponMatrix, canonical_text, check_matrix
from quenchbook.study.definition import Study

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


def write_text(path: Path, text: str) -> Path:
    """Write a file whole or not at all."""
    part = path.with_name(path.name + ".part")
    part.write_text(text, encoding="utf-8", newline="\n")
    os.replace(part, path)
    return path


def write_plan(matrix: CouponMatrix, folder: str | Path) -> list[Path]:
    """Write ``coupon_matrix.csv`` and ``plan.json``.

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
    if (folder / PLAN_FILE).exists():
        kept = json.loads((folder / PLAN_FILE).read_text(encoding="utf-8"))
        if kept.get("sha256") != matrix.plan_hash:
            raise PlanError(
                Problem(
                    str(folder / PLAN_FILE),
                    f"holds plan {str(kept.get('sha256'))[:8]}, this one is {matrix.short_hash}",
                    "Coupons may already carry its codes, so it is not overwritten. "
                    "Move the folder away to start anew.",
                )
            )
    about = {
        "format": FORMAT,
        "study": matrix.study.key,
        "origin": matrix.origin,
        "seed": matrix.seed,
        "sha256": matrix.plan_hash,
        "declaration_sha256": declaration_hash(matrix.study),
        "versions": dict(matrix.versions),
        "notes": list(matrix.notes),
    }
    text = json.dumps(about, indent=2, ensure_ascii=False) + "\n"
    return [
        write_text(folder / MATRIX_FILE, canonical_text(matrix.frame)),
        write_text(folder / PLAN_FILE, text),
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
        If the plan is missing, was changed, or cannot be run.
    """
    folder = Path(folder)
    try:
        about = json.loads((folder / PLAN_FILE).read_text(encoding="utf-8"))
        frame = _read_matrix(folder / MATRIX_FILE, study)
    except FileNotFoundError as error:
        raise PlanError(
            Problem(
                str(error.filename),
                "there is no such file",
                "Make the plan first: quenchbook plan STUDY",
            )
        ) from None
    except json.JSONDecodeError as error:
        raise PlanError(
            Problem(str(folder / PLAN_FILE), f"is damaged ({error})", "Take it from a backup.")
        ) from None
    notes = [str(note) for note in about.get("notes", ())]
    if about.get("declaration_sha256") != declaration_hash(study):
        notes.append(
            "The study file's factors, margins or questions were changed after this plan was made: "
            "what was added then is exploratory."
        )
    matrix = CouponMatrix(
        frame=frame,
        study=study,
        seed=about.get("seed"),
        origin=str(about.get("origin", "randomized")),
        notes=tuple(notes),
        versions=dict(about.get("versions", {})),
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


def _read_matrix(path: Path, study: Study) -> pd.DataFrame:
    texts = pd.read_csv(path, dtype=str, keep_default_na=False)
    frame = pd.DataFrame(index=texts.index)
    words = {"coupon", "cold_batch", *(f.column for f in study.factors if not f.is_numeric)}
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
