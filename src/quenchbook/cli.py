"""Command line: the verbs and their options. What a verb does stands in `verbs`."""

from __future__ import annotations

import argparse
import sys
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from quenchbook import __version__
from quenchbook import verbs as verb_functions
from quenchbook.errors import QuenchbookError, QuenchbookWarning
from quenchbook.publishing_steps import EDITIONS, USUAL, WRITERS
from quenchbook.verbs import CAUTION

DESCRIPTION = "Plan, run, analyse and publish small heat-treatment studies on steel."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Returns
    -------
    int
        0 when it worked, 2 when the input was wrong; the message is on standard error.
    """
    parser = _parser()
    options = parser.parse_args(arguments)
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


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="quenchbook", description=DESCRIPTION, epilog=CAUTION)
    parser.add_argument("--version", action="version", version=f"quenchbook {__version__}")
    verbs = parser.add_subparsers(
        title="verbs, in the order of the work", metavar="VERB", required=False
    )
    parser.set_defaults(run=None)

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
        own.set_defaults(run=getattr(verb_functions, f"run_{name}"))
        return own

    own = verb("demo", "do the whole job on an example study", study=False)
    own.add_argument(
        "folder", type=Path, nargs="?", help="folder for the copy (default: quenchbook-demo)"
    )
    own.add_argument(
        "--published", action="store_true", help="the published coated-bars experiment instead"
    )
    own = verb("new", "start a study: study.toml with comments, and notebooks", study=False)
    own.add_argument("folder", type=Path, help="new folder")
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
    verb("lab", "open the notebooks of a study in JupyterLab")
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


if __name__ == "__main__":
    raise SystemExit(main())
