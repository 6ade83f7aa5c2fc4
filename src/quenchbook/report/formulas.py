r"""Formulas of a document, from TeX to MathML for the page and to Typst for the PDF, by pandoc.

All formulas of a document go through one process of pandoc for each target; without a formula
none is started. pandoc gets its own document form, never Markdown, so a formula cannot become
anything else, and its sandbox. What it cannot read, or what comes back with more in it than a
formula has, is shown as the author wrote it.

An author gives the words of a formula in a comment of TeX, which a notebook does not show::

    $$ s^2 = s_L^2 / n  % words: the load variance over the number of loads $$

Without them the words are read from the formula itself (`quenchbook.report.mathml`).
"""

from __future__ import annotations

import functools
import hashlib
import json
import re
import subprocess
import warnings
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass
from pathlib import Path
from typing import Any, Final
from xml.etree import ElementTree

from quenchbook.errors import QuenchbookWarning
from quenchbook.report.blocks import Block, Run
from quenchbook.report.characters import shortened, shown
from quenchbook.report.mathml import formula_words, safe_mathml

_SECONDS: Final = 60  # pandoc needs 0.03 s for forty formulas
_ENVIRONMENT: Final = re.compile(
    r"\A\\begin\{(equation\*?|displaymath|math)\}(.*)\\end\{\1\}\Z", re.DOTALL
)
_COMMENT: Final = re.compile(r"(?<!\\)%([^\n]*)")
_WORDS: Final = re.compile(r"\s*words:\s*(.+)", re.IGNORECASE)
_TYPST_TEXT: Final = re.compile(r'"(?:[^"\\]|\\.)*"|\\.', re.DOTALL)
_SPACES_AND_SIZES: Final = re.compile(r"#h\(-?[\d.]+em\)|#scale\(x: \d+%, y: \d+%\)(?=\[)")
_NOT_IN_A_FORMULA: Final = re.compile(r'[#$`"]|//|/\*')


@dataclass(frozen=True)
class Formula:
    """A formula as the targets need it.

    Attributes
    ----------
    mathml : str
        Element ``math``, safe to put into a page.
    typst : str
        Inside of a formula of Typst.
    words : str
        For those who do not see it.
    """

    mathml: str
    typst: str
    words: str


Key = tuple[str, str]  # TeX as the author wrote it; "inline" or "display"


def formula_key(run: Run) -> Key:
    """Key of a run that is a formula."""
    return run.text, run.math


def formulas_in(part: Any) -> Iterator[Key]:
    """Keys of the formulas in a block, or in any blocks, in their order."""
    if isinstance(part, Run):
        if part.math:
            yield formula_key(part)
    elif isinstance(part, tuple | list):
        for one in part:
            yield from formulas_in(one)
    elif is_dataclass(part):
        for field in fields(part):
            yield from formulas_in(getattr(part, field.name))


def formula_views(blocks: Iterable[Block]) -> dict[Key, Formula]:
    """Formulas of blocks that both targets can show; the others are missing here."""
    keys = tuple(dict.fromkeys(formulas_in(tuple(blocks))))
    if not keys:
        return {}
    views = {}
    for key, element, source in zip(keys, _mathml(keys), _typst(keys), strict=True):
        if element is None or source is None:
            continue
        words = _author_words(key[0]) or formula_words(element)
        mathml = safe_mathml(element, words)
        if mathml is not None:
            views[key] = Formula(mathml, source, words)
    return views


def warn_of_broken_formulas(cells: Sequence[tuple[str, Sequence[Block]]]) -> None:
    """Warn of each formula that will be shown as its text, with the name of its cell."""
    views = formula_views([block for _, blocks in cells for block in blocks])
    for where, blocks in cells:
        for tex, mode in dict.fromkeys(formulas_in(tuple(blocks))):
            if (tex, mode) not in views:
                warnings.warn(
                    f"{where}: the formula '{shortened(tex, 60)}' cannot be read as TeX and is "
                    "shown as its text.",
                    QuenchbookWarning,
                    stacklevel=2,
                )


def _author_words(tex: str) -> str:
    """What the author wrote in comments ``% words: ...``."""
    found = (_WORDS.fullmatch(comment) for comment in _COMMENT.findall(shown(tex)))
    return " ".join(" ".join(words[1].split()) for words in found if words)


def _plain_tex(tex: str) -> str:
    """TeX as pandoc reads it: no comments, labels or numbers of its own, no empty lines."""
    plain = _COMMENT.sub("", shown(tex)).strip()
    plain = re.sub(r"\\label\{[^{}]*\}", "", plain)
    plain = plain.replace("\\boxed", "")  # its frame is a formula in a formula, without words
    plain = re.sub(r"\\tag\*?\{([^{}]*)\}", r"\\qquad\\text{(\1)}", plain)
    if found := _ENVIRONMENT.match(plain):
        plain = found[2]
    return "\n".join(line for line in plain.splitlines() if line.strip())


def _mathml(keys: tuple[Key, ...]) -> tuple[ElementTree.Element | None, ...]:
    page = _pandoc(keys, "html5")
    if not page:
        return (None,) * len(keys)
    paragraphs = list(ElementTree.fromstring(f"<page>{page}</page>"))
    if len(paragraphs) != len(keys):
        return (None,) * len(keys)
    return tuple(
        one[0] if len(one) == 1 and one[0].tag.endswith("}math") else None for one in paragraphs
    )


def _typst(keys: tuple[Key, ...]) -> tuple[str | None, ...]:
    parts = _pandoc(keys, "typst").split(_separator(keys))[:-1]
    if len(parts) != len(keys):
        return (None,) * len(keys)
    return tuple(map(_inside, parts))


def _inside(source: str) -> str | None:
    """What stands between the dollars of a formula of Typst; None if it is not only a formula."""
    found = re.fullmatch(r"\$(.+)\$", source.strip(), re.DOTALL)
    if found is None:
        return None
    bare = _SPACES_AND_SIZES.sub(" ", _TYPST_TEXT.sub(" ", found[1]))
    if _NOT_IN_A_FORMULA.search(bare):
        return None
    return found[1].strip()


def _separator(keys: Sequence[Key]) -> str:
    """A line that no formula can hold, since it is made from all of them."""
    return f"// {hashlib.sha256(json.dumps(keys).encode()).hexdigest()}"


@functools.lru_cache(maxsize=16)  # each edition shows much the same formulas
def _pandoc(keys: tuple[Key, ...], target: str) -> str:
    """One run of pandoc for all formulas; empty, with a warning, if there is no pandoc."""
    blocks: list[Mapping[str, Any]] = []
    for tex, mode in keys:
        kind = "DisplayMath" if mode == "display" else "InlineMath"
        plain = _plain_tex(tex)
        if target == "typst":  # pandoc 3.9 rounds these two spaces to whole widths of a letter
            plain = plain.replace("\\;", "\\:").replace("\\!", "")
        blocks.append({"t": "Para", "c": [{"t": "Math", "c": [{"t": kind}, plain]}]})
        if target == "typst":
            blocks.append({"t": "RawBlock", "c": ["typst", _separator(keys)]})
    document = {"pandoc-api-version": [1, 23, 1], "meta": {}, "blocks": blocks}
    command = ["--sandbox", "--from=json", f"--to={target}", "--wrap=none", "--mathml"]
    try:
        done = subprocess.run(
            [_program(), *command],
            input=json.dumps(document).encode(),
            capture_output=True,
            timeout=_SECONDS,
            check=True,
        )
    except (ImportError, OSError, subprocess.SubprocessError) as error:
        warnings.warn(
            f"Formulas are shown as their text, for pandoc did not run ({error}). "
            "Install it with: pip install pypandoc-binary",
            QuenchbookWarning,
            stacklevel=2,
        )
        return ""
    return done.stdout.decode("utf-8")


def _program() -> str:
    """Pandoc of the wheel, so that every machine has the same."""
    import pypandoc

    own = Path(pypandoc.__file__).parent / "files"
    found = next((path for path in (own / "pandoc", own / "pandoc.exe") if path.exists()), None)
    return str(found or pypandoc.get_pandoc_path())
