"""Share pictures: size of type, what gives way where words are long."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.text import Text

from quenchbook.plots.share_card import SIZES, SMALLEST, figure_share_card, share_alt, share_png
from quenchbook.plots.share_words import ShareWords, ShortVerdict, SmallPicture
from quenchbook.plots.sheet import Sheet
from quenchbook.plots.small_picture import draw_small_picture
from quenchbook.plots.style import drawing_rules

ROWS = [
    f"{what},{group},{x},{value},{low},{high},{load},{coupon}"
    for what, group, x, value, low, high, load, coupon in (
        ("curve", "none", 940, 61.0, 60.5, 61.5, "", ""),
        ("curve", "none", 1030, 60.0, 59.5, 60.5, "", ""),
        ("curve", "dry_ice", 940, 62.0, 61.5, 62.5, "", ""),
        ("curve", "dry_ice", 1030, 63.0, 62.5, 63.5, "", ""),
        ("coupon", "none", 941, 61.2, "", "", 1, "A"),
        ("coupon", "none", 941, 61.6, "", "", 1, "B"),
        ("coupon", "dry_ice", 1029, 63.1, "", "", 2, "C"),
    )
]
PICTURE = SmallPicture(
    "Hardness, HRC", "Austenitize, °C", True, (("940.0", "940"), ("1030.0", "1030")),
    (("none", "no cold step", "none"), ("dry_ice", "dry ice", "dry_ice")),
    "\n".join(["what,group,x,value,conf_low,conf_high,furnace_load,coupon", *ROWS]) + "\n",
    (("none", "960.0", "-inf", "990.0"),), "Hardness against austenitize",
)  # fmt: skip
WORDS = ShareWords(
    "How far does the cold move the peak?", "Dry ice moved the peak up by 44 °C",
    "95 % interval 25 to 114 °C",
    (ShortVerdict("differs", "differs", 1, "harder by 0.94 HRC"),
     ShortVerdict("equivalent", "equivalent", 1, "liquid nitrogen and dry ice"),
     ShortVerdict("undecided", "undecided", 1, "freezer at 970 °C")),
    "96 coupons, 12 furnace loads, 480 indents", "Study irons, invented data", PICTURE,
)  # fmt: skip
IN_BOTH = replace(
    WORDS,
    headline="Dry ice moved the peak up by 44 °C (79 °F)",
    interval="95 % interval 25 to 114 °C (45 to 205 °F)",
    picture=replace(
        PICTURE, y_title="Impact energy, J (below in ft lbf)", y_unit="J",
        x_title="Austenitize, °C (below in °F)", ticks_below=("1724", "1886"),
    ),
)  # fmt: skip
LONG = ShareWords(
    "q" * 300 + " long question " * 20, "A very long headline " * 12, "interval " * 30,
    tuple(ShortVerdict("no upper limit, exploratory", "undecided", 1, "words " * 60) for _ in "abc"),
    "counts " * 40, "source " * 40, PICTURE,
)  # fmt: skip
PLAIN = ShareWords("Is it so?", "No", "", (), "", "Study s, invented data")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize(
    "words", [WORDS, IN_BOTH, LONG, PLAIN], ids=["usual", "both units", "long", "plain"]
)
def test_no_word_is_smaller_than_24_px_or_leaves_the_card(
    words: ShareWords, size: tuple[int, int]
) -> None:
    figure = figure_share_card(words, size).figure
    with drawing_rules():
        figure.set_dpi(72)
        figure.canvas.draw()
        texts = [own for own in figure.findobj(Text) if own.get_text()]
        assert texts
        for text in texts:
            assert text.get_fontsize() >= SMALLEST
            box = text.get_window_extent()
            assert box.x0 >= 0
            assert box.x1 <= size[0]
            assert box.y0 >= 0
            assert box.y1 <= size[1]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("words", [WORDS, IN_BOTH], ids=["one unit", "both units"])
def test_words_of_a_usual_card_stand_clear_of_each_other(
    words: ShareWords, size: tuple[int, int]
) -> None:
    figure = figure_share_card(words, size).figure
    with drawing_rules():
        figure.set_dpi(72)
        figure.canvas.draw()
        boxes = [
            (t.get_text(), t.get_window_extent()) for t in figure.findobj(Text) if t.get_text()
        ]
    for number, (first, box) in enumerate(boxes):
        for second, other in boxes[number + 1 :]:
            assert not (
                min(box.x1, other.x1) - max(box.x0, other.x0) > 2
                and min(box.y1, other.y1) - max(box.y0, other.y0) > 2
            ), f"{first} meets {second}"


@pytest.mark.parametrize("size", SIZES)
def test_ticks_have_the_other_unit_below(size: tuple[int, int]) -> None:
    shown = [text.get_text() for text in figure_share_card(IN_BOTH, size).figure.findobj(Text)]
    # 1.8 * 940 + 32, 1.8 * 1030 + 32; 62 J / 1.3558 (NIST SP 811)
    assert {"1724", "1886", "45.7"} <= set(shown)


def test_a_number_is_not_cut_from_its_other_unit() -> None:
    # three lengths, so that the second line ends in three places of the pair
    long = (f"{'w' * 23} {'w' * pad} from ice" for pad in (23, 26, 29))
    verdicts = tuple(
        ShortVerdict("exceeds", "exceeds", 1, f"{words}, 1030\u00a0°C (1886\u00a0°F)")
        for words in long
    )
    figure = figure_share_card(replace(WORDS, verdicts=verdicts), SIZES[1]).figure
    cut = [own for text in figure.findobj(Text) if (own := text.get_text()).endswith("\u2026")]
    assert len(cut) == 3
    assert not any("1030" in own for own in cut)


@pytest.mark.parametrize("size", SIZES)
def test_an_invented_study_says_so_on_every_card(size: tuple[int, int]) -> None:
    for words in (WORDS, PLAIN):
        figure = figure_share_card(words, size).figure
        assert any("invented data" in text.get_text() for text in figure.findobj(Text))


def test_a_card_is_the_same_bytes_twice() -> None:
    assert share_png(WORDS, SIZES[0]) == share_png(WORDS, SIZES[0])


def test_all_three_verdicts_are_on_the_usual_card() -> None:
    for size in SIZES:
        shown = {text.get_text() for text in figure_share_card(WORDS, size).figure.findobj(Text)}
        assert {"differs", "equivalent", "undecided"} <= shown


def test_the_alternative_text_holds_every_word_of_the_card() -> None:
    alt = share_alt(WORDS)
    for words in (WORDS.question, WORDS.headline, WORDS.interval, WORDS.counts, WORDS.source):
        assert words in alt
    for own in WORDS.verdicts:
        assert f"{own.word}: {own.words}" in alt


def _crowded(seed: int) -> SmallPicture:
    """Two near curves with coupons all over the panel."""
    rng = np.random.default_rng(seed)
    rows = [row.rstrip(",") for row in ROWS[:4]]
    for number in range(40):
        place, load = rng.choice([940, 970, 1000, 1030]), rng.integers(1, 7)
        group = ("none", "dry_ice")[number % 2]
        rows.append(f"coupon,{group},{place},{rng.uniform(59.5, 63.5)},,,{load},K{number}")
    head = "what,group,x,value,conf_low,conf_high,furnace_load,coupon"
    ticks = tuple((f"{own}.0", str(own)) for own in (940, 970, 1000, 1030))
    return replace(PICTURE, ticks=ticks, data_csv="\n".join([head, *rows]) + "\n",
                   loads="furnace loads side by side")  # fmt: skip


def _drawn(picture: SmallPicture) -> tuple[Sheet, list[tuple[float, float]], list[Text]]:
    """A picture of 600 by 300, the places of its coupons and the names of its groups."""
    with drawing_rules():
        sheet = Sheet(300.0, 600.0)
        draw_small_picture(sheet, picture, (0.0, 0.0, 600.0, 300.0), size=24.0)
        sheet.figure.set_dpi(72)
        sheet.figure.canvas.draw()
    panel = sheet.figure.axes[1]
    places = [
        tuple(place)
        for line in panel.lines if line.get_linestyle() == "None"
        for place in panel.transData.transform(np.column_stack(line.get_data()))
    ]  # fmt: skip
    words = {words for _, words, _ in picture.groups}
    return sheet, places, [own for own in sheet.ground.texts if own.get_text() in words]


@pytest.mark.parametrize("seed", range(8))
def test_a_name_hides_no_coupon_wherever_the_coupons_lie(seed: int) -> None:
    _, places, names = _drawn(_crowded(seed))
    assert len(places) == 40
    assert len(names) == 2
    for name in names:
        box = name.get_window_extent()
        assert not [x for x, y in places if box.x0 <= x <= box.x1 and box.y0 <= y <= box.y1]


def test_names_without_a_free_place_stand_above_the_figure() -> None:
    rows = [
        f"coupon,none,{place},{value},,,{load},K{load}-{place}-{value}"
        for place in range(940, 1031, 10)
        for load, value in enumerate(np.linspace(59.6, 63.4, 14))
    ]
    full = _crowded(1)
    sheet, _, names = _drawn(replace(full, data_csv=full.data_csv + "\n".join(rows) + "\n"))
    top = sheet.figure.axes[1].get_window_extent().y1
    assert all(name.get_window_extent().y0 >= top for name in names)


def test_loads_of_a_level_stay_within_a_quarter_of_its_room_and_the_card_says_so() -> None:
    sheet, places, _ = _drawn(_crowded(2))
    panel = sheet.figure.axes[1]
    edges = panel.transData.transform([(940, 60), (970, 60), (1000, 60), (1030, 60)])[:, 0]
    room = edges[1] - edges[0]
    for x, _ in places:
        assert np.abs(edges - x).min() <= 0.25 * room + 0.5
    assert "furnace loads side by side" in [own.get_text() for own in sheet.ground.texts]


@pytest.mark.parametrize("size", SIZES)
def test_a_verdict_of_two_lines_is_not_cut(size: tuple[int, int]) -> None:
    long = ShortVerdict("undecided", "undecided", 1,
                        "impact energy, liquid nitrogen against dry ice, at equal hardness")  # fmt: skip
    words = replace(WORDS, verdicts=(long, *WORDS.verdicts[:2]))
    shown = " ".join(own.get_text() for own in figure_share_card(words, size).figure.findobj(Text))
    assert "…" not in shown
