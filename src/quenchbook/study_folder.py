"""What lies in a study folder: study, plan and records, read together."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from quenchbook.errors import Problem
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Study


def read_folder(folder: str | Path) -> tuple[Study, CouponMatrix, Records]:
    """Read study, plan and records of a study folder.

    Published comparisons beside the study file are read too: their mistakes are named with those
    of the records, not when the report is written.
    """
    from quenchbook.errors import NothingRecordedError, RecordError
    from quenchbook.plan.files import read_plan
    from quenchbook.records.reading import read_records
    from quenchbook.records.reading_evidence import read_evidence
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    try:
        records = read_records(Path(folder) / "records", matrix)
    except NothingRecordedError as error:
        if more := evidence_problems(folder, study):
            raise RecordError([*error.problems, *more]) from None
        raise
    except RecordError as error:
        raise RecordError([*error.problems, *evidence_problems(folder, study)]) from None
    read_evidence(folder, study)
    return study, matrix, records


def evidence_problems(folder: str | Path, study: Study) -> tuple[Problem, ...]:
    """Mistakes of the published comparisons in a study folder; empty if there are none."""
    from quenchbook.errors import RecordError
    from quenchbook.records.reading_evidence import read_evidence

    try:
        read_evidence(folder, study)
    except RecordError as error:
        return tuple(error.problems)
    return ()


def plan_of(folder: str | Path) -> CouponMatrix:
    """Read study and plan of a study folder."""
    from quenchbook.plan.files import read_plan
    from quenchbook.study.files import read_study

    return read_plan(Path(folder) / "plan", read_study(folder))


def study_folders(folder: str | Path) -> list[Path]:
    """Study folders in a folder, in order of their names; the folder itself if it is one.

    Parameters
    ----------
    folder : str or Path

    Raises
    ------
    StudyError
        If there is no study in it.
    """
    from quenchbook.errors import Problem, StudyError

    folder = Path(folder)
    if (folder / "study.toml").exists():
        return [folder]
    found = [path.parent for path in sorted(folder.glob("*/study.toml"))] if folder.is_dir() else []
    if not found:
        raise StudyError(
            Problem(
                str(folder),
                "holds no study",
                "Name a study folder, or a folder whose folders hold a study.toml each.",
            )
        )
    return found


def resource(*parts: str) -> Path:
    """Path of a file or folder that comes with quenchbook (``data``, ``notebooks``)."""
    from quenchbook.errors import QuenchbookError

    package = Path(__file__).parent
    for root in (package, package.parent.parent):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise QuenchbookError(
        f"{'/'.join(parts)} is missing from this installation. Install quenchbook again."
    )
