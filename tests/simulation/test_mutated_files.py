"""Good files, changed at random: what stands in them is read exactly, or file and row are named.

The oracle is a reader of its own: it knows where the cells of each good file are and takes numbers
with Python's ``csv`` and ``float``. For records that are read it demands, row by row, that the
values are those of the filled cells, for the coupon of that row, none more and none fewer.
"""

from __future__ import annotations

import csv
import io
import random
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import xlsxwriter
from tests.unit.records.conftest import small_matrix

from quenchbook.errors import RecordError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.mistakes import place_of
from quenchbook.records.reading import Records, read_records

FT_LBF = 0.3048 * 4.4482216152605  # NIST SP 811, both factors exact
FILES = {
    "wide.csv": (
        "# made for this test\norder,coupon,hardness_hrc_1,hardness_hrc_2,note\n"
        '1,K7TX,62.5,62.1,"chipped, a little"\n2,K9AD,63.0,,\n3,4E79,61,60.9 HRC,second day\n'
        "4,CRDH,?,62.2,\n\n5,AXKF,62.75,62.25,\n"
    ),
    "long.tsv": (
        "coupon\treading\tindent_hrc\r\nY7AF\t1\t61.5\r\nY7AF\t2\t61.25\r\nJD7H\t1\t60\r\n"
        "JD7H\t2\t59.5\r\n"
    ),
    "comma.csv": "\ufeffCoupon;Impact (ft lbf)\nK7TX;10,5\n4E79;9,75\nPHCT;9,8\nAXKF;12\n",
    "log.csv": "furnace_load,austenitize_actual_degF\n1,1778.0\n2,1886\n",
}
MARKS = {"wide.csv": ",", "long.tsv": "\t", "comma.csv": ";", "log.csv": ","}
POOL = "0123456789.,;:\t\n\r\"' -+?#eEKXTcf%/()\u00a0\u2212é\u0661\x00"
CELLS = (
    "", "?", "lost", "-", "nan", "612", "-62.5", "6 2.5", "62,5", "1,925", "1.925", "62.5 HRC",
    "62.5 J", "10 ft lbf", "1e2", "K7TX", "K7QX", "0", "00062.5", "62.5.", ".5", "=62.5", '"62',
    "62\n63", "#", "TRUE", "\uff16\uff12", "2026-01-14", "6'2", "62.50000000001",
)  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[+-]?\d+)?)\s*(.*)", re.IGNORECASE)
_GONE = ("", "?", "lost", "-", "\u2013", "\u2014", "n/a")


def mutated(text: str, mark: str, draw: random.Random) -> str:
    """Text with one to three random changes of characters, cells or lines."""
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        lines = text.split("\n")
        at = draw.randrange(len(lines))
        kind = draw.randrange(9)
        if kind <= 2:
            place = draw.randrange(len(text) + 1)
            new = draw.choice(POOL) if kind < 2 else ""
            text = text[:place] + new + text[place + (kind != 0) :]
            continue
        if kind <= 4:
            cells = lines[at].split(mark)
            cells[draw.randrange(len(cells))] = draw.choice(CELLS)
            lines[at] = mark.join(cells)
        elif kind == 5:
            lines.insert(draw.randrange(len(lines)), lines[at])
        elif kind == 6:
            del lines[at]
        elif kind == 7:
            other = draw.randrange(len(lines))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            lines[at] = lines[at][: draw.randrange(len(lines[at]) + 1)]
        text = "\n".join(lines)
    return text


def plain(text: str) -> str:
    text = unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u2013", "-")
    return " ".join(text.split())


def standing(name: str, rows: list[list[str]]) -> dict[int, tuple[str, Counter[float]]]:
    """Row to the label in it and the numbers that stand in its cells of readings."""
    found: dict[int, tuple[str, Counter[float]]] = {}
    head: list[str] | None = None
    for number, row in enumerate(rows, start=1):
        cells = [cell.strip() for cell in row]
        first = next((cell for cell in cells if cell), "#")
        if head is None:
            if not first.startswith("#"):
                head = [
                    re.sub(r"[\s()\[\]_,;:/-]+", "_", plain(c).lower()).strip("_.") for c in cells
                ]
            continue
        if not any(cells) or re.match(r"#(\s|$)", cells[0]):
            continue
        key = "furnace_load" if name == "log.csv" else "coupon"
        label = cells[head.index(key)] if key in head and head.index(key) < len(cells) else ""
        values: Counter[float] = Counter()
        for title, cell in zip(head, cells, strict=False):
            if re.match("hardness|indent|impact|austenitize", title) and cell.lower() not in _GONE:
                values[value(name, title, cell)] += 1
        found[number] = (label, values)
    return found


def value(name: str, title: str, cell: str) -> float:
    """Number of a cell; a text that is none becomes a number that nothing reads as."""
    text = re.sub(r"(?<=\d)[ '](?=\d{3}(?!\d))", "", plain(cell))
    match = _NUMBER.fullmatch(text)
    if match is None:
        return float("-inf")
    number, unit = float(match[1].replace(",", ".")), match[2].lower()
    if name == "comma.csv" and (unit in ("", "ft lbf")):
        return round(number * FT_LBF, 9)
    if name == "log.csv" and unit in ("", "f", "°f", "degf"):
        return round((number - 32) * 5 / 9, 6)
    return round(number, 9)


def read_rows(name: str, records: Records) -> dict[int, tuple[str, Counter[float]]]:
    """Row to the label and the numbers that were read from it."""
    found: dict[int, tuple[str, Counter[float]]] = {}
    if name == "log.csv":
        own = records.deviations[records.deviations["file"] == name]
        cells = zip(own["row"], own["which"], own["actual"], strict=True)
    else:
        own = records.readings[records.readings["file"].str.startswith(name)]
        cells = zip(own["row"], own["coupon"], own["value"], strict=True)
    for row, label, number in cells:
        if number is None:
            continue
        entry = found.setdefault(int(row), (str(label), Counter()))
        assert entry[0] == str(label)
        entry[1][round(float(number), 6 if name == "log.csv" else 9)] += 1
    return found


def judge(name: str, rows: list[list[str]] | None, outcome: Records | RecordError) -> str:
    """What is wrong with an outcome; empty if it is as it must be."""
    if isinstance(outcome, RecordError):
        for problem in outcome.problems:
            file, row, _ = place_of(problem)
            whole = ("is empty", "is not a text file", "has no header", "rows repeat", "no filled")
            if file.partition(", sheet ")[0] != name:
                return f"the file is not named: {problem}"
            if row is None and not any(words in problem.problem for words in whole):
                return f"no row is named: {problem}"
        return ""
    if rows is None:
        return "a text that the csv module refuses was read"
    wanted, got = standing(name, rows), read_rows(name, outcome)
    if name == "log.csv":  # the same load told twice with the same temperature is kept once
        told: dict[str, int] = {}
        for row, cells in list(wanted.items()):
            if told.setdefault(str(cells), row) != row:
                del wanted[row]
    for row, (label, values) in wanted.items():
        own = got.pop(row, ("", Counter()))
        if own[1] != values:
            return f"row {row} holds {dict(values)}, read as {dict(own[1])}"
        if values and plain(label).upper().lstrip("0") != own[0]:
            return f"row {row} is of '{label}', read as {own[0]}"
    return f"rows {list(got)} were read and hold nothing" if got else ""


def rows_of(text: str, mark: str) -> list[list[str]] | None:
    text = text.removeprefix("\ufeff")
    try:
        return list(csv.reader(io.StringIO(text, newline=""), delimiter=mark, strict=True))
    except csv.Error:
        return None


def outcome_of(folder: Path, matrix: CouponMatrix) -> Records | RecordError:
    try:
        return read_records(folder, matrix)
    except RecordError as error:
        return error


def text_cases(count: int, folder: Path, draw: random.Random) -> Iterator[tuple[str, str, str]]:
    for _ in range(count):
        name = draw.choice(list(FILES))
        text = mutated(FILES[name], MARKS[name], draw)
        (folder / name).write_bytes(text.encode("utf-8"))
        yield name, text, MARKS[name]
        (folder / name).unlink()


def put_good(folder: Path) -> None:
    for name, text in FILES.items():
        (folder / name).write_text(text, encoding="utf-8", newline="")


def test_the_oracle_agrees_on_the_good_files(tmp_path: Path) -> None:
    put_good(tmp_path)
    records = read_records(tmp_path, small_matrix())
    assert len(records.readings) == 16
    for name, text in FILES.items():
        rows = rows_of(text, MARKS[name])
        assert judge(name, rows, records) == ""
        assert sum(values.total() for _, values in standing(name, rows or []).values()) > 1


COUNTS = [300, pytest.param(18_000, marks=pytest.mark.simulation)]


@pytest.mark.parametrize("count", COUNTS, ids=["few", "many"])
def test_a_mutated_text_reads_as_it_stands_or_is_named(count: int, tmp_path: Path) -> None:
    matrix, draw, read = small_matrix(), random.Random(20261125), 0
    for name, text, mark in text_cases(count, tmp_path, draw):
        outcome = outcome_of(tmp_path, matrix)
        read += isinstance(outcome, Records)
        wrong = judge(name, rows_of(text, mark), outcome)
        assert not wrong, f"{wrong}\n{text!r}"
    assert 0.2 < read / count < 0.8


def sheet(rows: list[list[object]], path: Path) -> None:
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False})
    page = book.add_worksheet("hardness")
    for number, row in enumerate(rows):
        page.write_row(number, 0, row)
    book.close()


GOOD_SHEET: list[list[object]] = [
    ["coupon", "hardness_hrc_1", "hardness_hrc_2", "note"],
    ["K7TX", 62.5, 62.1, ""], ["K9AD", 63, "", "late"], ["4E79", 61.25, "60.9 HRC", ""],
    ["AXKF", "62", 62.25, ""],
]  # fmt: skip
CHANGES: tuple[Callable[[random.Random, object], object], ...] = (
    lambda draw, _: draw.choice(CELLS),
    lambda draw, _: round(draw.uniform(-20, 90), 2),
    lambda _, cell: str(cell)[::-1],
    lambda _, cell: str(cell).replace(".", ","),
)


@pytest.mark.parametrize(
    "count", [60, pytest.param(2_000, marks=pytest.mark.simulation)], ids=["few", "many"]
)
def test_a_mutated_workbook_reads_as_it_stands_or_is_named(count: int, tmp_path: Path) -> None:
    matrix, draw = small_matrix(), random.Random(5)
    read = 0
    for _ in range(count):
        rows = [list(row) for row in GOOD_SHEET]
        for _ in range(draw.choice((1, 1, 2))):
            row = draw.choice(rows)
            at = draw.randrange(len(row))
            row[at] = draw.choice(CHANGES)(draw, row[at])
        if draw.random() < 0.2:
            draw.shuffle(rows)
        sheet(rows, tmp_path / "wide.xlsx")
        outcome = outcome_of(tmp_path, matrix)
        read += isinstance(outcome, Records)
        texts = [[str(cell) for cell in row] for row in rows]
        wrong = judge("wide.xlsx", texts, outcome)
        assert not wrong, f"{wrong}\n{rows!r}"
    assert 0.1 < read / count < 0.8
