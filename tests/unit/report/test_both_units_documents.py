"""Both unit systems in the files that are written: the same words in HTML and in PDF."""

from __future__ import annotations

import re

from tests.both_units import both_units_analysis, report_blocks
from tests.pdf_text import page_texts

from quenchbook.report.document import Document
from quenchbook.report.html import html_page
from quenchbook.report.pdf import pdf_bytes

LEVELS = ("360 °C (680 °F)", "370 °C (698 °F)", "380 °C (716 °F)")  # 1.8 C + 32, by hand


def test_html_and_pdf_name_the_furnace_in_both_scales() -> None:
    title = both_units_analysis("coated_bars").study.question
    document = Document(title, report_blocks("coated_bars"))
    page = re.sub(r"<[^>]+>", "", html_page(document)).replace("\u00a0", " ")
    printed = " ".join(" ".join(page_texts(pdf_bytes(document))).replace("\u00a0", " ").split())
    for text in (page, printed):
        assert all(level in text for level in LEVELS)
        assert "(below in °F)" in text  # title of the axis
