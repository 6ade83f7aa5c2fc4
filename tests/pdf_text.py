"""Words of a PDF as they stand on its pages, read by pikepdf: no other program is needed.

Text is decoded by the /ToUnicode table of its font and placed by the text matrix (ISO 32000-1,
9.4 and 9.10), pictures that hold text included; enough for the PDF that we write, not for any.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

import pikepdf

LINE_POINTS = 2.0  # baselines nearer than this are one line
GAP = 0.18  # of the size of type: a wider gap between two pieces of text is a blank

Matrix = tuple[float, float, float, float, float, float]
IDENTITY: Matrix = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True)
class Piece:
    """Text that was shown at once, from `x` to `end` on the baseline `y`."""

    x: float
    end: float
    y: float
    size: float
    text: str


class Font:
    """Codes of a font to characters and widths."""

    def __init__(self, font: pikepdf.Object) -> None:
        self.bytes = 2 if font.get("/Subtype") == "/Type0" else 1
        table = bytes(font.ToUnicode.read_bytes()) if "/ToUnicode" in font else b""
        self.characters = dict(_characters(table.decode("latin-1")))
        own = font.DescendantFonts[0] if self.bytes == 2 else font
        self.usual = float(own.get("/DW", 1000)) if self.bytes == 2 else 500.0
        self.widths = dict(_widths(list(own.get("/W", [])))) if self.bytes == 2 else {}

    def codes(self, data: bytes) -> list[int]:
        return [
            int.from_bytes(data[at : at + self.bytes], "big")
            for at in range(0, len(data), self.bytes)
        ]


def page_texts(done: bytes) -> list[str]:
    """Text of each page, a line for each baseline from the top, wide gaps as two blanks."""
    with pikepdf.open(io.BytesIO(done)) as pdf:
        return [_lines(list(_pieces(page.obj, page.obj, IDENTITY))) for page in pdf.pages]


def right_edges(done: bytes) -> list[float]:
    """Where the text of each page ends at its right [pt]."""
    with pikepdf.open(io.BytesIO(done)) as pdf:
        return [
            max(piece.end for piece in _pieces(page.obj, page.obj, IDENTITY)) for page in pdf.pages
        ]


def page_words(done: bytes) -> list[str]:
    """Text of each page in the order of the file, without blanks, line ends and hyphens.

    So words that are broken over lines, or stand beside a figure, are found; compare with `joined`.
    """
    with pikepdf.open(io.BytesIO(done)) as pdf:
        pages = [_pieces(page.obj, page.obj, IDENTITY) for page in pdf.pages]
        return [joined("".join(piece.text for piece in page)) for page in pages]


def joined(text: str) -> str:
    """Text without blanks, line ends, hyphens and invisible characters."""
    return re.sub(r"[\s\u00ad\u200b\u2060\-\u2010\u2011]+", "", text)


def _lines(pieces: list[Piece]) -> str:
    lines: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda own: -own.y):
        if lines and abs(lines[-1][0].y - piece.y) < LINE_POINTS:
            lines[-1].append(piece)
        else:
            lines.append([piece])
    return "\n".join(map(_line, lines))


def _line(pieces: list[Piece]) -> str:
    words, end = "", None
    for piece in sorted(pieces, key=lambda own: own.x):
        if end is not None and piece.x - end > GAP * piece.size:
            words += " " if piece.x - end < piece.size else "  "
        words, end = words + piece.text, piece.end
    return words


def _pieces(content: pikepdf.Object, holder: pikepdf.Object, at: Matrix) -> Iterator[Piece]:
    resources = holder.get("/Resources", pikepdf.Dictionary())
    fonts = {name: Font(font) for name, font in resources.get("/Font", {}).items()}
    stack: list[Matrix] = []
    text = line = IDENTITY
    font, size, leading = None, 0.0, 0.0
    for operands, operator in pikepdf.parse_content_stream(content):
        name = str(operator)
        if name == "q":
            stack.append(at)
        elif name == "Q":
            at = stack.pop()
        elif name == "cm":
            at = _times(_matrix(operands), at)
        elif name == "BT":
            text = line = IDENTITY
        elif name == "Tf":
            font, size = fonts[str(operands[0])], float(operands[1])
        elif name == "TL":
            leading = float(operands[0])
        elif name == "Tm":
            text = line = _matrix(operands)
        elif name in ("Td", "TD"):
            text = line = _times((1, 0, 0, 1, float(operands[0]), float(operands[1])), line)
        elif name == "T*":
            text = line = _times((1, 0, 0, 1, 0, -leading), line)
        elif name in ("Tj", "TJ") and font is not None:
            shown = operands[0] if name == "TJ" else [operands[0]]
            for own in shown:
                if isinstance(own, pikepdf.String):
                    codes = font.codes(bytes(own))
                    words = "".join(font.characters.get(code, "\ufffd") for code in codes)
                    wide = sum(font.widths.get(code, font.usual) for code in codes)
                    after = _times((1, 0, 0, 1, wide * size / 1000, 0), text)
                    start, end = _times(text, at), _times(after, at)
                    high = size * (start[2] ** 2 + start[3] ** 2) ** 0.5
                    yield Piece(start[4], end[4], start[5], high, words)
                    text = after
                else:
                    text = _times((1, 0, 0, 1, -float(own) * size / 1000, 0), text)
        elif name == "Do":
            form = resources.XObject[str(operands[0])]
            if form.get("/Subtype") == "/Form":
                own = _times(_matrix(form.get("/Matrix", IDENTITY)), at)
                yield from _pieces(form, form, own)


def _matrix(operands: object) -> Matrix:
    a, b, c, d, e, f = (float(own) for own in operands)  # type: ignore[attr-defined]
    return (a, b, c, d, e, f)


def _times(first: Matrix, then: Matrix) -> Matrix:
    a, b, c, d, e, f = first
    g, h, i, j, k, m = then
    return (
        a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j,
        e * g + f * i + k, e * h + f * j + m,
    )  # fmt: skip


def _characters(table: str) -> Iterator[tuple[int, str]]:
    for block in re.findall(r"beginbfchar(.*?)endbfchar", table, re.DOTALL):
        for code, target in re.findall(r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]*)>", block):
            yield int(code, 16), bytes.fromhex(target).decode("utf-16-be")
    for block in re.findall(r"beginbfrange(.*?)endbfrange", table, re.DOTALL):
        hexes = r"<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>\s*<([0-9A-Fa-f]+)>"
        for first, last, target in re.findall(hexes, block):
            begin = ord(bytes.fromhex(target).decode("utf-16-be"))
            for number in range(int(last, 16) - int(first, 16) + 1):
                yield int(first, 16) + number, chr(begin + number)


def _widths(entries: list[pikepdf.Object]) -> Iterator[tuple[int, float]]:
    at = 0
    while at < len(entries):
        if isinstance(entries[at + 1], pikepdf.Array):
            for number, wide in enumerate(entries[at + 1]):
                yield int(entries[at]) + number, float(wide)
            at += 2
        else:
            for code in range(int(entries[at]), int(entries[at + 1]) + 1):
                yield code, float(entries[at + 2])
            at += 3
