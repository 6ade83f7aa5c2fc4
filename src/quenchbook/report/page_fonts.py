"""DejaVu Sans for a page: only its characters, as data in the style sheet."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Final

_FACES: Final = (("DejaVuSans.ttf", 400), ("DejaVuSans-Bold.ttf", 700))
_MONO: Final = "DejaVuSansMono-Bold.ttf"
_ALWAYS: Final = "".join(map(chr, range(0x20, 0x7F))) + "\u00a0\u00b0\u00b1\u2009\u2212\u25a1"


def font_faces(text: str, *, codes: str = "") -> str:
    """CSS rules that carry DejaVu Sans, regular and bold, for the characters of a text.

    Figures are drawn for its widths, so a machine without it would let their words collide.
    DejaVu Sans Mono, bold, is added for the characters of `codes`.
    """
    characters = sorted(set(text) | set(_ALWAYS))
    rules = [_rule("DejaVu Sans", name, weight, characters) for name, weight in _FACES]
    if codes:
        rules.append(_rule("DejaVu Sans Mono", _MONO, 700, sorted(set(codes))))
    return "\n".join(rules)


def _rule(family: str, name: str, weight: int, characters: list[str]) -> str:
    data = base64.b64encode(_subset(name, characters)).decode("ascii")
    return (
        f'@font-face{{font-family:"{family}";font-weight:{weight};'
        f'src:url(data:font/woff;base64,{data}) format("woff")}}'
    )


def _subset(name: str, characters: list[str]) -> bytes:
    import matplotlib
    from fontTools import subset
    from fontTools.ttLib import TTFont

    path = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name
    options = subset.Options(
        flavor="woff", layout_features=["kern", "tnum", "mark", "mkmk"], notdef_outline=True,
        hinting=False,
    )  # fmt: skip
    options.drop_tables += ["FFTM"]  # time stamps of the font's editor
    with TTFont(path, recalcTimestamp=False, lazy=True) as font:
        subsetter = subset.Subsetter(options)
        subsetter.populate(unicodes=[ord(character) for character in characters])
        subsetter.subset(font)
        font.flavor = "woff"
        written = io.BytesIO()
        font.save(written)
    return written.getvalue()
