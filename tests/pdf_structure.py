"""What a tagged PDF holds beside its text: structure elements, bookmarks, fonts, header cells."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import pikepdf


def tags(pdf: pikepdf.Pdf) -> list[pikepdf.Object]:
    """Structure elements of a tagged PDF, in no order."""
    found, waiting = [], [pdf.Root.StructTreeRoot]
    while waiting:
        node = waiting.pop()
        if not isinstance(node, pikepdf.Dictionary):
            continue
        if "/S" in node:
            found.append(node)
        waiting.extend(_list(node.get("/K", [])))
    return found


def below(tag: pikepdf.Object, kind: str) -> Iterator[pikepdf.Object]:
    """Structure elements of one kind inside another."""
    for child in _list(tag.get("/K", [])):
        if isinstance(child, pikepdf.Dictionary) and "/S" in child:
            if child["/S"] == kind:
                yield child
            yield from below(child, kind)


def scope_of(tag: pikepdf.Object) -> str:
    """Scope of a header cell; empty if it has none."""
    scopes = [
        str(own.Scope)
        for own in _list(tag.get("/A", []))
        if isinstance(own, pikepdf.Dictionary) and "/Scope" in own
    ]
    return scopes[0] if scopes else ""


def outline_count(items: Iterable[pikepdf.OutlineItem]) -> int:
    return sum(1 + outline_count(item.children) for item in items)


def fonts_without_a_file(pdf: pikepdf.Pdf) -> list[str]:
    """Fonts anywhere in a PDF, pictures included, whose letters are not in it."""
    gone = []
    for own in pdf.objects:
        if not isinstance(own, pikepdf.Dictionary) or own.get("/Type") != "/Font":
            continue
        if own.get("/Subtype") in ("/Type0", "/Type3"):  # drawn by descendants, or in place
            continue
        described = own.get("/FontDescriptor", {})
        if not {"/FontFile", "/FontFile2", "/FontFile3"} & set(described.keys()):
            gone.append(str(own.get("/BaseFont", "?")))
    return gone


def font_count(pdf: pikepdf.Pdf) -> int:
    return sum(
        isinstance(own, pikepdf.Dictionary) and own.get("/Type") == "/Font" for own in pdf.objects
    )


def _list(children: pikepdf.Object) -> list[pikepdf.Object]:
    return list(children) if isinstance(children, pikepdf.Array | list) else [children]
