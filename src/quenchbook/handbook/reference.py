"""Pages of the reference, made from the docstrings of the public names."""

from __future__ import annotations

import dataclasses
import inspect
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import quenchbook
from quenchbook.handbook.docstrings import doc_blocks, first_sentence, inner_function
from quenchbook.handbook.own_blocks import Definition, Definitions, NamedEntry
from quenchbook.handbook.reference_groups import GROUPS, Group, group_of
from quenchbook.handbook.site_page import KnownNames, SitePage
from quenchbook.report.blocks import Block, Paragraph, Preformatted, Run, Section

REFERENCE: Final = "reference"
ERRORS: Final = "reference_errors"
_WIDE: Final = 76  # characters of a call that still stands on one line
_ADDRESS: Final = re.compile(r" at 0x[0-9a-f]+")


def public_objects() -> dict[str, Any]:
    """Every public name with what it is, in order of the names."""
    return {name: getattr(quenchbook, name) for name in sorted(set(quenchbook.__all__))
            if name != "__version__"}  # fmt: skip


def known_names() -> KnownNames:
    """Where the reference explains each public name, each of its methods and each error."""
    targets: dict[str, str] = {}
    for name, value in public_objects().items():
        file = f"{group_of(quenchbook._HOME[name]).file}.html"
        targets[name] = f"{file}#{name}"
        for method, _ in methods(value):
            targets[f"{name}.{method}"] = f"{file}#{name}.{method}"
    for name in error_classes():
        targets.setdefault(name, f"{ERRORS}.html#{name}")
    return KnownNames(targets)


def reference_pages(commands: Mapping[str, str]) -> list[SitePage]:
    """Pages of the reference: what is where, a page for each step, errors, the command line.

    Parameters
    ----------
    commands : mapping of str to str
        Verbs of the command line with their help texts; without any there is no such page.
    """
    by_group: dict[Group, list[str]] = {}
    for name in public_objects():
        by_group.setdefault(group_of(quenchbook._HOME[name]), []).append(name)
    pages = [_group_page(group, by_group[group]) for group in GROUPS if group in by_group]
    pages.append(_error_page())
    if commands:
        pages.append(_command_page(commands))
    return [_first_page(pages), *pages]


def methods(value: Any) -> list[tuple[str, Any]]:
    """Public methods and properties of a class that say what they do, in order of the source."""
    if not inspect.isclass(value):
        return []
    found = []
    for owner in reversed(value.__mro__):
        if not owner.__module__.startswith("quenchbook"):
            continue
        for name, member in vars(owner).items():
            inner = inner_function(member)
            if not name.startswith("_") and inspect.isfunction(inner) and inner.__doc__:
                found.append((name, member))
    return list(dict(found).items())


def error_classes() -> dict[str, type[BaseException]]:
    """Errors and warnings of quenchbook, in order of the source."""
    from quenchbook import errors

    return {
        name: value
        for name, value in vars(errors).items()
        if inspect.isclass(value) and issubclass(value, Exception)
    }


def call_text(name: str, value: Any) -> str:
    """How a name is called, without types: the text below says them.

    >>> call_text("finding", lambda contrast, *, margin=None: None)
    'finding(contrast, *, margin=None)'
    """
    if isinstance(value, property) or hasattr(value, "func"):
        return name
    value = getattr(value, "__func__", value)
    try:
        signature = inspect.signature(value)
    except (TypeError, ValueError):
        return name
    factories = _factories(value)
    bare = [
        own.replace(annotation=inspect.Parameter.empty, default=factories.get(key, own.default))
        for key, own in signature.parameters.items()
        if key not in ("self", "cls") and not key.startswith("_")  # hidden fields of a result
    ]
    texts = [_ADDRESS.sub("", str(own)) for own in bare]
    texts = list(_with_marks(bare, texts))
    line = f"{name}({', '.join(texts)})"
    if len(line) <= _WIDE:
        return line
    return f"{name}(\n" + "".join(f"    {text},\n" for text in texts) + ")"


class _Made:
    """Stands for a default that is made anew each time."""

    def __init__(self, words: str) -> None:
        self.words = words

    def __repr__(self) -> str:
        return self.words


def _factories(value: Any) -> dict[str, _Made]:
    if not dataclasses.is_dataclass(value):
        return {}
    found = {}
    for own in dataclasses.fields(value):
        if own.default_factory is not dataclasses.MISSING:
            name = getattr(own.default_factory, "__name__", "")
            found[own.name] = _Made(f"{name}()" if name.isidentifier() else "...")
    return found


def _with_marks(parameters: Sequence[inspect.Parameter], texts: Sequence[str]) -> Iterator[str]:
    """Texts of the parameters, with the bare star before those that need their name."""
    starred = False
    for number, (own, text) in enumerate(zip(parameters, texts, strict=True)):
        if own.kind is own.VAR_POSITIONAL:
            starred = True
        if own.kind is own.KEYWORD_ONLY and not starred:
            starred = True
            yield "*"
        yield text
        after = parameters[number + 1] if number + 1 < len(parameters) else None
        if own.kind is own.POSITIONAL_ONLY and (after is None or after.kind is not own.kind):
            yield "/"


def _group_page(group: Group, names: Sequence[str]) -> SitePage:
    blocks: list[Block] = [Section(group.title, level=1), Paragraph((group.words,))]
    for name in names:
        blocks += _entry(name, getattr(quenchbook, name))
    return SitePage(group.file, group.title, tuple(blocks), REFERENCE)


def _entry(name: str, value: Any) -> list[Block]:
    kind = "class" if inspect.isclass(value) else "function"
    home = f"{kind} in quenchbook.{quenchbook._HOME[name]}{_line(value)}"
    head = NamedEntry(
        name, level=2, anchor=name, signature=call_text(f"qb.{name}", value), home=home
    )
    blocks: list[Block] = [head, *_doc(value.__doc__ or "")]
    short, long = _members(name, value)
    if short:
        blocks += [Paragraph((Run("In short", strong=True),)), Definitions(tuple(short))]
    return [*blocks, *long]


def _members(name: str, value: Any) -> tuple[list[Definition], list[Block]]:
    """Methods and properties that one paragraph explains, and blocks of those that need more."""
    short: list[Definition] = []
    long: list[Block] = []
    for method, member in methods(value):
        call, words = call_text(f".{method}", member), f"{name}.{method}"
        found = doc_blocks(_text(member))
        first = found[0][1]
        if len(found) == 1 and len(first) == 1 and isinstance(first[0], Paragraph):
            short.append(
                Definition(
                    call, (first[0].runs,), anchor=words, is_code=True, listed=words, sort=""
                )
            )
        else:
            head = NamedEntry(words, level=3, anchor=words, signature=call)
            long += [head, *_doc(_text(member))]
    return short, long


def _text(member: Any) -> str:
    return inner_function(member).__doc__ or ""


def _line(value: Any) -> str:
    try:
        return f", line {inspect.getsourcelines(value)[1]}"
    except (OSError, TypeError):
        return ""


def _doc(text: str) -> Iterator[Block]:
    """Blocks of a docstring; its sections have bold titles, so that the contents stay short."""
    for title, blocks in doc_blocks(text):
        if title:
            yield Paragraph((Run(title, strong=True),))
        yield from blocks


def _error_page() -> SitePage:
    title = "Errors and warnings"
    words = (
        "A message says where, what was found, what was expected and what to do. All problems of a "
        "file are gathered and raised once; problems holds them one by one."
    )
    blocks: list[Block] = [Section(title, level=1), Paragraph((words,))]
    for name, value in error_classes().items():
        above = ", ".join(base.__name__ for base in value.__bases__)
        home = f"in quenchbook.errors, is a {above}"
        head = NamedEntry(
            name, level=2, anchor=name, signature=f"quenchbook.errors.{name}", home=home
        )
        blocks += [head, *_doc(value.__doc__ or "")]
    return SitePage(ERRORS, title, tuple(blocks), REFERENCE)


def _command_page(commands: Mapping[str, str]) -> SitePage:
    title = "Command line"
    helped = Run("--help", code=True)
    words = ("Every verb calls the same functions as Python. The options, as ", helped, " prints:")
    blocks: list[Block] = [Section(title, level=1), Paragraph(words)]
    for verb, text in commands.items():
        head = Section(f"quenchbook {verb}", level=2, anchor=f"verb-{verb}")
        blocks += [head, Preformatted(text.strip("\n"))]
    return SitePage("reference_commands", title, tuple(blocks), REFERENCE)


def _first_page(pages: Sequence[SitePage]) -> SitePage:
    title = "Reference"
    first = Run("import quenchbook as qb", code=True)
    words = ("Every public name, by step of the work. Before all stands ", first, ".")
    blocks: list[Block] = [Section(title, level=1), Paragraph(words)]
    for page in pages:
        blocks.append(Section(page.title, level=2))
        heads = [own for own in page.blocks if isinstance(own, NamedEntry) and own.level == 2]
        entries = tuple(
            Definition(
                own.title, ((_sentence_of(own.title),),), is_code=True,
                target=f"{page.file}#{own.anchor}",
            )
            for own in heads
        )  # fmt: skip
        blocks.append(Paragraph((Run(f"All of {page.title.lower()}", link=page.file),)))
        blocks += [Definitions(entries)] if entries else []
    return SitePage(REFERENCE, title, tuple(blocks), REFERENCE, menu="Reference")


def _sentence_of(name: str) -> str:
    value = public_objects().get(name) or error_classes()[name]
    return first_sentence(value.__doc__ or "")
