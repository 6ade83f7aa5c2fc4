"""SVG that may stand inside a page: drawing elements only, ids of its own, nothing fetched."""

from __future__ import annotations

import re
from typing import Final
from xml.etree import ElementTree

from quenchbook.errors import ReportError
from quenchbook.report.characters import shown

_PAPER: Final = "#FDFCF9"
_SVG: Final = "http://www.w3.org/2000/svg"
_XLINK: Final = "http://www.w3.org/1999/xlink"
_ELEMENTS: Final = frozenset(
    {
        "svg", "g", "defs", "symbol", "use", "path", "rect", "circle", "ellipse", "line",
        "polyline", "polygon", "text", "tspan", "textPath", "image", "clipPath", "mask",
        "pattern", "marker", "linearGradient", "radialGradient", "stop", "title", "desc",
    }
)  # fmt: skip
_PICTURE: Final = re.compile(r"data:image/(png|jpeg);base64,[A-Za-z0-9+/=\s]+")
_URL: Final = re.compile(r"url\(\s*(['\"]?)\s*(.*?)\s*\1\s*\)", re.IGNORECASE)


def svg_root(svg: str, *, where: str) -> ElementTree.Element:
    """Parse SVG and keep what draws; ReportError if it is not SVG.

    Taken out are scripts, style sheets, metadata, embedded HTML, event attributes, elements of
    other languages and every reference out of the picture. PNG data that matplotlib writes for a
    colour bar stays.
    """
    if "<!ENTITY" in svg.upper():
        raise ReportError(f"The SVG of {where} declares entities, which no figure needs.")
    try:
        root = ElementTree.fromstring(re.sub(r"<\?xml.*?\?>|<!DOCTYPE[^>]*>", "", svg))
    except ElementTree.ParseError as error:
        raise ReportError(f"The SVG of {where} cannot be read: {error}.") from None
    if root.tag not in (f"{{{_SVG}}}svg", "svg"):
        raise ReportError(f"The SVG of {where} begins with <{root.tag}>, expected <svg>.")
    _clean(root)
    root.set("stroke-linejoin", "round")  # what matplotlib says in the style sheet taken out
    root.set("stroke-linecap", root.get("stroke-linecap", "butt"))
    return root


def inline_svg(svg: str, *, prefix: str, title: str, where: str) -> str:
    """SVG for the middle of an HTML page, with the alternative text as its title.

    Parameters
    ----------
    svg : str
        A whole SVG file.
    prefix : str
        Put before every id, so two figures of a page never share one.
    title : str
        Alternative text; without it the picture is decoration and hidden from a screen reader.
    where : str
        Name of the figure for messages.
    """
    root = svg_root(svg, where=where)
    _prefix_ids(root, prefix)
    for child in [child for child in root if child.tag == "title"]:
        root.remove(child)
    if title:
        element = ElementTree.Element("title", {"id": f"{prefix}-title"})
        element.text = shown(title)
        root.insert(0, element)
        root.set("role", "img")
        root.set("aria-labelledby", f"{prefix}-title")
    else:
        root.set("aria-hidden", "true")
    return ElementTree.tostring(root, encoding="unicode")


def svg_file(svg: str, *, where: str) -> bytes:
    """SVG as a file of its own for a printed page: cleaned in the same way, on white ground."""
    root = svg_root(svg, where=where)
    for element in root.iter():
        for name, value in element.attrib.items():
            if name in ("fill", "stroke", "style"):
                element.set(name, re.sub(_PAPER, "#ffffff", value, flags=re.IGNORECASE))
    return _whole_file(root)


def svg_picture(svg: str, *, where: str, title: str, style: str) -> bytes:
    """SVG as a file to hand on: cleaned, with its alternative text and our style sheet (fonts)."""
    root = svg_root(svg, where=where)
    for child in [child for child in root if child.tag == "title"]:
        root.remove(child)
    for place, (tag, text) in enumerate((("title", shown(title)), ("style", style))):
        element = ElementTree.Element(tag, {"id": "picture-title"} if tag == "title" else {})
        element.text = text
        root.insert(place, element)
    root.set("role", "img")
    root.set("aria-labelledby", "picture-title")
    return _whole_file(root)


def _whole_file(root: ElementTree.Element) -> bytes:
    root.set("xmlns", _SVG)
    root.set("xmlns:xlink", _XLINK)
    for element in root.iter():
        if "href" in element.attrib:
            element.set("xlink:href", element.attrib.pop("href"))
    return ElementTree.tostring(root, encoding="unicode").encode()


def svg_ratio(svg: str, *, where: str) -> float:
    """Height over width of an SVG, from its viewBox or its size."""
    root = svg_root(svg, where=where)
    box = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", root.get("viewBox", ""))]
    if len(box) == 4 and box[2] > 0 and box[3] > 0:
        return box[3] / box[2]
    size = [re.match(r"\d+(?:\.\d+)?", root.get(name, "")) for name in ("height", "width")]
    height, width = (float(found[0]) if found else 1.0 for found in size)
    return height / width if height > 0 and width > 0 else 1.0


def _clean(element: ElementTree.Element) -> None:
    element.tag = element.tag.removeprefix(f"{{{_SVG}}}")
    for name, value in list(element.attrib.items()):
        del element.attrib[name]
        plain = "href" if name == f"{{{_XLINK}}}href" else name
        if _keeps(plain, value, element.tag):
            element.set(plain, value)
    for child in list(element):
        tag = child.tag.removeprefix(f"{{{_SVG}}}") if isinstance(child.tag, str) else ""
        if tag in _ELEMENTS:
            _clean(child)
            child.tail = child.tail and shown(child.tail)
        else:
            element.remove(child)
    element.text = element.text and shown(element.text)


def _keeps(name: str, value: str, tag: str) -> bool:
    if name.startswith("{") or name.lower().startswith("on") or not name.isascii():
        return False
    if name.lower() in ("href", "src"):
        return value.startswith("#") or (
            tag == "image" and _PICTURE.fullmatch(value.strip()) is not None
        )
    if re.search(r"@import|expression\s*\(|javascript:|\\", value, re.IGNORECASE):
        return False
    return all(target.startswith("#") for _, target in _URL.findall(value)) and (
        "url(" not in _URL.sub("", value).lower()
    )


def _prefix_ids(root: ElementTree.Element, prefix: str) -> None:
    for element in root.iter():
        for name, value in list(element.attrib.items()):
            if name == "id":
                element.set(name, f"{prefix}-{value}")
            elif name == "href" and value.startswith("#"):
                element.set(name, f"#{prefix}-{value[1:]}")
            elif "url(" in value:
                element.set(name, _URL.sub(rf"url(#{prefix}-\2)", value).replace("-#", "-"))
