"""Damaged files, one mistake after the other, each with its message word for word."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
import xlsxwriter

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.mistakes import record_mistakes
from quenchbook.records.reading import read_records

H = "coupon,hardness_hrc_1,hardness_hrc_2\n"
GOOD = H + "K7TX,62.5,62.1\n"
D = "what,which,item,actual,note\n"
C = "file,row,column,found,corrected,reason\n"
SIX = ("K7TX", "K9AD", "CRDH", "AXKF", "Y7AF", "JD7H")
COPY = H + "".join(f"{code},62,62\n" for code in SIX)


def book(sheets: Mapping[str, Sequence[Sequence[object]]], plan: str = "") -> bytes:
    target = io.BytesIO()
    workbook = xlsxwriter.Workbook(target, {"in_memory": True})
    if plan:
        workbook.set_custom_property("plan", plan)
    for name, rows in sheets.items():
        sheet = workbook.add_worksheet(name)
        for number, row in enumerate(rows):
            for place, cell in enumerate(row):
                sheet.write(number, place, cell)
    workbook.close()
    return target.getvalue()


CASES: dict[str, tuple[dict[str, str | bytes], list[str]]] = {
    "value far too high": (
        {"hardness.csv": H + "K7TX,612,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is 612, expected 0 to 70. Was "
                "the decimal point lost (61.2)?"
            ),
        ],
    ),
    "apostrophe inside a number": (
        {"hardness.csv": H + "K7TX,6'2,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '6'2', not a number in HRC. "
                "Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "other Rockwell scale in cell": (
        {"hardness.csv": H + "K7TX,98 HRB,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '98 HRB', not in HRC. Readings "
                "are never converted: ASTM E140 relates other scales to 20 to 68 HRC only, and "
                "only approximately. Read HRC, or declare a response in that scale."
            ),
        ],
    ),
    "temperature as a hardness": (
        {"hardness.csv": H + "K7TX,62 degC,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '62 degC', not a number in HRC. "
                "Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "energy in an unknown unit": (
        {"impact.csv": "coupon,impact_j\nK7TX,13.5 kgm\n"},
        [
            (
                "impact.csv row 2, coupon K7TX: impact_j is '13.5 kgm', not a number in J. Write "
                "the reading, or leave the cell empty."
            ),
        ],
    ),
    "value hopeless": (
        {"hardness.csv": H + "K7TX,99999,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is 99999, expected 0 to 70. "
                "Look at the sheet again; leave the cell empty if it cannot be read."
            ),
        ],
    ),
    "negative hardness": (
        {"hardness.csv": H + "K7TX,-62.5,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is -62.5, expected 0 to 70. "
                "Is the minus sign a slip?"
            ),
        ],
    ),
    "zero impact": (
        {"impact.csv": "coupon,impact_j\nK7TX,0\n"},
        [
            (
                "impact.csv row 2, coupon K7TX: impact_j is 0, expected above 0, up to 1000. "
                "Leave the cell empty if there is no reading."
            ),
        ],
    ),
    "negative impact": (
        {"impact.csv": "coupon,impact_j\nK7TX,\u221213.5\n"},
        [
            (
                "impact.csv row 2, coupon K7TX: impact_j is -13.5, expected above 0, up to "
                "1000. Is the minus sign a slip?"
            ),
        ],
    ),
    "impact in another unit too high": (
        {"impact.csv": "coupon,impact_ftlbf\nK7TX,900\n"},
        [
            (
                "impact.csv row 2, coupon K7TX: impact_j is 1220.24 J, expected above 0, up "
                "to 1000. Look at the sheet again; leave the cell empty if it cannot be read."
            ),
        ],
    ),
    "nan word": (
        {"hardness.csv": H + "K7TX,nan,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is 'nan', which is no "
                "reading. Leave the cell empty if there is none."
            ),
        ],
    ),
    "infinite": (
        {"hardness.csv": H + "K7TX,inf,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is 'inf', which is no "
                "reading. Leave the cell empty if there is none."
            ),
        ],
    ),
    "limit": (
        {"hardness.csv": H + "K7TX,>70,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '>70', a limit and no "
                "reading. Leave it empty; say why in a note."
            ),
        ],
    ),
    "words": (
        {"hardness.csv": H + "K7TX,hard,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is 'hard', not a number in "
                "HRC. Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "other scale in cell": (
        {"hardness.csv": H + "K7TX,745 HV,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '745 HV', not in HRC. Readings "
                "are never converted: ASTM E140 relates other scales to 20 to 68 HRC only, and "
                "only approximately. Read HRC, or declare a response in that scale."
            ),
        ],
    ),
    "two points": (
        {"hardness.csv": H + "K7TX,62.5.1,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '62.5.1', not a number in "
                "HRC. Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "footnote mark": (
        {"hardness.csv": H + "K7TX,62.5*,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '62.5*', not a number in "
                "HRC. Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "letter O for zero": (
        {"hardness.csv": H + "K7TX,6O.5,62.1\n"},
        [
            (
                "hardness.csv row 2, coupon K7TX: hardness_hrc is '6O.5', not a number in "
                "HRC. Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "misread code": (
        {"hardness.csv": H + "K9AD,62,62\nK7QX,62.5,62.1\n"},
        [
            (
                "hardness.csv row 3: K7QX is not in this plan; nearest: K7TX (one "
                "character). If that is it, add a row to corrections.csv: "
                "hardness.csv,3,coupon,K7QX,K7TX,misread label"
            ),
        ],
    ),
    "swapped code": (
        {"hardness.csv": H + "K7XT,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: K7XT is not in this plan; nearest: K7TX (two characters "
                "swapped). If that is it, add a row to corrections.csv: "
                "hardness.csv,2,coupon,K7XT,K7TX,misread label"
            ),
        ],
    ),
    "one lost character": (
        {"hardness.csv": H + "K9AD,62,62\nK7?X,62.5,62.1\n"},
        [
            (
                "hardness.csv row 3: 'K7?X' has a lost character; only K7TX of this plan fits. If "
                "that is it, add a row to corrections.csv: hardness.csv,3,coupon,K7?X,K7TX,lost "
                "character"
            ),
        ],
    ),
    "two lost characters": (
        {"hardness.csv": H + "??tx,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: '??tx' has 2 lost characters; only K7TX of this plan fits. "
                "Nothing checks the others: look at the coupon again. If that is it, add a row to "
                "corrections.csv: hardness.csv,2,coupon,??tx,K7TX,lost characters"
            ),
        ],
    ),
    "lost character and a code in two rows": (
        {"hardness.csv": H + "K7TX,62.5,62.1\nK7?X,62.5,62.1\n"},
        [
            (
                "hardness.csv row 3: 'K7?X' has a lost character; only K7TX of this plan fits. If "
                "that is it, add a row to corrections.csv: hardness.csv,3,coupon,K7?X,K7TX,lost "
                "character"
            ),
        ],
    ),
    "lost characters that fit several codes": (
        {"hardness.csv": H + "K???,62.5,62.1\n????,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: 'K???' has 3 lost characters; of this plan K7TX, K9AD fit. "
                "Look at the coupon again."
            ),
            (
                "hardness.csv row 3: '????' has 4 lost characters; of this plan K7TX, K9AD, 4E79, "
                "CRDH and 4 more fit. Look at the coupon again."
            ),
        ],
    ),
    "lost character and another that is wrong": (
        {"hardness.csv": H + "K7?Y,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: 'K7?Y' has a lost character; the others fit no code of this "
                "plan. Look at the coupon again."
            ),
        ],
    ),
    "mark of a lost character in a text of another length": (
        {"hardness.csv": H + "K7TX?,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: K7TX? is not in this plan, nor near a code of it. Look at "
                "the coupon again."
            ),
        ],
    ),
    "four signs that are no code": (
        {"hardness.csv": H + "A. B,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: A. B is not in this plan, nor near a code of it. Look at "
                "the coupon again."
            ),
        ],
    ),
    "blank inside a whole code": (
        {"hardness.csv": H + "K7 TX,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: K7 TX is not in this plan; nearest: K7TX (a blank inside). "
                "If that is it, add a row to corrections.csv: hardness.csv,2,coupon,K7 "
                "TX,K7TX,misread label"
            ),
        ],
    ),
    "deviation: lost character": (
        {"d.csv": D + "coupon,K7?X,lost,cracked,\n"},
        [
            (
                "d.csv row 2: 'K7?X' has a lost character; only K7TX of this plan fits. If that "
                "is it, add a row to corrections.csv: d.csv,2,which,K7?X,K7TX,lost character"
            ),
        ],
    ),
    "strange code": (
        {"hardness.csv": H + "Z1,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: Z1 is not in this plan, nor near a code of it. Look at "
                "the coupon again."
            ),
        ],
    ),
    "code as a number": (
        {"hardness.csv": H + "4.00E+79,62.5,62.1\n"},
        [
            (
                "hardness.csv row 2: 4.00E+79 is not in this plan; a spreadsheet reads the "
                "code 4E79 as a number. Format the column as text and type the code again."
            ),
        ],
    ),
    "two mistakes in one row": (
        {"hardness.csv": H + "K7QX,612,62.1\n"},
        [
            (
                "hardness.csv row 2: K7QX is not in this plan; nearest: K7TX (one "
                "character). If that is it, add a row to corrections.csv: "
                "hardness.csv,2,coupon,K7QX,K7TX,misread label"
            ),
            (
                "hardness.csv row 2, coupon K7QX: hardness_hrc is 612, expected 0 to 70. Was "
                "the decimal point lost (61.2)?"
            ),
        ],
    ),
    "no code": (
        {"hardness.csv": H + ",62.5,62.1\n"},
        [
            "hardness.csv row 2: has readings but no coupon. Write the coupon's code.",
        ],
    ),
    "coupon twice": (
        {"hardness.csv": GOOD + "K7TX,62.0,62.2\n"},
        [
            (
                "hardness.csv row 3, coupon K7TX: hardness_hrc readings 1, 2 were already "
                "read in hardness.csv row 2. Delete one of the two, or correct the label."
            ),
        ],
    ),
    "impact twice": (
        {"impact.csv": "coupon,impact_j\nK7TX,13.5\nK7TX,13.6\n"},
        [
            (
                "impact.csv row 3, coupon K7TX: impact_j was already read in impact.csv row "
                "2. Delete one of the two, or correct the label."
            ),
        ],
    ),
    "one reading twice": (
        {"hardness.csv": "coupon,reading,hardness_hrc\nK7TX,1,62.5\nK7TX,1,62.6\n"},
        [
            (
                "hardness.csv row 3, coupon K7TX: hardness_hrc reading 1 was already read in "
                "hardness.csv row 2. Delete one of the two, or correct the label."
            ),
        ],
    ),
    "twice in two files": (
        {"a.csv": GOOD, "b.csv": H + "k7tx,62.5,62.1\n"},
        [
            (
                "b.csv row 2, coupon K7TX: hardness_hrc readings 1, 2 were already read in "
                "a.csv row 2. Delete one of the two, or correct the label."
            ),
        ],
    ),
    "file copied": (
        {"a.csv": COPY, "b.csv": COPY},
        [
            (
                "b.csv: 6 rows repeat readings of a.csv (first: row 2, coupon K7TX). Move "
                "one of the two out of the folder."
            ),
        ],
    ),
    "too many readings": (
        {"h.csv": "coupon,hardness_hrc\nK7TX,62\nK7TX,62\nK7TX,61\n"},
        [
            (
                "h.csv row 4, coupon K7TX: is reading 3 of hardness_hrc, expected 1 to 2. "
                "Delete it, or correct the label."
            ),
        ],
    ),
    "reading number too high": (
        {"h.csv": "coupon,reading,hardness_hrc\nK7TX,3,62\n"},
        [
            (
                "h.csv row 2, coupon K7TX: reading is '3', expected 1 to 2. Number the "
                "readings of each coupon."
            ),
        ],
    ),
    "reading number missing": (
        {"h.csv": "coupon,reading,hardness_hrc\nK7TX,,62\n"},
        [
            (
                "h.csv row 2, coupon K7TX: reading is '', expected 1 to 2. Number the "
                "readings of each coupon."
            ),
        ],
    ),
    "third column of readings": (
        {"h.csv": "coupon,hardness_hrc_3\nK7TX,62\n"},
        [
            (
                "h.csv row 1: the column 'hardness_hrc_3' is reading 3, the study has 2 "
                "readings a coupon. Correct the number, or the readings in study.toml."
            ),
        ],
    ),
    "reading and numbered": (
        {"h.csv": "coupon,reading,hardness_hrc_1\nK7TX,1,62\n"},
        [
            ("h.csv row 1: has a column 'reading' and numbered columns as well. Keep one of them."),
        ],
    ),
    "same reading in two columns": (
        {"h.csv": "coupon,hardness_hrc_1,indent_hrc_1\nK7TX,61,62\n"},
        [
            (
                "h.csv row 1: 'hardness_hrc_1' and 'indent_hrc_1' are the same reading. Keep "
                "one of them."
            ),
        ],
    ),
    "no unit": (
        {"h.csv": "coupon,hardness_1,hardness_2\nK7TX,62,62\nK9AD,61,\n"},
        [
            (
                "h.csv row 1: the column 'hardness_1' has no unit, and its cells have none. "
                "Name it hardness_hrc_1 if it is HRC."
            ),
            (
                "h.csv row 1: the column 'hardness_2' has no unit, and its cells have none. "
                "Name it hardness_hrc_2 if it is HRC."
            ),
        ],
    ),
    "no unit long": (
        {"i.csv": "coupon,impact\nK7TX,13.5\n"},
        [
            (
                "i.csv row 1: the column 'impact' has no unit, and its cells have none. Name "
                "it impact_j if it is J."
            ),
        ],
    ),
    "wrong scale in header": (
        {"h.csv": "coupon,hardness_hv_1\nK7TX,745\n"},
        [
            (
                "h.csv row 1: the column 'hardness_hv_1' is on the scale HV, not HRC. Readings "
                "are never converted: ASTM E140 relates other scales to 20 to 68 HRC only, and "
                "only approximately. Read HRC, or declare a response in that scale."
            ),
        ],
    ),
    "unknown column": (
        {"h.csv": "coupon,hardness_hrc_1,operator\nK7TX,62,me\n"},
        [
            (
                "h.csv row 1: the column 'operator' is not known here. Known: coupon, "
                "hardness_hrc_1, hardness_hrc_2, impact_j, order, note, place."
            ),
        ],
    ),
    "misspelt column": (
        {"h.csv": "coupon,hardnes_hrc_1\nK7TX,62\n"},
        [
            (
                "h.csv row 1: the column 'hardnes_hrc_1' is not known here. Did you mean "
                "hardness_hrc_1?"
            ),
        ],
    ),
    "no readings": (
        {"h.csv": "coupon,note\nK7TX,fine\n"},
        [
            "h.csv row 1: there is no column of readings. Known: hardness_hrc, impact_j.",
        ],
    ),
    "misspelt coupon": (
        {"h.csv": "cupon,hardness_hrc_1\nK7TX,62\n"},
        [
            (
                "h.csv row 1: the columns cupon, hardness_hrc_1 are of no known table; "
                "nearest is a table of readings. Is 'cupon' the column coupon?"
            ),
        ],
    ),
    "unknown table": (
        {"shopping.txt": "salt,flour\n1,2\n"},
        [
            (
                "shopping.txt row 1: the columns salt, flour are of no known table. If it is "
                "not a table of readings, move it out of the folder."
            ),
        ],
    ),
    "prose": (
        {"readme.txt": "These are my readings.\n"},
        [
            (
                "readme.txt row 1: the columns these_are_my_readings are of no known table. "
                "If it is not a table of readings, move it out of the folder."
            ),
        ],
    ),
    "misspelt deviations": (
        {"d.csv": "what,wich,item,actual\ncoupon,K7TX,lost,cracked\n"},
        [
            (
                "d.csv row 1: the columns what, wich, item, actual are of no known table; "
                "nearest is deviations. Is 'wich' the column which?"
            ),
        ],
    ),
    "column twice": (
        {"h.csv": "coupon,hardness_hrc_1,hardness_hrc_1\nK7TX,62,61\n"},
        [
            (
                "h.csv row 1: the column 'hardness_hrc_1' stands 2 times. Rename or delete "
                "one of them."
            ),
        ],
    ),
    "column without name": (
        {"h.csv": "coupon,,hardness_hrc_1\nK7TX,x,62\n"},
        [
            (
                "h.csv row 1: column 2 has no name, but row 2 has a cell in it. Name the "
                "column, or delete it."
            ),
        ],
    ),
    "row too long": (
        {"h.csv": H + "K7TX,62.5,62.1,63\n"},
        [
            (
                "h.csv row 2: has 4 cells, the header has 3 columns. If a note holds the "
                'separating mark, put the note between quotation marks ("...").'
            ),
        ],
    ),
    "decimal commas between commas": (
        {"h.csv": H + "K7TX,62,5,62,1\n"},
        [
            (
                "h.csv row 2: has 5 cells, the header has 3 columns. Decimal commas between "
                "separating commas? Save the table with ; between the columns."
            ),
        ],
    ),
    "mixed decimal marks": (
        {"h.csv": "coupon;hardness_hrc_1;hardness_hrc_2\nK7TX;62,5;62,1\nK9AD;62.5;62,3\n"},
        [
            (
                "h.csv row 3: '62.5' has a decimal point, '62,5' in row 2 has a decimal "
                "comma. Write all numbers of the table with one mark."
            ),
        ],
    ),
    "thousand or decimal": (
        {"i.csv": "coupon;impact_j\nK7TX;1,925\n"},
        [
            (
                "i.csv row 2: '1,925' can be read as a thousand or as a decimal, and no "
                "other number settles it. Write 1925 or 1.925."
            ),
        ],
    ),
    "unclosed quotation mark": (
        {"h.csv": H + 'K7TX,"62.5,62.1\nK9AD,62,62\n'},
        [
            (
                "h.csv row 2: a quotation mark is never closed, or stands inside a cell. "
                'Delete it, or write it twice ("").'
            ),
        ],
    ),
    "quotation mark swallows": (
        {"h.csv": 'coupon,hardness_hrc_1,note\nK7TX,62.5,"deep\nK9AD,62.5,"\n'},
        [
            (
                "h.csv row 2: a quotation mark opens a cell that swallows the rows below. "
                "Delete the quotation mark, or write the cell on one line."
            ),
        ],
    ),
    "quotation mark inside": (
        {"h.csv": H + 'K7TX,"62".5,62.1\n'},
        [
            (
                "h.csv row 2: a quotation mark is never closed, or stands inside a cell. "
                'Delete it, or write it twice ("").'
            ),
        ],
    ),
    "empty file": (
        {"h.csv": ""},
        [
            "h.csv: is empty. Fill it in, or delete it.",
        ],
    ),
    "blank file": (
        {"h.csv": b" \n\n"},
        [
            "h.csv: is empty. Fill it in, or delete it.",
        ],
    ),
    "only the plan": (
        {"h.csv": "# plan 5f2c5f2c\n"},
        [
            "h.csv: has no header. Fill it in, or delete it.",
        ],
    ),
    "not text": (
        {"h.csv": b"coupon\x00,\x81\x8d"},
        [
            "h.csv: is not a text file. Save the table as CSV, UTF-8.",
        ],
    ),
    "not cp1252": (
        {"h.csv": b"coupon,note\nK7TX,\x81\n"},
        [
            "h.csv: is not a text file. Save the table as CSV, UTF-8.",
        ],
    ),
    "damaged workbook": (
        {"h.xlsx": b"PK\x03\x04 nothing"},
        [
            (
                "h.xlsx: cannot be opened as a workbook (no sound zip archive). Save it "
                "again, or as CSV."
            ),
        ],
    ),
    "empty workbook": (
        {"h.xlsx": book({"hardness": []})},
        [
            "h.xlsx: has no filled sheet. Fill it in, or delete it.",
        ],
    ),
    "wrong plan": (
        {"h.csv": "# plan 5f2c9d7a11\n" + GOOD},
        [
            (
                "h.csv row 1: belongs to plan 5f2c9d7a, these records are read with plan "
                "ac87a78b. Move the file to the records of its own plan."
            ),
        ],
    ),
    "wrong plan in a property": (
        {
            "h.xlsx": book(
                {"hardness": [["coupon", "hardness_hrc_1"], ["K7TX", 62.5]]}, "5f2c9d7a11"
            )
        },
        [
            (
                "h.xlsx, sheet hardness row 1: belongs to plan 5f2c9d7a, these records are "
                "read with plan ac87a78b. Move the file to the records of its own plan."
            ),
        ],
    ),
    "short plan": (
        {"h.csv": "# plan 5f\n" + GOOD},
        [
            (
                "h.csv row 1: belongs to plan 5f, these records are read with plan ac87a78b. "
                "Move the file to the records of its own plan."
            ),
        ],
    ),
    "sheet value": (
        {"b.xlsx": book({"hardness": [["coupon", "hardness_hrc_1"], ["K7TX", 612]]})},
        [
            (
                "b.xlsx, sheet hardness row 2, coupon K7TX: hardness_hrc is 612, expected 0 "
                "to 70. Was the decimal point lost (61.2)?"
            ),
        ],
    ),
    "sheet code misread": (
        {"b.xlsx": book({"hardness": [["coupon", "hardness_hrc_1"], ["K7QX", 62]]})},
        [
            (
                "b.xlsx, sheet hardness row 2: K7QX is not in this plan; nearest: K7TX (one "
                'character). If that is it, add a row to corrections.csv: "b.xlsx, sheet '
                'hardness",2,coupon,K7QX,K7TX,misread label'
            ),
        ],
    ),
    "yes in a sheet": (
        {"b.xlsx": book({"hardness": [["coupon", "hardness_hrc_1"], ["K7TX", True]]})},
        [
            (
                "b.xlsx, sheet hardness row 2, coupon K7TX: hardness_hrc is 'TRUE', not a "
                "number in HRC. Write the reading, or leave the cell empty."
            ),
        ],
    ),
    "log: unknown load": (
        {"l.csv": "furnace_load,austenitize_actual_degC\n7,970\n"},
        [
            ("l.csv row 2: furnace load '7' is not in this plan. It has the furnace loads 1 to 2."),
        ],
    ),
    "log: no unit": (
        {"l.csv": "furnace_load,austenitize_actual\n1,970\n2,1030\n"},
        [
            (
                "l.csv row 1: the column 'austenitize_actual' has no unit, and its cells "
                "have none. Write the unit into its name, or beside each number (970 degC)."
            ),
        ],
    ),
    "log: wrong unit": (
        {"l.csv": "furnace_load,austenitize_actual_min\n1,970\n"},
        [
            (
                "l.csv row 1: the column 'austenitize_actual_min': 'min' is not a unit of "
                "austenitize. Name it austenitize_actual_degC if that is it."
            ),
        ],
    ),
    "log: fahrenheit as celsius": (
        {"l.csv": "furnace_load,austenitize_actual_degC\n1,1778\n"},
        [
            (
                "l.csv row 2, furnace load 1: austenitize is '1778' (1778\u00a0°C), expected "
                "820 to 1180 °C. Was it 1778 degF (970\u00a0°C)?"
            ),
        ],
    ),
    "log: hopeless": (
        {"l.csv": "furnace_load,austenitize_actual_degC\n1,97\n"},
        [
            (
                "l.csv row 2, furnace load 1: austenitize is '97' (97\u00a0°C), expected 820 "
                "to 1180 °C. Look at the log again."
            ),
        ],
    ),
    "log: words": (
        {"l.csv": "furnace_load,austenitize_actual_degC\n1,hot\n"},
        [
            (
                "l.csv row 2, furnace load 1: austenitize is 'hot', not a temperature in °C. "
                "Write it such as 970 degC, or leave the cell empty."
            ),
        ],
    ),
    "log: load twice": (
        {"l.csv": "furnace_load,austenitize_actual_degC\n1,970\n1,975\n"},
        [
            (
                "l.csv row 3: austenitize of furnace load 1 is 975\u00a0°C, but l.csv row 2 "
                "says 970\u00a0°C. Keep the one that was really run."
            ),
        ],
    ),
    "log: unknown column": (
        {"l.csv": "furnace_load,soak\n1,30\n"},
        [
            (
                "l.csv row 1: the column 'soak' is not known here. Known: furnace_load, "
                "austenitize_actual_degC, order, note."
            ),
        ],
    ),
    "log: against deviations": (
        {
            "l.csv": "furnace_load,austenitize_actual_degC\n1,970\n",
            "z.csv": D + "furnace_load,1,austenitize,982 degC,\n",
        },
        [
            (
                "z.csv row 2: austenitize of furnace load 1 is 982\u00a0°C, but l.csv row 2 "
                "says 970\u00a0°C. Keep the one that was really run."
            ),
        ],
    ),
    "deviation: unknown unit": (
        {"d.csv": D + "furnace,1,austenitize,982 degC,\n"},
        [
            (
                "d.csv row 2: 'furnace' is not something that can deviate. Did you mean "
                "furnace_load?"
            ),
        ],
    ),
    "deviation: unknown coupon": (
        {"d.csv": D + "coupon,K7QX,lost,cracked,\n"},
        [
            (
                "d.csv row 2: K7QX is not in this plan; nearest: K7TX (one character). If "
                "that is it, add a row to corrections.csv: d.csv,2,which,K7QX,K7TX,misread "
                "label"
            ),
        ],
    ),
    "deviation: batch as a date": (
        {"d.csv": D + "cold_batch,01-Mar,delay,85 min,\n"},
        [
            (
                "d.csv row 2: cold batch '01-Mar' is not in this plan; a spreadsheet turns "
                "3-2 into a date. Format the column as text and type the batch again."
            ),
        ],
    ),
    "deviation: unknown batch": (
        {"d.csv": D + "temper_batch,9,temper,160 degC,\n"},
        [
            (
                "d.csv row 2: temper batch '9' is not in this plan. It has the temper "
                "batches 1 to 2."
            ),
        ],
    ),
    "deviation: unknown item": (
        {"d.csv": D + "cold_batch,1-3,dely,85 min,\n"},
        [
            ("d.csv row 2, cold batch 1-3: the item 'dely' is not known here. Did you mean delay?"),
        ],
    ),
    "deviation: no unit": (
        {"d.csv": D + "cold_batch,1-3,delay,85,\n"},
        [
            (
                "d.csv row 2, cold batch 1-3: delay is '85' without a unit. Write it as 85 "
                "min, if that is it."
            ),
        ],
    ),
    "deviation: no level": (
        {"d.csv": D + "cold_batch,1-3,delay,,late\n"},
        [
            ("d.csv row 2, cold batch 1-3: delay has no actual level. Write what was really run."),
        ],
    ),
    "deviation: negative delay": (
        {"d.csv": D + "cold_batch,1-3,delay,-5 min,\n"},
        [
            ("d.csv row 2, cold batch 1-3: delay is '-5 min', below zero. Look at the log again."),
        ],
    ),
    "deviation: unknown route": (
        {"d.csv": D + "coupon,K9AD,cold_route,icecream,\n"},
        [
            (
                "d.csv row 2, coupon K9AD: cold_route: 'icecream' is not a level of cold "
                "route. Known: no cold step, freezer, dry ice, liquid nitrogen."
            ),
        ],
    ),
    "deviation: delay without cold": (
        {"d.csv": D + "coupon,K7TX,delay,85 min,\n"},
        [
            (
                "d.csv row 2: delay has no meaning for coupon K7TX: it exists only for "
                "freezer, dry ice, liquid nitrogen. Correct the label, or tell first that "
                "cold_route was different."
            ),
        ],
    ),
    "deviation: delay not told": (
        {"d.csv": D + "coupon,K7TX,cold_route,freezer,wrong tray\n"},
        [
            (
                "d.csv row 2: cold route of coupon K7TX was freezer, but its delay is not "
                "told. Add a row: coupon,K7TX,delay,0 min"
            ),
        ],
    ),
    "deviation: lost without reason": (
        {"d.csv": D + "coupon,K7TX,lost,,\n"},
        [
            (
                "d.csv row 2, coupon K7TX: is lost without a reason. Say what happened in "
                "the column actual."
            ),
        ],
    ),
    "deviation: empty note": (
        {"d.csv": D + "coupon,K7TX,note,,\n"},
        [
            "d.csv row 2, coupon K7TX: the note is empty. Write it, or delete the row.",
        ],
    ),
    "deviation: column missing": (
        {"d.csv": "what,which,actual\ncoupon,K7TX,cracked\n"},
        [
            ("d.csv row 1: there is no column 'item'. The columns are what, which, item, actual."),
        ],
    ),
    "correction: no such file": (
        {"h.csv": GOOD, "c.csv": C + "hh.csv,2,coupon,K7TX,K9AD,misread\n"},
        [
            "c.csv row 2: there is no table 'hh.csv' to correct. Did you mean h.csv?",
        ],
    ),
    "correction: no such row": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,20,coupon,K7TX,K9AD,misread\n"},
        [
            "c.csv row 2: h.csv has no filled row 20. 'K7TX' is in row 2 now: write that row here.",
        ],
    ),
    "correction: row in words": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,two,coupon,K7TX,K9AD,misread\n"},
        [
            ("c.csv row 2: row 'two' is not a row number. Write it as the spreadsheet shows it."),
        ],
    ),
    "correction: no such column": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,2,coupons,K7TX,K9AD,misread\n"},
        [
            "c.csv row 2: h.csv has no column 'coupons'. Did you mean coupon?",
        ],
    ),
    "correction: not what is there": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,2,coupon,K7TY,K9AD,misread\n"},
        [
            (
                "c.csv row 2: h.csv row 2, coupon holds 'K7TX', not 'K7TY'. Correct the row "
                "number, or delete the correction."
            ),
        ],
    ),
    "correction: no reason": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,2,coupon,K7TX,K9AD,\n"},
        [
            "c.csv row 2: the correction has no reason. Say why it is right.",
        ],
    ),
    "correction: twice": (
        {"h.csv": GOOD, "c.csv": C + "h.csv,2,coupon,K7TX,K9AD,a\nh.csv,2,coupon,K7TX,CRDH,b\n"},
        [
            "c.csv row 3: corrects the same cell as row 2. Keep one of them.",
        ],
    ),
    "correction: alone": (
        {"c.csv": C + "h.csv,2,coupon,K7TX,K9AD,a\n"},
        [
            "c.csv row 2: there is no table 'h.csv' to correct. There is no other table.",
        ],
    ),
    "mistakes of three files": (
        {"a.csv": H + "K7TX,612,62\n", "b.csv": "", "c.csv": "coupon,impact_j\nK7TX,-1\nK7QX,5\n"},
        [
            (
                "a.csv row 2, coupon K7TX: hardness_hrc is 612, expected 0 to 70. Was the "
                "decimal point lost (61.2)?"
            ),
            "b.csv: is empty. Fill it in, or delete it.",
            (
                "c.csv row 2, coupon K7TX: impact_j is -1, expected above 0, up to 1000. Is "
                "the minus sign a slip?"
            ),
            (
                "c.csv row 3: K7QX is not in this plan; nearest: K7TX (one character). If "
                "that is it, add a row to corrections.csv: c.csv,3,coupon,K7QX,K7TX,misread "
                "label"
            ),
        ],
    ),
}


def test_there_are_damaged_files_enough() -> None:
    assert len(CASES) >= 60


@pytest.mark.parametrize("name", CASES)
def test_every_mistake_has_its_message(
    name: str, matrix: CouponMatrix, put: Callable[..., Path]
) -> None:
    files, messages = CASES[name]
    folder = put(files)
    with pytest.raises(RecordError) as caught:
        read_records(folder, matrix)
    found = [
        str(problem).replace(matrix.short_hash, "ac87a78b") for problem in caught.value.problems
    ]
    assert found == messages


@pytest.mark.parametrize(
    "label", ["K7_X", "K7.X", "K7*X", "K7-X", "K7\u2013X", "K7 X", "k7\u00a0x"]
)
def test_other_marks_of_a_lost_character_are_understood(
    label: str, matrix: CouponMatrix, put: Callable[..., Path]
) -> None:
    folder = put({"hardness.csv": H + f"{label},62.5,62.1\n"})
    with pytest.raises(RecordError) as caught:
        read_records(folder, matrix)
    [problem] = caught.value.problems
    assert problem.problem.endswith("has a lost character; only K7TX of this plan fits")
    assert problem.remedy.endswith(",K7TX,lost character")


def test_a_mark_that_codes_of_the_plan_have_themselves_is_no_lost_character(
    matrix: CouponMatrix, put: Callable[..., Path]
) -> None:
    own = matrix.frame.assign(coupon=[f"A-{number}" for number in range(1, 9)])
    folder = put({"hardness.csv": H + "B-1,62.5,62.1\nA-?,62,62\n"})
    with pytest.raises(RecordError) as caught:
        read_records(folder, replace(matrix, frame=own))
    near, several = caught.value.problems
    assert "nearest: A-1 (one character)" in near.problem
    assert several.problem == (
        "'A-?' has a lost character; of this plan A-1, A-2, A-3, A-4 and 4 more fit"
    )


def test_the_proposed_row_restores_a_lost_character(
    matrix: CouponMatrix, put: Callable[..., Path]
) -> None:
    files = {"hardness.csv": H + "?7T?,62.5,62.1\n"}
    with pytest.raises(RecordError) as caught:
        read_records(put(files), matrix)
    row = caught.value.problems[0].remedy.rpartition("corrections.csv: ")[2]
    records = read_records(put({**files, "corrections.csv": C + row + "\n"}), matrix)
    assert set(records.readings["coupon"]) == {"K7TX"}
    assert "coupon '?7T?' is 'K7TX' (lost characters)" in records.notes[0]


def test_a_missing_folder_and_an_empty_one_are_told(
    matrix: CouponMatrix, records_folder: Path
) -> None:
    with pytest.raises(RecordError, match="there is no table in it"):
        read_records(records_folder, matrix)
    with pytest.raises(RecordError, match="there is no such folder"):
        read_records(records_folder / "none", matrix)
    with pytest.raises(RecordError, match="there is no such folder"):
        read_records(records_folder / "none" / "records", matrix, may_be_empty=True)


@pytest.mark.parametrize("place", [".", "none"])
def test_having_no_record_yet_is_no_mistake_and_says_how_to_begin(
    matrix: CouponMatrix, records_folder: Path, place: str
) -> None:
    mistakes = record_mistakes(records_folder / place, matrix)
    assert len(mistakes) == 0
    for words in (
        mistakes.summary(),
        read_records(records_folder / place, matrix, may_be_empty=True).summary(),
    ):
        assert "Nothing is recorded yet" in words
        assert "form of 03_records" in words
