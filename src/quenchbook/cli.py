"""Command line: the verbs and their options. What a verb does stands in `verbs`."""

from __future__ import annotations

import argparse
import contextlib
import os
import re
import sys
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, NoReturn

from quenchbook import __version__
from quenchbook import verbs as verb_functions
from quenchbook.errors import QuenchbookError, QuenchbookWarning, with_suggestion
from quenchbook.publishing_steps import EDITIONS, USUAL, WRITERS
from quenchbook.verbs import CAUTION

DESCRIPTION = "Plan, run, analyse and publish small heat-treatment studies on steel."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 when it worked, 2 when the input was wrong; the message is on standard error. 141 when
        what it printed was no longer read, as of ``quenchbook plan | head``.
    """
    try:
        try:
            return _run(arguments)
        finally:
            sys.stdout.flush()  # what is still kept back would fail where nobody can catch it
    except BrokenPipeError:
        with contextlib.suppress(OSError, ValueError):  # no file, or closed
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 128 + 13  # as a shell tells an end by SIGPIPE


def _run(arguments: Sequence[str] | None) -> int:
    parser = _parser()
    options, unknown = parser.parse_known_args(arguments)
    if unknown:
        own = options.own_parser
        first = next((text for text in unknown if text.startswith("-")), unknown[0])
        known = re.findall(r"(?<![\w-])--?[a-z][a-z-]*", own.format_help())
        own.error(with_suggestion(f"'{first}' is not known here.", first, dict.fromkeys(known)))
    if options.run is None:
        parser.print_help()
        return 0
    usual = warnings.formatwarning
    warnings.formatwarning = _plain_warning(usual)
    try:
        return int(options.run(options) or 0)
    except QuenchbookError as error:
        for problem in error.problems:
            print(problem, file=sys.stderr)
        count = len(error.problems)
        if count > 1:
            print(f"{count} problems; nothing was written.", file=sys.stderr)
        return 2
    except BrokenPipeError:
        raise
    except OSError as error:
        print(f"{error.filename or 'file'}: {error.strerror or error}.", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("Stopped; files are whole.", file=sys.stderr)
        return 130
    finally:
        warnings.formatwarning = usual


def _plain_warning(usual: Callable[..., str]) -> Callable[..., str]:
    """Text of a warning: one of quenchbook is a sentence, said once; others keep their place."""
    said: set[str] = set()

    def written(message: Warning | str, category: type[Warning], *place: Any) -> str:
        if not issubclass(category, QuenchbookWarning):
            return usual(message, category, *place)
        if str(message) in said:  # each edition and each output may give it again
            return ""
        said.add(str(message))
        return f"{message}\n"

    return written


class _Parser(argparse.ArgumentParser):
    """Says what was probably meant by a word that is none of its choices."""

    def error(self, message: str) -> NoReturn:
        found = re.search(r"argument (.*?): invalid choice: '(.*)' \(choose from (.*)\)", message)
        if found:
            names = re.findall(r"[\w-]+", found[3])
            what = "a verb" if found[1] == _VERB else f"known to {found[1]}"
            words = f"'{found[2]}' is not {what}: {', '.join(names)}."
            message = with_suggestion(words, found[2], names)
        super().error(message)


_VERB: Final = "VERB"


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="quenchbook", description=DESCRIPTION, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"quenchbook {__version__}")
    verbs = parser.add_subparsers(
        title="verbs, in the order of the work", metavar=_VERB, required=False
    )
    parser.set_defaults(run=None, own_parser=parser)

    def verb(
        name: str, words: str, *, study: bool = True, aliases: Sequence[str] = ()
    ) -> argparse.ArgumentParser:
        own = verbs.add_parser(
            name, help=words, description=words, epilog=CAUTION, aliases=list(aliases)
        )
        if study:
            own.add_argument(
                "study", type=Path, nargs="?", default=Path(), help="study folder (default: here)"
            )
        own.set_defaults(run=getattr(verb_functions, f"run_{name}"), own_parser=own)
        return own

    own = verb("demo", "do the whole job on an example study", study=False)
    own.add_argument(
        "folder", type=Path, nargs="?", help="folder for the copy (default: quenchbook-demo)"
    )
    own.add_argument(
        "--published", action="store_true", help="the published coated-bars experiment instead"
    )
    own = verb("new", "start a study: study.toml with comments, and notebooks", study=False)
    own.add_argument(
        "folder", type=Path, nargs="?", help="new folder; without it a few questions are asked"
    )
    own = verb("plan", "make the coupon matrix; say what it can tell and what it costs")
    own.add_argument("--draft", action="store_true", help="write nothing: a plan to look at")
    own.add_argument("--seed", type=int, help="seed of the randomization (default: drawn and kept)")
    own.add_argument(
        "--certainty",
        metavar="QUESTION",
        nargs="?",
        const="",
        help="also say what more or less money buys for a question (default: the first)",
    )
    own.add_argument(
        "--needed",
        metavar="QUESTION",
        nargs="?",
        const="",
        help="also say how many furnace loads a question needs (default: the first)",
    )
    own.add_argument(
        "--simulate", action="store_true", help="also confirm the chances by simulated studies"
    )
    own = verb("sweep", "judge many sizes of the plan by formula and by simulated studies")
    _add_sweep_options(own)
    verb("bench", "write the bench booklet and blank entry forms")
    own = verb("check", "read the records and report every mistake")
    own.add_argument(
        "--mark", action="store_true", help="write copies of the files with the mistakes marked"
    )
    own.add_argument(
        "--accept", action="store_true", help="keep readings and files for good, if all is well"
    )
    own.add_argument(
        "--reason", default="", help="with --accept: why something accepted is different now"
    )
    verb("analyse", "answer the declared questions from the records", aliases=["analyze"])
    own = verb("next", "say what undecided questions need, and choose the next coupons")
    own.add_argument("--loads", type=int, help="new furnace loads; without it nothing is written")
    own.add_argument(
        "--aim",
        choices=("same", "peak", "verdicts"),
        help="more of the same, the place of the peak, or the undecided questions (the default if "
        "there are any)",
    )
    own.add_argument("--seed", type=int, help="seed of the new coupons (default: drawn and kept)")
    own.add_argument("--draft", action="store_true", help="write nothing: coupons to look at")
    own = verb("report", "write the report: pages, figures, open data")
    own.add_argument(
        "--edition",
        nargs="+",
        default=["public"],
        metavar="NAME",
        help=f"{' or '.join(EDITIONS)}, or all (default: public)",
    )
    own.add_argument(
        "--to",
        nargs="+",
        default=list(USUAL),
        metavar="OUTPUT",
        help=f"{', '.join(WRITERS)}, or all (default: {' '.join(USUAL)})",
    )
    own.add_argument("--code", action="store_true", help="show the code of the notebook")
    own.add_argument("--no-appendix", action="store_true", help="leave the appendix out")
    own = verb("verify", "recompute an archive of open data and compare every number", study=False)
    own.add_argument("archive", type=Path, help="archive that report --to archive wrote")
    own = verb("library", "read a folder of studies as one table: noise, routes, lots", study=False)
    own.add_argument("folder", type=Path, help="folder that holds the study folders")
    own.add_argument("--steel", nargs="+", metavar="GRADE", help="only these steels")
    own.add_argument("--route", nargs="+", metavar="ROUTE", help='only these, such as "dry ice"')
    own.add_argument(
        "--between",
        nargs=2,
        metavar=("LOW", "HIGH"),
        help='austenitize temperature, in °C if bare, or such as "1800 degF"',
    )
    own.add_argument("--response", nargs="+", metavar="NAME", help="only these, as hardness_hrc")
    own.add_argument("--lot", nargs="+", metavar="LOT", help="only these heat lots")
    own.add_argument("--dates", nargs=2, metavar=("FROM", "TO"), help="such as 2024 2025-06")
    own.add_argument("--to", type=Path, metavar="FILE", help="also write the table: .csv, .parquet")
    own.add_argument("--cache", type=Path, metavar="FOLDER", help="keep the table there")
    own.add_argument("--no-cache", action="store_true", help="read all anew, keep nothing")
    own = verb("lab", "open the notebooks of a study in JupyterLab")
    own.add_argument("--port", type=int, help="port to listen on (default: 8888 or the next free)")
    own.add_argument("--no-browser", action="store_true", help="only print the address")
    own.add_argument(
        "--allow-root", action="store_true", help="start although you are root (in a container)"
    )
    own.add_argument(
        "--add-notebooks",
        action="store_true",
        help="copy the notebooks that the study does not have; nothing is overwritten",
    )
    own = verb(
        "handbook", "write the handbook: a folder of pages that need no network", study=False
    )
    own.add_argument(
        "folder", type=Path, nargs="?", help="folder for it (default: quenchbook-handbook)"
    )
    own.add_argument(
        "--without-running",
        action="store_true",
        help="words and code of the notebooks only: quick, without figures and answers",
    )
    own.set_defaults(parsers=verbs.choices)
    verb("doctor", "say what is installed and what is missing", study=False)
    return parser


def _add_sweep_options(own: argparse.ArgumentParser) -> None:
    """Options of the planning sweep."""
    own.add_argument("--question", metavar="KEY", help="declared question (default: the first)")
    own.add_argument(
        "--loads", type=int, nargs="+", metavar="N",
        help="numbers of furnace loads (default: repeats of the settings up to twice the plan)",
    )  # fmt: skip
    own.add_argument(
        "--coupons", type=int, nargs="+", metavar="N",
        help="numbers of coupons in a load (default: that of the study)",
    )  # fmt: skip
    own.add_argument(
        "--indents", type=int, nargs="+", metavar="N",
        help="numbers of readings on a coupon (default: that of the study)",
    )  # fmt: skip
    own.add_argument(
        "--noise", nargs="+", default=["1"], metavar="X",
        help="multiples of the noise of the study, or standard deviations, each such as "
        "furnace_load=0.2,coupon=0.4,indent=0.6 (default: 1)",
    )  # fmt: skip
    own.add_argument(
        "--effects", nargs="+", metavar="X",
        help="true differences, in the unit of the response or in %% (default: 0 and the margin)",
    )  # fmt: skip
    own.add_argument(
        "--studies", type=int, default=2000,
        help="simulated studies of each plan at each noise (default: 2000)",
    )  # fmt: skip
    own.add_argument("--seed", type=int, default=1, help="seed of the simulation (default: 1)")
    own.add_argument(
        "--backend", choices=("serial", "loky", "threading", "dask"),
        help="this process, processes, threads, a dask cluster (default: by the amount of work)",
    )  # fmt: skip
    own.add_argument(
        "--workers", type=int, metavar="N", help="processes or threads on this machine"
    )
    own.add_argument(
        "--scheduler", metavar="ADDRESS",
        help="dask scheduler, such as tcp://127.0.0.1:8786 (default for dask: "
        "DASK_SCHEDULER_ADDRESS, else one on this machine)",
    )  # fmt: skip


if __name__ == "__main__":
    raise SystemExit(main())
