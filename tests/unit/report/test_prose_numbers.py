"""Numbers of the author's prose against the numbers of the results."""

from __future__ import annotations

import pandas as pd
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from quenchbook.report.blocks import FigureBlock, FindingRow, FindingRows, Paragraph, table
from quenchbook.report.prose_numbers import unfound_numbers
from quenchbook.report.written_numbers import written_dates, written_numbers

MEANS = pd.DataFrame({"austenitize": [940.0, 1000.0], "hardness": [61.254, 63.48]})
COUPONS = pd.DataFrame(
    {"coupon": [f"K{n:02d}A" for n in range(50)], "hardness": [50 + n / 7 for n in range(50)]}
)
RESULTS = (
    Paragraph(
        ("Dry ice: +1.27\u00a0HRC (95\u00a0% interval 1.11 to 1.43). 96 coupons, 12 loads.",)
    ),
    Paragraph(("Peak at 982\u00a0°C; plan 3db02e10, made on 12 September 2026; 19.4\u00a0J.",)),
    Paragraph(("The peak moves by 27\u00a0°C; the share is 0.40; 10\u00a0000 readings.",)),
    FindingRows((FindingRow("differs", "", "", "softer", "−0.46\u00a0HRC", "−0.62 to −0.30"),)),
    table(MEANS, key="m", caption="Means.", units={"austenitize": "degC", "hardness": "HRC"}),
    table(COUPONS, key="c", caption="All.", units={"hardness": "HRC"}, decimals=1),
    FigureBlock("f", "<svg/>", "", "A figure.", alt="Words.", data_csv="delay_minutes\n77.25\n"),
)


def _cell(*blocks, tags=()):
    cell = new_code_cell("qb.show()", metadata={"tags": list(tags)})
    for block in blocks:
        cell.outputs.append(new_output("display_data", data=block._repr_mimebundle_()))
    return cell


def _unfound(prose, *more, edition="public", **options):
    cells = [_cell(*RESULTS), *more, new_markdown_cell(prose)]
    return unfound_numbers(new_notebook(cells=cells), edition, **options)


@pytest.mark.parametrize(
    "prose",
    [
        "It gained 1.3 HRC.", "It gained 1.27 HRC (1.11 to 1.43).", "about 1 HRC",
        "Softer by 0.46 HRC.", "minus 0.5 HRC", "The 95 % interval", "40 per cent of it",
        "1800 °F is the peak", "a peak of 1799.6 °F", "a move of 49 °F", "14.3 ft lbf",
        "between 1.1 and 1.4 HRC", "1.11–1.43 HRC", "96 coupons in 12 loads",
        "We asked ten thousand, 10,000 readings.", "peak near 982 C", "about 1000 readings",
        "77.25 min of delay", "77 min", "63.5 HRC at 1000 °C", "on 12 September 2026",
        "a peak at 982 °C (1800 °F)", "a move of 27 °C (49 °F)", "19.4 J (14.3 ft lbf)",
        "14.3 foot-pounds", "about 1800 to 1832 °F", "on 2026-09-12", "plan 3db02e10", "Coupon K21A read 53.0 HRC.", "1.2 h of delay is 77 min",
    ],
)  # fmt: skip
def test_a_number_of_a_result_is_found_however_it_is_rounded(prose):
    assert _unfound(prose) == []


@pytest.mark.parametrize(
    ("prose", "number", "nearest"),
    [
        ("It gained 1.4 HRC here, or 1.5 HRC.", "1.5 HRC", "+1.27\u00a0HRC"),
        ("It gained 1.274 HRC.", "1.274 HRC", "+1.27\u00a0HRC"),
        ("A peak of 990 °C.", "990 °C", "982\u00a0°C"),
        ("A peak of 1850 °F.", "1850 °F", "1000 °C"),
        ("It was 41 % of it.", "41 %", "0.40"),
        ("We used 97 coupons.", "97", "96"),
        ("It held 25 J.", "25 J", "19.4\u00a0J"),
        ("A coupon read 53.0 HRC.", "53.0 HRC", "61.254 HRC"),
        ("On 13 September 2026 it began.", "13 September 2026", ""),
        ("See plan deadbeef1.", "plan deadbeef1", ""),
        ("It took 5 cm.", "5 cm", ""),
    ],
)
def test_a_number_of_no_result_is_listed_with_the_nearest(prose, number, nearest):
    (found,) = _unfound(prose)
    assert (found.cell, found.number) == ("cell 2", number)
    assert found.nearest.replace("\u00a0", " ") == nearest.replace("\u00a0", " ")
    assert found.sentence in prose
    assert str(found).startswith(f"cell 2: {number} is in no result")


@pytest.mark.parametrize(
    "prose",
    [
        "7. first\n8. second", "## 7. A heading", "(7) of many", "as others found (1985, 1991)",
        "`x = 77.7`", "    x = 77.7", "$x = 77.7$", "$$\n77.7\n$$", "> He said 77.7.",
        "Figure 7 and Table 8", "Figures 7 and 8", "ISO 6508-1", "page 777", "[77]", "A2 and 440C",
        "https://example.org/77.7", "doi:10.1080/77.7", "at 10:37", "K07 and 3rd", "v1.2.3",
    ],
)  # fmt: skip
def test_numbers_that_are_no_claim_are_left_alone(prose):
    assert _unfound(prose) == []


@pytest.mark.parametrize(
    ("result", "prose"),
    [
        # the number in brackets is the printed one converted; 1.8 * 970.4 + 32 is 1778.7
        ("970.4\u00a0°C", "It was 970 °C (1778 °F)."), ("970.4\u00a0°C", "It was 1779 °F (971 °C)."),
        ("14.47\u00a0J", "It took 14 J (10.3 ft lbf)."),  # 14 / 1.3558, and not 10.67
    ],
)  # fmt: skip
def test_a_number_beside_its_other_unit_is_found_with_it(result, prose):
    notebook = [_cell(Paragraph((result,))), new_markdown_cell(prose)]
    assert unfound_numbers(new_notebook(cells=notebook)) == []


@pytest.mark.parametrize(
    ("prose", "number"),
    [
        ("A peak at 982 °C (1850 °F).", "1850 °F"), ("It took 19.4 J (26.3 ft lbf).", "26.3 ft lbf"),
        ("A peak at 982 °C, not 986 °C.", "986 °C"),
    ],
)  # fmt: skip
def test_a_wrong_conversion_is_listed(prose, number):
    assert [own.number for own in _unfound(prose)] == [number]


def test_a_result_only_for_supporters_is_none_of_the_public_edition():
    extra = _cell(Paragraph(("It cost 4321 in all.",)), tags=("supporters",))
    assert [one.number for one in _unfound("It cost 4321.", extra)] == ["4321"]
    assert _unfound("It cost 4321.", extra, edition="supporters") == []


def test_the_sentence_is_told_not_the_paragraph():
    (found,) = _unfound("It was cold. We paid 4321 for it. All went well.")
    assert found.sentence == "We paid 4321 for it."


def test_plain_output_of_a_cell_is_a_result():
    printed = new_code_cell(
        "print(4321)", outputs=[new_output("stream", name="stdout", text="4321")]
    )
    assert _unfound("It cost 4321.", printed) == []


def test_ranges_share_their_unit():
    units = [
        (n.value, n.unit, n.inherited) for n in written_numbers("940, 970 to 1,010 °C in 12 h")
    ]
    assert units == [(940, "°C", True), (970, "°C", True), (1010, "°C", False), (12, "h", False)]


def test_days_are_read_in_three_ways():
    days = {
        day.isoformat() for _, day in written_dates("14 January 2026, January 14, 2026, 2026-01-14")
    }
    assert days == {"2026-01-14"}
    assert written_dates("2026-13-45") == []
