"""What each verb of the command line does: calls the same functions as Python, prints paths."""

from __future__ import annotations

import argparse
import functools
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from quenchbook.errors import QuenchbookError
from quenchbook.publishing_steps import EDITIONS, WRITERS

if TYPE_CHECKING:
    from quenchbook.plan.matrix import CouponMatrix
    from quenchbook.records.reading import Records
    from quenchbook.report.blocks import TableBlock
    from quenchbook.study.definition import Noise

CAUTION = (
    "Hot furnaces, quench oil, liquid nitrogen, dry ice and alcohol can kill. The booklet shows "
    "the usual cautions; local codes and licensed practice come first."
)
"""Said at the end of every help text, and where bench papers are written."""


def run_demo(options: argparse.Namespace) -> None:
    """Whole job on an example study."""
    from quenchbook.steps import demo

    example = "coated_bars" if options.published else "plane_irons"
    folder = options.folder or Path(
        "quenchbook-published" if options.published else "quenchbook-demo"
    )
    paths = demo(folder, lambda line: print(line, flush=True), example=example)
    print("\nWritten:")
    _print_paths(paths)
    print(f"\nNext: open {paths[-2]}, or quenchbook lab {folder}, or quenchbook new MY_STUDY")


def run_new(options: argparse.Namespace) -> int:
    """New study folder: from the template, or from a few questions where no folder is named."""
    from quenchbook.steps import new_study

    folder, text = options.folder, None
    if folder is None:
        from quenchbook.asked_study import agreed, asked_study
        from quenchbook.asked_study_text import asked_study_text

        if not sys.stdin.isatty():
            raise QuenchbookError(
                "Without a folder quenchbook new asks a few questions, and here is no terminal "
                "to ask in. Name the folder: quenchbook new my_study."
            )
        try:
            asked = asked_study(input, print)
            if not agreed(input, print, "Write it?"):
                print("Nothing was written.")
                return 0
            folder, text = Path(asked.folder), asked_study_text(asked)
        except (KeyboardInterrupt, EOFError):
            print("\nStopped; nothing was written.", file=sys.stderr)
            return 130
    _print_paths(new_study(folder, text=text))
    if text is None:
        print(f"\nNext: edit {folder / 'study.toml'}, then quenchbook plan {folder}")
    else:
        print(
            f"\nNext: quenchbook plan {folder} --draft (writes nothing) or quenchbook lab {folder}."
            f"\nRead {folder / 'study.toml'}: what was not asked stands there as an example."
        )
    return 0


def run_plan(options: argparse.Namespace) -> None:
    """Coupon matrix, and what it can tell."""
    from quenchbook.outlook.error_df import error_df_words
    from quenchbook.outlook.sharpest import DRAWS, chance_decides
    from quenchbook.plan.files import PLAN_FILE
    from quenchbook.planning_steps import draft_plan, plan_study, unanswerable
    from quenchbook.study.left_from_template import template_words

    folder = options.study / "plan"
    before = (folder / PLAN_FILE).exists()
    paths: list[Path] = []
    if options.draft:
        matrix = draft_plan(options.study, seed=options.seed)
    else:
        matrix, paths = plan_study(options.study, seed=options.seed)
    if before:
        print(f"A plan exists ({matrix.short_hash}) and was left as it is.")
    print(matrix.summary())
    if before and matrix.changes and not matrix.study.published:
        print(f"To declare it anew before anything is cut, move {folder} away and plan again.")
    for line in error_df_words(matrix):
        print(line)
    print("(error df: spare units to judge by; below 3 the judgement is very coarse)")
    if not before and options.seed is None and chance_decides(matrix):
        print(
            "A load cannot hold every combination, so chance decides which meet in it: of "
            f"{DRAWS} draws one of the sharpest was taken, seed {matrix.seed}."
        )
    _print_prospects(matrix, options)
    for line in template_words(matrix.study):
        print(line)
    _print_paths(paths)
    lost, all_lost = unanswerable(matrix)
    if all_lost:
        loads = matrix.study.unit_word("furnace_load", 2)
        print(f"\nThis plan cannot answer anything; add {loads} first.")
        return
    for words in lost:
        print(f"This plan cannot answer: {words}")
    if options.draft and not before:
        print(
            f"\nA draft: nothing was written. To keep exactly this plan: quenchbook plan "
            f"{options.study} --seed {matrix.seed}"
        )
        return
    print(f"\nNext: quenchbook bench {options.study}")


def _print_prospects(matrix: CouponMatrix, options: argparse.Namespace) -> None:
    """What the plan can tell and costs; with the options, what more would buy, and a simulation."""
    from quenchbook.outlook.comparison import against_crossed
    from quenchbook.outlook.questions import question_outlooks
    from quenchbook.outlook.steel import level_warnings
    from quenchbook.plan.cost import plan_cost
    from quenchbook.plan.quality import plan_quality
    from quenchbook.planning_steps import count_words

    study = matrix.study
    if study.published:
        return
    print(f"\nHow good it is:\n{plan_quality(matrix).summary()}")
    if study.plan.kind == "best":
        print("\n".join(against_crossed(matrix)))
    print("\nWhat it can tell, if everything goes as planned:")
    print(question_outlooks(matrix).summary())
    _print_curves(matrix)
    about_peaks = any(question.asks == "peak" for question in study.trade_questions)
    if not about_peaks and any(own.expected_peak is not None for own in study.responses):
        from quenchbook.outlook.peak import peak_outlook

        try:
            print(peak_outlook(matrix).summary())
        except QuenchbookError as error:
            print(error)
    if options.simulate:
        from quenchbook.outlook.simulation import simulated_outlook

        print(f"\n{simulated_outlook(matrix).summary()}")
    print(f"\nWhat it costs:\n{plan_cost(matrix).summary()}")
    print("\n".join(count_words(matrix)))
    if options.certainty is not None:
        from quenchbook.outlook.certainty import certainty_costs

        print(f"\n{certainty_costs(study, options.certainty or None).summary()}")
    if options.needed is not None and study.questions:
        from quenchbook.outlook.needed import units_needed
        from quenchbook.outlook.wording import GOAL_WORDS

        key = options.needed or study.questions[0].key
        print("\nHow many furnace loads it needs, all else as it is:")
        for goal in GOAL_WORDS:
            print(units_needed(study, key, goal=goal).summary().split("\n")[0])
    if warnings := level_warnings(study):
        print("\nWhat published equations expect of the steel:")
        print("\n".join(warnings))
    print()


def _print_curves(matrix: CouponMatrix, noise: Mapping[str, Noise] | None = None) -> None:
    """What the plan can tell of declared questions about curves, one line each."""
    from quenchbook.outlook.trade_outlook import trade_outlook

    if matrix.study.trade_questions:
        print(trade_outlook(matrix, noise=noise).summary())


def run_sweep(options: argparse.Namespace) -> None:
    """Many sizes of the plan, by formula and by simulated studies."""
    from quenchbook.sweep_steps import sweep_study

    found, paths = sweep_study(
        options.study, options.question, loads=options.loads, coupons=options.coupons,
        indents=options.indents, noise=options.noise, effects=options.effects,
        studies=options.studies, seed=options.seed, backend=options.backend,
        workers=options.workers, scheduler=options.scheduler,
    )  # fmt: skip
    print(found.summary())
    print(found.work)
    _print_paths(paths)
    print(f"\nNext: set the layout in study.toml, then quenchbook plan {options.study} --draft")


def run_next(options: argparse.Namespace) -> None:
    """What open questions need, or the next coupons."""
    from quenchbook.outlook.questions import question_outlooks
    from quenchbook.plan.cost import plan_cost
    from quenchbook.planning_steps import next_needs, next_study, noise_of_studies

    if options.loads is None:
        print(next_needs(options.study).summary())
        print(f"\nNext: quenchbook next {options.study} --loads 4 --draft")
        return
    matrix, paths = next_study(
        options.study, options.loads, aim=options.aim, seed=options.seed, keep=not options.draft
    )
    print(matrix.summary())
    for note in matrix.continuations[-1].notes:
        print(note)
    noise = noise_of_studies([options.study]) if options.aim != "same" else None
    print(f"\nWhat the study can tell then:\n{question_outlooks(matrix, noise=noise).summary()}")
    _print_curves(matrix, noise)
    last = matrix.part(len(matrix.continuations))
    print(f"\nWhat the new coupons cost:\n{plan_cost(last).summary()}")
    if options.draft:
        seed = matrix.continuations[-1].seed
        print(f"\nA draft: nothing was written. To keep exactly these coupons add --seed {seed}")
        return
    _print_paths(paths)
    print(f"\nNext: quenchbook bench {options.study}")


def run_bench(options: argparse.Namespace) -> None:
    """Bench documents and blank forms."""
    from quenchbook.steps import bench_study

    _print_paths(bench_study(options.study, say=print))
    print(
        f"\n{CAUTION}\nNext: fill in the forms, put them into {options.study / 'records'}, then "
        f"quenchbook check {options.study}"
    )


def run_check(options: argparse.Namespace) -> int:
    """Mistakes of the records, marked copies, acceptance."""
    from quenchbook.steps import accept_study, changes_of_study, marked_study

    if options.mark:
        mistakes, paths = marked_study(options.study)
        if mistakes.problems:
            print(mistakes.summary(), file=sys.stderr)
            _print_paths(paths)
            return 2
    if options.accept:
        print(accept_study(options.study, reason=options.reason).accepted())
    else:
        records, changes = changes_of_study(options.study)
        print(records.summary())
        _print_evidence(records)
        _print_alarm(records)
        if changes is not None:
            print(changes.summary())
    print(f"\nNext: quenchbook analyse {options.study}")
    return 0


def _print_evidence(records: Records) -> None:
    """Say how much was read of what others found."""
    from quenchbook.records.reading_evidence import read_evidence

    evidence = read_evidence(records.study.folder, records.study)
    if len(evidence):
        print(evidence.summary())


def _print_alarm(records: Records) -> None:
    """Say at once if a check of a tester is out of its limit."""
    from quenchbook.records.tester import checks_of_testers

    if alarm := checks_of_testers(records).alarm():
        print(alarm)


def run_analyse(options: argparse.Namespace) -> None:
    """Answers to the declared questions."""
    from quenchbook.report.noise_tables import term_table
    from quenchbook.steps import analyse_study

    analysis, paths = analyse_study(options.study)
    print(analysis.records.summary())
    _print_evidence(analysis.records)
    _print_alarm(analysis.records)
    print()
    print(analysis.summary(), end="\n\n")
    for name, model in analysis.models.items():
        print(model.units_ladder())
        _print_table(term_table(model, name, analysis.study))
        for note in model.notes:
            print(note)
        print()
    _print_paths(paths)
    print(f"\nNext: quenchbook report {options.study}")


def run_report(options: argparse.Namespace) -> None:
    """Report, figures, open data."""
    from tqdm import tqdm

    from quenchbook.publishing_steps import report_study

    with tqdm(desc="report", leave=False, disable=not sys.stderr.isatty()) as bar:

        def shown(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        paths = report_study(
            options.study,
            editions=EDITIONS if "all" in options.edition else options.edition,
            to=list(WRITERS) if "all" in options.to else options.to,
            show_code=options.code,
            appendix=not options.no_appendix,
            progress=shown,
        )
    _print_paths(paths)


def run_verify(options: argparse.Namespace) -> int:
    """Archive of open data, recomputed."""
    from quenchbook.archive_steps import verify_archive

    done = verify_archive(options.archive)
    print(done.summary())
    return 0 if done.agrees else 2


def run_library(options: argparse.Namespace) -> None:
    """Many studies as one table."""
    from quenchbook.own_studies import library_overview, read_studies

    cache = False if options.no_cache else options.cache or True
    studies = read_studies(options.folder, cache=cache)
    wanted = {
        "steel": options.steel,
        "cold_route": options.route,
        "austenitize": options.between and tuple(options.between),
        "response": options.response,
        "heat_lot": options.lot,
        "date": options.dates and tuple(options.dates),
    }
    studies = studies.where(**{name: value for name, value in wanted.items() if value})
    print(library_overview(studies).summary())
    if options.to is not None:
        print("\nWritten:")
        _print_paths([studies.write_table(options.to)])


def run_lab(options: argparse.Namespace) -> int:
    """JupyterLab on a study folder."""
    from quenchbook.lab import check_lab_folder, run_lab_until_stopped

    def wanted() -> bool:
        if options.add_notebooks or not sys.stdin.isatty():
            return bool(options.add_notebooks)
        asked = input("The start page is missing. Copy the missing notebooks? [yes] ")
        return asked.strip().lower() in ("", "y", "yes")

    def say(line: str) -> None:
        print(line, flush=True)

    check_lab_folder(options.study, say, add_notebooks=wanted)
    return run_lab_until_stopped(
        options.study,
        say,
        port=options.port,
        browser=not options.no_browser,
        allow_root=options.allow_root,
    )


def run_handbook(options: argparse.Namespace) -> None:
    """Handbook as a folder of pages."""
    from tqdm import tqdm

    from quenchbook.handbook.building import DEFAULT, write_handbook

    with tqdm(desc="questions", leave=False, disable=not sys.stderr.isatty()) as bar:

        def shown(done: int, total: int) -> None:
            bar.total = total
            bar.update(done - bar.n)

        paths = write_handbook(
            options.folder or DEFAULT,
            run=not options.without_running,
            commands=_help_texts(options.parsers),
            progress=shown,
        )
    print(f"{len(paths)} pages; all links lead somewhere.")
    _print_paths(paths[:1])


def _help_texts(parsers: Mapping[str, argparse.ArgumentParser]) -> dict[str, str]:
    """Help of each verb, in lines of one width whatever the terminal; aliases are left out."""
    found: dict[argparse.ArgumentParser, str] = {}
    for name, parser in parsers.items():
        parser.formatter_class = functools.partial(argparse.HelpFormatter, width=88)
        parser.epilog = None  # the handbook has a page of cautions
        found.setdefault(parser, name)
    return {name: parser.format_help() for parser, name in found.items()}


def run_doctor(_options: argparse.Namespace) -> int:
    """What is installed."""
    from quenchbook.doctor import checkup

    lines, healthy = checkup()
    print("\n".join(lines))
    return 0 if healthy else 2


def _print_table(block: TableBlock) -> None:
    """Print a table of the report: same heads, same texts."""
    rows = [tuple(column.title for column in block.columns), *block.rows]
    widths = [max(len(row[place]) for row in rows) for place in range(len(block.columns))]
    print(block.caption)
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        print(f"  {'  '.join(cells)}".rstrip())
    for note in block.notes:
        print(f"  {note}")


def _print_paths(paths: Sequence[Path]) -> None:
    for path in paths:
        print(f"  {path}")
