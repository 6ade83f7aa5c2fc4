"""The steps of a study on its folder: what the commands do, callable from Python.

A study folder holds ``study.toml``, and the steps add ``plan/``, ``bench/``, ``reports/``;
readings go into ``records/`` and are only ever read.
"""

from __future__ import annotations

import dataclasses
import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import PlanError, Problem, QuenchbookError, StudyError
from quenchbook.writing import write_text

if TYPE_CHECKING:
    from quenchbook.findings.answers import Analysis
    from quenchbook.fit.mixed import MixedModel
    from quenchbook.outlook.next_coupons import Aim
    from quenchbook.outlook.undecided import Undecided
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.acceptance import RecordChanges
    from quenchbook.records.mistakes import Mistakes
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Noise, Study

Say = Callable[[str], None]

EXAMPLES = {"plane_irons": "invented demonstration", "coated_bars": "published experiment"}
_LONGEST_TITLE = 48  # characters that stand whole in the running head of a page
NOTEBOOKS = ("01_plan", "02_bench", "03_records", "04_analysis", "05_report", "06_next")


def resource(*parts: str) -> Path:
    """Path of a file or folder that comes with quenchbook (``data``, ``notebooks``)."""
    package = Path(__file__).parent
    for root in (package, package.parent.parent):
        path = root.joinpath(*parts)
        if path.exists():
            return path
    raise QuenchbookError(
        f"{'/'.join(parts)} is missing from this installation. Install quenchbook again."
    )


def new_study(folder: str | Path) -> list[Path]:
    """Start a study: ``study.toml`` with comments, notebooks, an empty ``records`` folder.

    Parameters
    ----------
    folder : str or Path
        New or empty folder.

    Returns
    -------
    list of Path

    Raises
    ------
    StudyError
        If the folder holds anything: nothing is overwritten.
    """
    folder = Path(folder)
    if folder.exists() and any(folder.iterdir()):
        raise StudyError(
            Problem(str(folder), "is not empty", "Name a new folder; nothing is overwritten.")
        )
    template = Path(__file__).parent / "study" / "template.toml"
    (folder / "records").mkdir(parents=True)
    name = folder.resolve().name
    text = template.read_text(encoding="utf-8").replace("my_study", _short_name(name))
    paths = [write_text(folder / "study.toml", text)]
    return [*paths, *_copy_notebooks(folder)]


def copy_example(name: str, folder: str | Path) -> Path:
    """Copy an example study with its plan and records; an earlier copy is used again.

    Parameters
    ----------
    name : str
        ``plane_irons`` or ``coated_bars``.
    folder : str or Path
        Target folder.
    """
    source, folder = resource("data", name), Path(folder)
    study = folder / "study.toml"
    if study.exists():
        if study.read_bytes() != (source / "study.toml").read_bytes():
            raise StudyError(
                Problem(
                    str(study), "is another study", "Name another folder; nothing is overwritten."
                )
            )
        return folder
    if folder.exists() and any(folder.iterdir()):
        raise StudyError(
            Problem(str(folder), "is not empty", "Name a new folder; nothing is overwritten.")
        )
    shutil.copytree(
        source, folder, dirs_exist_ok=True, ignore=shutil.ignore_patterns("__pycache__")
    )
    _copy_notebooks(folder)
    return folder


def plan_study(folder: str | Path, *, seed: int | None = None) -> tuple[CouponMatrix, list[Path]]:
    """Make the plan of a study, or read the one that was made.

    Parameters
    ----------
    folder : str or Path
    seed : int, optional
        Seed of the randomization; drawn when left out, and kept in the plan.

    Raises
    ------
    PlanError
        If a plan was made before for another seed, layout or other factors than asked for now.
    """
    import secrets

    from quenchbook.plan.declaration import changed_layout
    from quenchbook.plan.files import MATRIX_FILE, PLAN_FILE, read_plan, write_plan
    from quenchbook.plan.randomization import coupon_matrix
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
    matrix = coupon_matrix(study, seed=secrets.randbelow(10**8) if seed is None else seed)
    return matrix, write_plan(matrix, place)


def draft_plan(folder: str | Path, *, seed: int = 1) -> CouponMatrix:
    """Plan that was kept, or else a draft of it that is written nowhere.

    Parameters
    ----------
    folder : str or Path
    seed : int
        Of a draft; the plan that is kept gets a seed of its own.
    """
    from quenchbook.plan.files import PLAN_FILE, read_plan
    from quenchbook.plan.randomization import coupon_matrix
    from quenchbook.study.files import read_study

    study, place = read_study(folder), Path(folder) / "plan"
    if (place / PLAN_FILE).exists():
        return read_plan(place, study)
    return coupon_matrix(study, seed=seed)


def noise_of_studies(folders: Sequence[str | Path]) -> dict[str, Noise]:
    """Noise of each response as measured by a pilot or by earlier studies.

    Parameters
    ----------
    folders : sequence of str or Path
        Study folders with records; none: nothing is measured, and the study file has the word.

    Returns
    -------
    dict of response to Noise
        For `question_outlooks` and the other functions that judge a plan.
    """
    from quenchbook.findings.answers import analyse
    from quenchbook.outlook.noise import measured_noise

    models: dict[str, list[MixedModel]] = {}
    for folder in folders:
        for name, model in analyse(read_folder(folder)[2]).models.items():
            models.setdefault(name, []).append(model)
    return {name: measured_noise(own) for name, own in models.items()}


def next_needs(folder: str | Path, *, power: float = 0.8) -> Undecided:
    """What each undecided question of a finished study still needs."""
    from quenchbook.outlook.undecided import undecided_needs

    analysis, matrix = _analysis_of(folder)
    needs = undecided_needs(matrix, analysis.models, analysis.undecided(), power=power)
    unsettled = [
        f"{own.question} Real, but whether it is more than the margin is not settled: its interval "
        "has to become narrower."
        for own in analysis.findings
        if own.key in analysis.open_questions() and own.verdict == "differs"
    ]
    return dataclasses.replace(needs, notes=(*unsettled, *needs.notes))


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


def template_words(study: Study) -> list[str]:
    """Words of the template that still stand in the study file, one sentence or none."""
    import tomllib

    text = (Path(__file__).parent / "study" / "template.toml").read_text(encoding="utf-8")
    template = tomllib.loads(text)
    own = {"author": study.author, "date": study.date}
    left = [f"{key} is still '{text}'" for key, text in own.items() if text == str(template[key])]
    if not left:
        return []
    return [f"In study.toml the {' and the '.join(left)}, and the report will print it."]


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


def read_folder(folder: str | Path) -> tuple[Study, CouponMatrix, Records]:
    """Read study, plan and records of a study folder."""
    from quenchbook.plan.files import read_plan
    from quenchbook.records.reading import read_records
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    return study, matrix, read_records(Path(folder) / "records", matrix)


def marked_study(folder: str | Path) -> tuple[Mistakes, list[Path]]:
    """Mistakes of the records of a study folder, and copies of the files with them marked."""
    from quenchbook.records.marked_copies import write_marked_copies
    from quenchbook.records.mistakes import record_mistakes

    mistakes = record_mistakes(Path(folder) / "records", _plan_of(folder))
    return mistakes, write_marked_copies(Path(folder) / "records", mistakes)


def accept_study(folder: str | Path, *, reason: str = "") -> RecordChanges:
    """Keep the records of a study folder for good, see `quenchbook.records.acceptance`."""
    from quenchbook.records.acceptance import accept_records

    return accept_records(Path(folder) / "records", _plan_of(folder), reason=reason)


def changes_of_study(folder: str | Path) -> tuple[Records, RecordChanges | None]:
    """Records of a study folder, and what is new in them; None if nothing was ever accepted."""
    from quenchbook.records.acceptance import record_changes
    from quenchbook.records.kept_entries import FOLDER

    records, place = read_folder(folder)[2], Path(folder) / "records"
    return records, record_changes(place, records) if (place / FOLDER).exists() else None


def _plan_of(folder: str | Path) -> CouponMatrix:
    from quenchbook.plan.files import read_plan
    from quenchbook.study.files import read_study

    return read_plan(Path(folder) / "plan", read_study(folder))


def bench_study(folder: str | Path, *, say: Say | None = None) -> list[Path]:
    """Write bench sheets, timetable, the bench page for a phone and blank entry forms.

    Parameters
    ----------
    folder : str or Path
    say : callable, optional
        Told of each form that already holds entries and was left alone.
    """
    from quenchbook.bench.forms import write_entry_forms
    from quenchbook.plan.files import read_plan
    from quenchbook.report.bench_pages import write_bench_documents
    from quenchbook.report.phone_page import PHONE_FILE, write_phone_page
    from quenchbook.report.timetable_pages import write_timetable_documents
    from quenchbook.study.files import read_study

    study = read_study(folder)
    matrix = read_plan(Path(folder) / "plan", study)
    paths = []
    for number in range(len(matrix.hashes)):
        place = Path(folder) / "bench"
        if number:
            place = place / f"continuation_{number}"
        part = matrix.part(number)
        sheets = [
            *write_bench_documents(part, place),
            *write_timetable_documents(part, place),
            write_phone_page(part, place / PHONE_FILE),
        ]
        forms = write_entry_forms(part, place / "forms")
        if say is not None:
            for note in forms.notes:
                say(note)
        paths += [*sheets, *forms]
    return paths


def analyse_study(folder: str | Path) -> tuple[Analysis, list[Path]]:
    """Analyse the records; write tests, findings and variance components as CSV.

    ``columns.csv`` beside them says what each column means.
    """
    import pandas as pd

    from quenchbook.columns import meaning
    from quenchbook.findings.answers import analyse

    analysis = analyse(read_folder(folder)[2])
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    tests, components = [], []
    for name, model in analysis.models.items():
        tests.append(model.tests().assign(response=name))
        components.append(model.variance_components.assign(response=name))
    findings = [
        {
            key: getattr(own, key, None)
            for key in (
                "key", "question", "response", "verdict", "scale", "unit", "estimate", "std_error",
                "df", "df_error", "statistic", "conf_low", "conf_high", "inner_low", "inner_high",
                "margin", "p_value", "sentence", "declared", "change",
            )
        }
        for own in analysis.findings
    ]  # fmt: skip
    tables = {
        "tests": pd.concat(tests),
        "variance_components": pd.concat(components),
        "findings": pd.DataFrame(findings),
    }
    used = dict.fromkeys(str(name) for frame in tables.values() for name in frame)
    rows = [(name, *meaning(name, analysis.study)) for name in used]
    tables["columns"] = pd.DataFrame(rows, columns=["column", "meaning", "unit"])
    return analysis, [
        write_text(place / f"{name}.csv", frame.to_csv(index=False, lineterminator="\n"))
        for name, frame in tables.items()
    ]


def report_study(
    folder: str | Path, *, progress: Callable[[int, int], None] | None = None
) -> list[Path]:
    """Run the report notebook of a study and write it as HTML and PDF.

    Parameters
    ----------
    folder : str or Path
    progress : callable, optional
        Called with cells done and cells in all.
    """
    from quenchbook.report.exporters import write_html, write_pdf
    from quenchbook.report.run import executed

    study, _, _ = read_folder(folder)
    own = Path(folder) / "notebooks" / "05_report.ipynb"
    notebook_path = own if own.exists() else resource("notebooks", "05_report.ipynb")
    notebook = executed(
        notebook_path, parameters={"study_folder": "."}, folder=Path(folder), progress=progress
    )
    place = Path(folder) / "reports"
    place.mkdir(exist_ok=True)
    html, pdf = place / f"{study.key}.html", place / f"{study.key}.pdf"
    details = {
        "title": study.question,
        "study": _short_title(study),
        "author": study.author,
        "date": study.date,
    }
    for write, path in ((write_html, html), (write_pdf, pdf)):
        write(notebook, path, overwrite=True, details=details)
    return [html, pdf]


def demo(folder: str | Path, say: Say, *, example: str = "plane_irons") -> list[Path]:
    """Do the whole job on an example study, from question to published report.

    Parameters
    ----------
    folder : str or Path
        Where the copy of the example goes.
    say : callable
        Told each step as it is done.
    example : str
        ``plane_irons`` or ``coated_bars``.

    Returns
    -------
    list of Path
        What was written.
    """
    folder = copy_example(example, folder)
    matrix, paths = plan_study(folder)
    say(f"1 plan      {matrix.summary().splitlines()[0]}")
    if matrix.seed is not None:
        _check_seed(matrix)
        say(f"            made again from seed {matrix.seed}: the same plan")
    bench = bench_study(folder)
    say(f"2 bench     {len(bench)} documents: sheets in furnace order, blank forms")
    records = read_folder(folder)[2]
    for number, line in enumerate(records.summary().splitlines()):
        say(f"{'3 records   ' if number == 0 else '            '}{line}")
    analysis, tables = analyse_study(folder)
    for number, own in enumerate(analysis.findings):
        word = f"{own.verdict}, exploratory" if own.change else own.verdict
        say(f"{'4 analysis  ' if number == 0 else '            '}{own.question} {word}")
    say("5 report    running the notebook ...")
    reports = report_study(folder)
    return [*paths, *bench, *tables, *reports]


def _check_seed(matrix: CouponMatrix) -> None:
    from quenchbook.plan.randomization import coupon_matrix

    assert matrix.seed is not None
    again = coupon_matrix(matrix.study, seed=matrix.seed)
    if again.plan_hash != matrix.plan_hash:
        raise PlanError(
            f"The seed {matrix.seed} makes plan {again.short_hash} with this version, not "
            f"{matrix.short_hash}. "
            "The stored matrix stays the plan; the seed is only evidence."
        )


def _copy_notebooks(folder: Path) -> list[Path]:
    place = folder / "notebooks"
    place.mkdir(parents=True, exist_ok=True)
    paths = []
    for name in NOTEBOOKS:
        notebook = json.loads(resource("notebooks", f"{name}.ipynb").read_text(encoding="utf-8"))
        for cell in notebook["cells"]:
            if "parameters" in cell["metadata"].get("tags", []):
                lines = [line for line in cell["source"] if not line.startswith("study_folder")]
                cell["source"] = ['study_folder = ".."\n', *lines]
        text = json.dumps(notebook, indent=1, ensure_ascii=False) + "\n"
        paths.append(write_text(place / f"{name}.ipynb", text))
    return paths


def _short_title(study: Study) -> str:
    """Title that fits the running head: whole, up to its colon, or the key in words."""
    for title in (study.title, study.title.partition(":")[0]):
        if len(title) <= _LONGEST_TITLE:
            return title
    return study.key.replace("_", " ")


def _short_name(name: str) -> str:
    import re

    short = re.sub(r"[^a-z0-9_]+", "_", name.lower()).strip("_")
    return short if short and short[0].isalpha() else f"study_{short}"
