"""MathML as it may stand in a page, and the words of a formula."""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from typing import Final
from xml.etree.ElementTree import Element

from quenchbook.report.characters import shown

_NAMESPACE: Final = "{http://www.w3.org/1998/Math/MathML}"
_ELEMENTS: Final = frozenset((
    "math", "mrow", "mi", "mn", "mo", "mtext", "mspace", "ms", "mfrac", "msqrt", "mroot", "mstyle",
    "mpadded", "mphantom", "menclose", "msub", "msup", "msubsup", "munder", "mover", "munderover",
    "mmultiscripts", "mprescripts", "mtable", "mtr", "mtd",
))  # fmt: skip
_ATTRIBUTES: Final = frozenset((
    "display", "mathvariant", "stretchy", "form", "accent", "accentunder", "fence", "separator",
    "lspace", "rspace", "width", "height", "depth", "voffset", "linethickness", "displaystyle",
    "scriptlevel", "minsize", "maxsize", "symmetric", "largeop", "movablelimits", "columnalign",
    "columnspan", "rowspan", "notation",
))  # fmt: skip
_VALUE: Final = re.compile(r"[A-Za-z0-9.+\-% ]{0,40}")
_STYLE: Final = re.compile(
    r"text-align: (?:left|right|center)(?:; padding-(?:left|right): 0)?"
)  # how pandoc lines up the columns of a table

_SIGNS: Final[Mapping[str, str]] = {
    "+": "plus", "-": "minus", "\u2212": "minus", "=": "equals", "\u00d7": "times",
    "\u22c5": "times", "\u00b7": "times", "*": "times", "/": "over", "\u00b1": "plus or minus",
    "\u2213": "minus or plus", "<": "is less than", ">": "is greater than",
    "\u2264": "is at most", "\u2265": "is at least", "\u2248": "is about",
    "\u2260": "is not equal to", "\u2261": "is identical to", "\u223c": "is distributed as",
    "\u221d": "is proportional to", "\u2208": "in", "\u2192": "to", "\u21d2": "implies",
    "\u2211": "sum", "\u220f": "product", "\u222b": "integral", "\u221e": "infinity",
    "\u2202": "partial", "\u2207": "nabla", "\u2032": "prime", "\u22ef": "and so on",
    "\u2026": "and so on", "%": "per cent", "\u2218": "degrees", "\u00b0": "degrees",
    "|": "bar",
}  # fmt: skip
_ACCENTS: Final[Mapping[str, str]] = {
    "\u0302": "hat", "^": "hat", "\u0304": "bar", "\u203e": "bar", "\u00af": "bar",
    "\u0303": "tilde", "~": "tilde", "\u02dc": "tilde", "\u0307": "dot", "\u02d9": "dot",
    "\u20d7": "vector", "\u2192": "vector", "\u0332": "underlined",
    "\u0308": "double dot", "_": "underlined",
}  # fmt: skip
_POWERS: Final[Mapping[str, str]] = {
    "2": "squared", "3": "cubed", "prime": "prime", "times": "star", "degrees": "degrees",
    "\u22a4": "transposed",
}  # fmt: skip
_BRACES: Final = frozenset("\u23de\u23df\u23b4\u23b5")
_TERMS: Final = frozenset(("plus", "minus", "over", "fraction", "sum", "integral", "of", "equals"))
_LARGE: Final = frozenset(("sum", "product", "integral"))


def safe_mathml(element: Element, words: str = "") -> str | None:
    """MathML of a formula, written anew from the elements and attributes that may be in it.

    Parameters
    ----------
    element : Element
        ``math`` from pandoc; its note of the source is left out.
    words : str
        Alternative text; that of `formula_words` if empty.

    Returns
    -------
    str or None
        None if there is anything else in the element.
    """
    written = _written(element)
    if written is None or not written.startswith("<math"):
        return None
    if element.get("display") == "block":  # lines of an equation are as large as a single one
        written = re.sub(r"\A(<math[^>]*>)<mtable>", r'\1<mtable displaystyle="true">', written)
    words = html.escape(shown(words or formula_words(element)), quote=True)
    return f'<math alttext="{words}"{written.removeprefix("<math")}'


def _written(element: Element) -> str | None:
    name = element.tag.removeprefix(_NAMESPACE)
    if name == "semantics":
        return _written(element[0]) if len(element) else None
    if name not in _ELEMENTS:
        return None
    parts = [f"<{name}"]
    for key, value in element.attrib.items():
        allowed = _STYLE if key == "style" else _VALUE if key in _ATTRIBUTES else None
        if allowed is None or not allowed.fullmatch(value):
            return None
        parts.append(f' {key}="{value}"')
    parts.append(f">{html.escape(shown(element.text or ''))}")
    for child in element:
        inner = _written(child)
        if inner is None or (child.tail or "").strip():
            return None
        parts.append(inner)
    return f"{''.join(parts)}</{name}>"


def formula_words(element: Element) -> str:
    """Words of a formula, read from its MathML.

    >>> from xml.etree.ElementTree import fromstring
    >>> formula_words(fromstring("<mfrac><msup><mi>σ</mi><mn>2</mn></msup><mi>n</mi></mfrac>"))
    'sigma squared over n'
    """
    return " ".join(_words(element).split()) or "formula"


def _words(element: Element) -> str:
    name = element.tag.removeprefix(_NAMESPACE)
    parts = list(element)
    if name in ("mi", "mn", "mo", "ms", "mtext"):
        return _token(element.text or "", name)
    if name == "semantics":
        return _words(parts[0]) if parts else ""
    if name == "mfrac":
        return _fraction(*map(_words, parts))
    if name == "msqrt":
        return f"the square root of {_row(parts)}"
    if name == "mroot":
        return f"the root of order {_words(parts[1])} of {_words(parts[0])}"
    if name in ("msub", "munder", "msup", "mover", "msubsup", "munderover"):
        return _with_scripts(name, [_words(part) for part in parts], parts[1:])
    if name == "mtable":
        return "; ".join(_row(list(row)) for row in parts)
    return _row(parts) or (element.text or "")


def _row(parts: Sequence[Element]) -> str:
    return " ".join(filter(None, _joined_letters(parts)))


def _joined_letters(parts: Sequence[Element]) -> Iterator[str]:
    """Words of the parts; upright letters side by side are one word, as in HRC."""
    word = ""
    for part in parts:
        upright = (
            part.tag.removeprefix(_NAMESPACE) in ("mi", "mtext")
            and part.get("mathvariant") == "normal"
        )
        if upright and len(part.text or "") == 1:
            word += part.text or ""
            continue
        yield word
        word = ""
        yield _words(part)
    yield word


def _fraction(above: str, below: str) -> str:
    if not _TERMS & {*above.split(), *below.split()}:
        return f"{above} over {below}"
    return f"the fraction {above} over {below}, end of fraction,"


def _with_scripts(name: str, words: Sequence[str], marks: Sequence[Element]) -> str:
    base, *scripts = words
    if base in _LARGE:
        bounds = zip(("from", "to"), scripts, strict=False)
        return " ".join((base, *(f"{word} {bound}" for word, bound in bounds), "of"))
    if name in ("msup", "msubsup"):
        power = scripts[-1]
        raised = _POWERS.get(power, f"to the power of {power}")
        below = f" sub {scripts[0]}" if name == "msubsup" else ""
        return f"{base}{below} {raised}"
    if name == "msub":
        return f"{base} sub {scripts[0]}"
    places = ("over",) if name == "mover" else ("under", "over")
    for script, mark, place in zip(scripts, marks, places, strict=False):
        sign = (mark.text or "").strip()
        if sign in _BRACES:
            continue
        accent = _ACCENTS.get(sign)
        base = f"{base} {accent}" if accent else f"{base} with {script} {place} it"
    return base


def _token(text: str, name: str) -> str:
    text = shown(text).strip()
    if text in _SIGNS and name != "mtext":
        return _SIGNS[text]
    if len(text) == 1:
        return _letter(text)
    return text


def _letter(character: str) -> str:
    """Name of a Greek letter, plain letter for a decorated one, nothing for a hidden sign."""
    if unicodedata.category(character) == "Cf":
        return ""
    plain = unicodedata.normalize("NFKC", character)
    name = unicodedata.name(plain, "") if len(plain) == 1 else ""
    if found := re.fullmatch(r"GREEK (SMALL|CAPITAL) LETTER (?:FINAL )?(\w+)", name):
        capital = "capital " if found[1] == "CAPITAL" else ""
        return capital + found[2].lower().replace("lamda", "lambda")
    return plain
