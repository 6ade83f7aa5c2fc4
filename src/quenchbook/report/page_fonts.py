"""Fonts of a page: only its characters, as data in the style sheet."""

from __future__ import annotations

import base64
import io
import unicodedata
from collections.abc import Iterable, Sequence
from importlib import resources
from pathlib import Path
from typing import Final

_FACES: Final = (("DejaVuSans.ttf", 400), ("DejaVuSans-Bold.ttf", 700))
_MONO: Final = "DejaVuSansMono-Bold.ttf"
_ALWAYS: Final = "".join(map(chr, range(0x20, 0x7F))) + "\u00a0\u00b0\u00b1\u2009\u2212\u25a1"
_TEXT_FEATURES: Final = ("kern", "tnum", "mark", "mkmk")

_SERIF: Final = "Libertinus Serif"
_SERIF_STYLES: Final = (("400", "normal"), ("400", "italic"), ("700", "normal"))
_SERIF_SCRIPTS: Final = ("latin", "latin-ext", "greek")

MATH_FONT: Final = "STIXTwoMath-Regular.ttf"
_MATH: Final = "STIX Two Math"
_MATH_ALWAYS: Final = "0123456789+-=()[]{}|/.,\u2212\u2032\u221a"
_ITALICS: Final = (range(0x1D434, 0x1D468), range(0x1D6A4, 0x1D71C), (0x210E,))


def font_faces(text: str, *, codes: str = "") -> str:
    """CSS rules that carry DejaVu Sans, regular and bold, for the characters of a text.

    Figures are drawn for its widths, so a machine without it would let their words collide.
    DejaVu Sans Mono, bold, is added for the characters of `codes`.
    """
    characters = set(text) | set(_ALWAYS)
    rules = [
        _rule("DejaVu Sans", _subset(_dejavu(name), characters), weight=str(weight))
        for name, weight in _FACES
    ]
    if codes:
        rules.append(_rule("DejaVu Sans Mono", _subset(_dejavu(_MONO), set(codes)), weight="700"))
    return "\n".join(rules)


def serif_faces(text: str) -> str:
    """CSS rules that carry Libertinus Serif for the characters of a text.

    Regular, italic and bold; the browser slants the bold. The font comes in a file for each
    script, so a rule says which characters it has; others are left to the next font of the page.
    """
    rules = []
    for weight, style in _SERIF_STYLES:
        wanted = set(text) | set(_ALWAYS)
        for script in _SERIF_SCRIPTS:
            path = font_file(f"libertinus-serif-{script}-{weight}-{style}.woff")
            found = wanted & _characters(path)
            wanted -= found
            if found:
                data = _subset(path, found)
                rules.append(_rule(_SERIF, data, weight=weight, style=style, only=found))
    return "\n".join(rules)


def math_face(text: str) -> str:
    """CSS rule that carries STIX Two Math for the characters of formulas.

    With its table of measures for formulas, and with the slanted letters a browser puts in place
    of plain ones.
    """
    characters = set(text) | set(_MATH_ALWAYS)
    slanted = {
        chr(code)
        for codes in _ITALICS
        for code in codes
        if unicodedata.normalize("NFKC", chr(code)) in characters
    }
    data = _subset(font_file(MATH_FONT), characters | slanted, features=("ssty", "math", "kern"))
    return _rule(_MATH, data)


def page_font_names() -> tuple[str, ...]:
    """Files of the fonts that come with quenchbook, see `font_file`."""
    styles = [f"{weight}-{style}" for weight, style in _SERIF_STYLES]
    serif = (f"libertinus-serif-{script}-{own}.woff" for script in _SERIF_SCRIPTS for own in styles)
    return (MATH_FONT, *serif)


def font_file(name: str) -> Path:
    """Path of a font that comes with quenchbook."""
    return Path(str(resources.files("quenchbook.report").joinpath("fonts", name)))


def _dejavu(name: str) -> Path:
    import matplotlib

    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


def _rule(
    family: str,
    font: bytes,
    *,
    weight: str = "400",
    style: str = "normal",
    only: Iterable[str] = (),
) -> str:
    data = base64.b64encode(font).decode("ascii")
    slant = f"font-style:{style};" if style != "normal" else ""
    codes = ",".join(_ranges(sorted(map(ord, only))))
    return (
        f'@font-face{{font-family:"{family}";font-weight:{weight};{slant}'
        f'src:url(data:font/woff;base64,{data}) format("woff")'
        + (f";unicode-range:{codes}}}" if codes else "}")
    )


def _ranges(codes: Sequence[int]) -> Iterable[str]:
    """Characters as CSS writes them, neighbours as one range."""
    start = 0
    for place in range(1, len(codes) + 1):
        if place == len(codes) or codes[place] != codes[place - 1] + 1:
            first, last = codes[start], codes[place - 1]
            yield f"U+{first:X}" + (f"-{last:X}" if last > first else "")
            start = place


def _characters(path: Path) -> set[str]:
    from fontTools.ttLib import TTFont

    with TTFont(path, lazy=True) as font:
        return set(map(chr, font.getBestCmap()))


def _subset(
    path: Path, characters: Iterable[str], features: Sequence[str] = _TEXT_FEATURES
) -> bytes:
    from fontTools import subset
    from fontTools.ttLib import TTFont

    options = subset.Options(
        flavor="woff", layout_features=list(features), notdef_outline=True, hinting=False
    )
    options.drop_tables += ["FFTM"]  # time stamps of the font's editor
    with TTFont(path, recalcTimestamp=False, lazy=True) as font:
        subsetter = subset.Subsetter(options)
        subsetter.populate(unicodes=sorted(map(ord, characters)))
        subsetter.subset(font)
        font.flavor = "woff"
        written = io.BytesIO()
        font.save(written)
    return written.getvalue()
