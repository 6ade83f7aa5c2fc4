"""The stock of a study: bars to be had, how they are sawn, and what else is cut from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal, cast

from quenchbook.errors import UnitError
from quenchbook.study.mistakes import Mistakes, nearest
from quenchbook.study.sizes import steel_side
from quenchbook.units import number_text, parse_quantity, with_unit

if TYPE_CHECKING:
    from quenchbook.study.definition import Response

Grain = Literal["", "along", "across"]
Protection = Literal["none", "foil", "gas"]

_KEYS: Final = (
    "bars", "coupon_length", "kerf", "end_discard", "spare_coupons", "pieces", "grain",
    "protection", "grind_allowance", "labels", "bar_width", "bar_thickness",
)  # fmt: skip
_NEEDED: Final = ("bars", "coupon_length", "kerf", "end_discard")
_EXAMPLES: Final[Mapping[str, str]] = {
    "bars": '["500 mm"]',
    "coupon_length": '"25 mm"',
    "kerf": '"1.6 mm"',
    "end_discard": '"10 mm"',
    "grind_allowance": '"0.1 mm"',
    "bar_width": '"25 mm"',
    "bar_thickness": '"4 mm"',
}
_GRAINS: Final = ("along", "across")
_PROTECTIONS: Final = ("none", "foil", "gas")
_BAR_EXAMPLE: Final = 'Write bars = ["500 mm", { length = "300 mm", count = 4 }].'
_PIECE_EXAMPLE: Final = 'Write pieces = [{ words = "spare share", length = "120 mm", count = 1 }].'


@dataclass(frozen=True)
class StockBar:
    """Bars of one length.

    Attributes
    ----------
    length_mm : float
        Length [mm].
    count : int or None
        How many there are; None: as many as needed.
    """

    length_mm: float
    count: int | None = None


@dataclass(frozen=True)
class OtherPieces:
    """Pieces beside the coupons, such as a spare share."""

    words: str
    length_mm: float
    count: int = 1


@dataclass(frozen=True)
class Stock:
    """What steel there is, and how it is sawn and ground.

    Attributes
    ----------
    bars : tuple of StockBar
    coupon_length_mm : float
        Sawn length of a coupon [mm].
    kerf_mm, end_discard_mm : float
        Width of a saw cut; what is thrown away at each end of a bar [mm].
    lengths_mm : mapping of response name to float
        Where coupons differ in length: what each response needs [mm]. A coupon that is tested in
        several is as long as the longest of them.
    spare_coupons : int or None
        None: as many as usual.
    pieces : tuple of OtherPieces
    grain : str
        Long axis of the coupons ``along`` or ``across`` the rolling direction; empty: not told.
    protection : str
        In the furnace: ``none``, ``foil`` or ``gas``.
    grind_allowance_mm : float or None
        Ground off each side [mm], as told; None: not told.
    labels : bool
        Whether a sheet of labels is wanted.
    bar_width_mm, bar_thickness_mm : float or None
        Section of the bars, and so of a sawn coupon [mm]; None: not told.
    is_finished_length : bool
        Whether `coupon_length_mm` is the finished length of ``[steel]``, because neither a sawn one
        nor what is ground off is told.
    """

    bars: tuple[StockBar, ...]
    coupon_length_mm: float
    kerf_mm: float
    end_discard_mm: float
    lengths_mm: Mapping[str, float] = field(default_factory=dict)
    spare_coupons: int | None = None
    pieces: tuple[OtherPieces, ...] = ()
    grain: Grain = ""
    protection: Protection = "none"
    grind_allowance_mm: float | None = None
    labels: bool = False
    bar_width_mm: float | None = None
    bar_thickness_mm: float | None = None
    is_finished_length: bool = False

    @property
    def grain_words(self) -> str:
        """How the coupons lie in the bar, in words."""
        if not self.grain:
            return "Long axis of the coupons against the rolling direction: not told"
        return f"Long axis of the coupons {self.grain} the rolling direction"


def read_stock(
    content: Mapping[str, Any], responses: Mapping[str, Response], mistakes: Mistakes
) -> Stock | None:
    """Stock of a study file; None where it tells of none.

    Parameters
    ----------
    content : mapping
        The study file.
    responses : mapping of name in the study file to Response
    mistakes : Mistakes
        Every mistake of the table is added.

    Returns
    -------
    Stock or None
        Without a ``coupon_length`` of its own, coupons are sawn as long as ``[steel]`` tells them
        finished, and what is told to be ground off both ends.
    """
    if "stock" not in content:
        return None
    table = mistakes.table(content, "stock")
    if not isinstance(content["stock"], Mapping):
        return None
    mistakes.known_keys(table, _KEYS, "stock")
    finished = steel_side(mistakes.table(content, "steel"), "length")
    for key in _NEEDED:
        if key not in table and not (key == "coupon_length" and finished is not None):
            remedy = f"Write {key} = {_EXAMPLES[key]} below [stock]."
            mistakes.wrong("stock", "", f"stock has no {key}", remedy)
    lengths = _coupon_lengths(table.get("coupon_length"), responses, mistakes)
    allowance = _length(table, "grind_allowance", mistakes)
    if "coupon_length" not in table and finished is not None:
        lengths = {"": finished + 2 * (allowance or 0.0)}
    kerf = _length(table, "kerf", mistakes)
    ends = _length(table, "end_discard", mistakes)
    bars = _bars(table.get("bars"), mistakes)
    pieces = _pieces(table.get("pieces", []), mistakes)
    if bars and kerf is not None and ends is not None:
        room = max(bar.length_mm for bar in bars) - 2 * ends - 2 * kerf
        wanted = {"coupon_length": max(lengths.values(), default=0.0)}
        wanted["pieces"] = max((own.length_mm for own in pieces), default=0.0)
        for key, length in wanted.items():
            if length > room:
                mistakes.wrong(
                    "stock",
                    key,
                    f"a piece of {_mm(length)} fits into no bar: the longest leaves "
                    f"{_mm(max(room, 0.0))} between its ends and two cuts",
                    "Write a longer bar, or a shorter piece.",
                )
    grain = table.get("grain", "")
    own = mistakes.choice("stock", "grain", grain, _GRAINS) if grain != "" else ""
    labels = table.get("labels", False)
    if not isinstance(labels, bool):
        mistakes.wrong("stock", "labels", f"labels is {labels!r}", "Write true or false.")
    spares = mistakes.count(table, "spare_coupons", "stock", default=0, least=0)
    protection = table.get("protection", "none")
    return Stock(
        bars=bars,
        coupon_length_mm=lengths.pop("", max(lengths.values(), default=0.0)),
        kerf_mm=kerf or 0.0,
        end_discard_mm=ends or 0.0,
        lengths_mm=lengths,
        spare_coupons=spares if "spare_coupons" in table else None,
        pieces=pieces,
        grain=cast(Grain, own),
        protection=cast(
            Protection, mistakes.choice("stock", "protection", protection, _PROTECTIONS)
        ),
        grind_allowance_mm=allowance,
        labels=labels is True,
        bar_width_mm=_section(table, "bar_width", mistakes),
        bar_thickness_mm=_section(table, "bar_thickness", mistakes),
        is_finished_length="coupon_length" not in table and allowance is None,
    )


def _mm(length: float) -> str:
    return with_unit(number_text(length, 3).rstrip("0").rstrip("."), "mm")


def _length(table: Mapping[str, Any], key: str, mistakes: Mistakes) -> float | None:
    """Length of a key, zero or more [mm]; None where it is missing or wrong."""
    if key not in table:
        return None
    remedy = f"Write {key} = {_EXAMPLES[key]}."
    return _length_of(table[key], key, key, remedy, mistakes, zero=True)


def _section(table: Mapping[str, Any], key: str, mistakes: Mistakes) -> float | None:
    """Side of a bar's section, above zero [mm]; None where it is missing or wrong."""
    if key not in table:
        return None
    return _length_of(table[key], key, key, f"Write {key} = {_EXAMPLES[key]}.", mistakes)


def _length_of(
    raw: object, what: str, key: str, example: str, mistakes: Mistakes, *, zero: bool = False
) -> float | None:
    """Length [mm] above zero, or from zero on."""
    if not isinstance(raw, str):
        mistakes.wrong("stock", key, f"{what} is {raw!r}, not a length with its unit", example)
        return None
    try:
        value = parse_quantity(raw, "length")
    except UnitError as error:
        mistakes.wrong("stock", key, f"{what}: {error}", example)
        return None
    if value < 0 or (value == 0 and not zero) or value > 1e5:
        mistakes.wrong("stock", key, f"{what} is {raw!r}", example)
        return None
    return value


def _coupon_lengths(
    raw: object, responses: Mapping[str, Response], mistakes: Mistakes
) -> dict[str, float]:
    """Length of the coupons under ``""``, or of those of each response under its column name."""
    example = 'Write coupon_length = "25 mm", or { hardness = "25 mm", impact = "55 mm" }.'
    key = "coupon_length"
    if raw is None:
        return {}
    if not isinstance(raw, Mapping):
        length = _length_of(raw, key, key, example, mistakes)
        return {} if length is None else {"": length}
    names = {alias: own.name for name, own in responses.items() for alias in (name, own.name)}
    found = {}
    for name, text in raw.items():
        length = _length_of(text, f"{key} of {name}", key, example, mistakes)
        if name not in names:
            mistakes.wrong("stock", key, f"'{name}' is not a response", nearest(name, responses))
        elif length is not None:
            found[names[name]] = length
    told = {names.get(name) for name in raw}
    if missing := [name for name, own in responses.items() if own.name not in told]:
        mistakes.wrong("stock", key, f"{key} has no length for {', '.join(missing)}", example)
    return found


def _bars(raw: object, mistakes: Mistakes) -> tuple[StockBar, ...]:
    if raw is None:
        return ()
    if not isinstance(raw, list) or not raw:
        mistakes.wrong("stock", "bars", f"bars is {raw!r}", _BAR_EXAMPLE)
        return ()
    found: dict[float, int | None] = {}
    for entry in raw:
        text, count = entry, None
        if isinstance(entry, Mapping):
            text, count = entry.get("length"), entry.get("count")
            if extra := set(entry) - {"length", "count"}:
                named = ", ".join(sorted(extra))
                mistakes.wrong("stock", "bars", f"'{named}' is not known here", _BAR_EXAMPLE)
            if count is not None and not _is_count(count):
                mistakes.wrong("stock", "bars", f"count of bars is {count!r}", _BAR_EXAMPLE)
                continue
        length = _length_of(text, "length of bars", "bars", _BAR_EXAMPLE, mistakes)
        if length is None:
            continue
        if length in found:
            problem = f"bars of {_mm(length)} stand there twice"
            mistakes.wrong("stock", "bars", problem, "Write them once, with their count.")
        found[length] = count
    return tuple(StockBar(length, count) for length, count in found.items())


def _pieces(raw: object, mistakes: Mistakes) -> tuple[OtherPieces, ...]:
    if not isinstance(raw, list) or not all(isinstance(entry, Mapping) for entry in raw):
        mistakes.wrong("stock", "pieces", f"pieces is {raw!r}", _PIECE_EXAMPLE)
        return ()
    found = []
    for entry in cast("list[Mapping[str, Any]]", raw):
        words, count = entry.get("words"), entry.get("count", 1)
        if extra := set(entry) - {"words", "length", "count"}:
            named = ", ".join(sorted(extra))
            mistakes.wrong("stock", "pieces", f"'{named}' is not known here", _PIECE_EXAMPLE)
        if not isinstance(words, str) or not words.strip():
            mistakes.wrong("stock", "pieces", f"words of a piece is {words!r}", _PIECE_EXAMPLE)
            continue
        words = " ".join(words.split())
        if not _is_count(count):
            mistakes.wrong("stock", "pieces", f"count of {words} is {count!r}", _PIECE_EXAMPLE)
            continue
        length = _length_of(
            entry.get("length"), f"length of {words}", "pieces", _PIECE_EXAMPLE, mistakes
        )
        if length is not None:
            found.append(OtherPieces(words, length, count))
    return tuple(found)


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= 10_000
