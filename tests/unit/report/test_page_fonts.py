"""Fonts that come with quenchbook, and what of them goes into a page."""

from __future__ import annotations

import hashlib
import tomllib

from quenchbook.report.page_fonts import font_file, math_face, serif_faces


def test_every_font_file_is_the_one_its_provenance_tells():
    told = tomllib.loads(font_file("PROVENANCE.toml").read_text(encoding="utf-8"))
    folder = font_file("")
    files = {path.name for path in folder.iterdir() if path.suffix in (".ttf", ".woff")}
    assert files == set(told)
    for name, own in told.items():
        assert hashlib.sha256(font_file(name).read_bytes()).hexdigest() == own["sha256"], name
    assert "SIL OPEN FONT LICENSE" in font_file("OFL.txt").read_text(encoding="utf-8")


def test_a_page_has_no_character_of_the_serif_in_two_rules():
    rules = serif_faces("Łódź a σ").splitlines()
    regular = [rule.partition("unicode-range:")[2] for rule in rules if "weight:400;src" in rule]
    assert len(regular) == 3
    assert sum("U+20-7E" in codes for codes in regular) == 1


def test_a_formula_font_keeps_its_measures_and_its_slanted_letters():
    import base64
    import io
    import re

    from fontTools.ttLib import TTFont

    found = re.search(r"base64,([^)]+)", math_face("xσh"))
    assert found
    with TTFont(io.BytesIO(base64.b64decode(found[1]))) as font:
        assert "MATH" in font
        assert {0x1D465, 0x1D70E, 0x210E, 0x221A, ord("x")} <= set(font.getBestCmap())
