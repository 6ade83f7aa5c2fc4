"""Words and numbers of a one-page summary and of share pictures, as plain data without drawing."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class SmallPicture:
    """One small figure: at most a few groups of coupons with their curves or means.

    Attributes
    ----------
    y_title, x_title : str
        Quantity and unit.
    is_curve : bool
        Whether estimates are a curve along x, or means of levels one step apart.
    ticks : tuple of (place, words)
        Places on the x axis.
    ticks_below : tuple of str
        Each tick in the other unit, for a line below; empty where they stand in one unit.
    y_unit : str
        Unit of the values, where each tick of y has the other unit below it; else empty.
    groups : tuple of (key, words, style)
        Style is a cold route, or ``1 of 4`` for a neutral mark.
    data_csv : str
        ``what, group, x, value, conf_low, conf_high, furnace_load, coupon``; what is curve, mean
        or coupon.
    peaks : tuple of (group, estimate, conf_low, conf_high)
        Places of peaks under the curves; ``inf`` where the data set no limit.
    alt : str
        What it shows, in a sentence without its full stop.
    reading : str
        How to read the marks, in sentences.
    loads : str
        That loads of one level stand side by side; written under the axis where they do.
    """

    y_title: str
    x_title: str
    is_curve: bool
    ticks: tuple[tuple[str, ...], ...]
    groups: tuple[tuple[str, ...], ...]
    data_csv: str
    peaks: tuple[tuple[str, ...], ...] = ()
    alt: str = ""
    reading: str = ""
    ticks_below: tuple[str, ...] = ()
    y_unit: str = ""
    loads: str = ""


@dataclass(frozen=True)
class ShortVerdict:
    """A verdict in one line.

    Attributes
    ----------
    word : str
        What readers see, such as ``exceeds`` or ``inside the range``.
    verdict : str
        Glyph: one of the five verdicts, or empty for none.
    sign : int
        Where a triangle points.
    words : str
        What was compared, and its number.
    """

    word: str
    verdict: str
    sign: int
    words: str


@dataclass(frozen=True)
class ShareWords:
    """What a share picture says.

    Attributes
    ----------
    question, headline, interval : str
        The question, the answer in a few words, the interval that stands at once under it.
    verdicts : tuple of ShortVerdict
        At most three further ones.
    counts, source : str
        Coupons, loads and readings; the study, and that data are invented if they are.
    picture : SmallPicture or None
    """

    question: str
    headline: str
    interval: str
    verdicts: tuple[ShortVerdict, ...]
    counts: str
    source: str
    picture: SmallPicture | None = None
