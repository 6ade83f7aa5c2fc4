"""Which coupon, furnace load or batch of the plan a label means."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from quenchbook.errors import Problem
from quenchbook.plan.labels import codes_matching, nearest_codes
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.records.cells import is_missing, place
from quenchbook.records.tables import Row, Table
from quenchbook.study.factors import UNITS
from quenchbook.units import listed

UnitLabel = int | str

LOST: Final = "?"
"""Mark for a character that cannot be read, the one we ask for."""

_OTHER_MARKS: Final = "_.*-\u2013\u2014 "  # also written for one (common practice, no source)
_SHOWN: Final = 4  # codes in one message


class Labels:
    """The labels of a plan, found again in what people wrote.

    Parameters
    ----------
    matrix : CouponMatrix
    """

    def __init__(self, matrix: CouponMatrix) -> None:
        self.study = matrix.study
        self.between = ""  # mark between the cells of corrections.csv; empty: that of the table
        self.codes: list[str] = [str(code) for code in matrix.frame["coupon"]]
        self._places: dict[str, dict[str, str]] = {}
        self._known: dict[str, dict[str, UnitLabel]] = {}
        for unit in UNITS:
            if unit in matrix.frame:
                values = matrix.frame[unit].drop_duplicates().tolist()
                values = [value for value in values if value not in (0, "")]  # no load, no batch
                self._known[unit] = {_key(str(value)): value for value in values}

    def read_places(self, tables: Sequence[Table]) -> None:
        """Keep which coupon lay where: a place finds a coupon whose label cannot be read.

        Parameters
        ----------
        tables : sequence of Table
            Tables with a column ``coupon``; those with a column ``place`` are read.
        """
        for table in tables:
            for row in table.rows if "place" in table.header else ():
                code, where = self.coupon(row.text("coupon")), _place_key(row.text("place"))
                if code is not None and where:
                    self._places.setdefault(where, {}).setdefault(code, place(table, row))

    def no_coupon_problem(self, text: str, table: Table, row: Row) -> Problem:
        """Say that a row with readings has no label, and whose place it tells."""
        what = "has readings but no coupon"
        found = self._by_place(what, text, table, row, "coupon")
        return found or Problem(place(table, row), what, "Write the coupon's code.", "coupon")

    def _by_place(
        self, what: str, text: str, table: Table, row: Row, column: str
    ) -> Problem | None:
        """Propose the coupon whose place the row tells; None where no coupon is known to be it."""
        told = row.text("place") if column == "coupon" else ""
        known = self._places.get(_place_key(told), {})
        if not known:
            return None
        where = place(table, row)
        codes = list(known)
        found = f"{what}; its place '{told}' is that of {listed(codes[:_SHOWN])}"
        if len(codes) > 1:
            return Problem(where, found, f"Look at the {self.study.unit_word('coupon')}.", column)
        cells = (table.name, row.number, column, text, codes[0], f"found by its place {told}")
        correction = csv_row(*cells, between=self.between or table.delimiter)
        remedy = f"If that is it, add a row to corrections.csv: {correction}"
        return Problem(where, f"{found} ({known[codes[0]]})", remedy, column)

    def units(self) -> tuple[str, ...]:
        """Units that the plan numbers."""
        return tuple(self._known)

    def find(self, unit: str, text: str) -> UnitLabel | None:
        """Return the label of the plan that a text means; None if there is none."""
        known = self._known.get(unit, {})
        return known[text] if text in known else known.get(_key(text))

    def coupon(self, text: str) -> str | None:
        """Return the coupon code that a text means; None if there is none."""
        found = self.find("coupon", text)
        return None if found is None else str(found)

    def problem(self, unit: str, text: str, table: Table, row: Row, column: str) -> Problem:
        """Say that a label is not in the plan, and what it probably is."""
        return replace(self._told(unit, text, table, row, column), column=column)

    def _told(self, unit: str, text: str, table: Table, row: Row, column: str) -> Problem:
        where = place(table, row)
        if unit == "coupon":
            return self._coupon_problem(text, table, row, column)
        known = self._known.get(unit, {})
        word = self.study.unit_word(unit)
        labels = [str(label) for label in known.values()]
        wrong = f"{word} '{text}' is not in this plan"
        if _looks_like_a_date(text) and unit == "cold_batch":
            return Problem(
                where,
                f"{wrong}; a spreadsheet turns 3-2 into a date",
                "Format the column as text and type the batch again.",
            )
        plural = self.study.unit_word(unit, 2)
        return Problem(where, wrong, f"It has the {plural} {labels[0]} to {labels[-1]}.")

    def _coupon_problem(self, text: str, table: Table, row: Row, column: str) -> Problem:
        where = place(table, row)
        word = self.study.unit_word("coupon")
        if told := self._by_place(f"{text} is not in this plan", text, table, row, column):
            return told
        if powers := [code for code in self.codes if _same_number(code, text)]:
            return Problem(
                where,
                f"{text} is not in this plan; a spreadsheet reads the code {powers[0]} as a number",
                "Format the column as text and type the code again.",
            )
        if told := self._lost_problem(text, table, row, column):
            return told
        near = nearest_codes(text, self.codes)
        how = "one character"
        if not near:
            near, how = _swapped(text, self.codes), "two characters swapped"
        if not near:
            near, how = _without_blanks(text, self.codes), "a blank inside"
        if len(near) == 1:
            cells = (table.name, row.number, column, text, near[0], "misread label")
            correction = csv_row(*cells, between=self.between or table.delimiter)
            return Problem(
                where,
                f"{text} is not in this plan; nearest: {near[0]} ({how})",
                f"If that is it, add a row to corrections.csv: {correction}",
            )
        if near:
            return Problem(
                where,
                f"{text} is not in this plan; near it are {', '.join(near[:_SHOWN])} ({how})",
                f"Look at the {word} again.",
            )
        return Problem(
            where,
            f"{text} is not in this plan, nor near a code of it",
            f"Look at the {word} again.",
        )

    def _lost_problem(self, text: str, table: Table, row: Row, column: str) -> Problem | None:
        """Say which codes a label with lost characters may be; None for another label."""
        read = _with_marks(text, self.codes)
        lost = read.count(LOST)
        if not lost or all(len(code) != len(read) for code in self.codes):
            return None
        fitting = codes_matching(read, self.codes)
        if not fitting and LOST not in text:
            return None  # a blank or a point that stands for something else
        word = self.study.unit_word("coupon")
        where = place(table, row)
        what = f"'{text}' has {'a lost character' if lost == 1 else f'{lost} lost characters'}"
        if not fitting:
            return Problem(
                where,
                f"{what}; the others fit no code of this plan",
                f"Look at the {word} again.",
            )
        if len(fitting) > 1:
            more = len(fitting) - _SHOWN
            codes = ", ".join(fitting[:_SHOWN]) + (f" and {more} more" if more > 0 else "")
            return Problem(
                where,
                f"{what}; of this plan {codes} fit",
                f"Look at the {word} again.",
            )
        reason = "lost character" if lost == 1 else "lost characters"
        cells = (table.name, row.number, column, text, fitting[0], reason)
        correction = csv_row(*cells, between=self.between or table.delimiter)
        # two lost characters use up both check characters of a code
        unchecked = f"Nothing checks the others: look at the {word} again. " if lost > 1 else ""
        return Problem(
            where,
            f"{what}; only {fitting[0]} of this plan fits",
            f"{unchecked}If that is it, add a row to corrections.csv: {correction}",
        )


def csv_row(*cells: object, between: str = ",") -> str:
    """One line of a CSV file, quoted where needed.

    Parameters
    ----------
    *cells : object
    between : str
        Mark between the cells; a comma for marks that cannot be seen, or for none.
    """
    text, mark = io.StringIO(), between if between in (";", "|") else ","
    csv.writer(text, delimiter=mark, lineterminator="").writerow([str(cell) for cell in cells])
    return text.getvalue()


def _place_key(text: str) -> str:
    return "" if is_missing(text) else " ".join(text.casefold().split())


def _key(text: str) -> str:
    plain = re.sub(r"\s*[-\u2013\u2212]\s*", "-", text.strip()).upper()
    number = re.fullmatch(r"0*(\d+)(?:\.0*)?", plain)
    return number[1] if number else plain


def _with_marks(text: str, codes: Sequence[str]) -> str:
    """Label with ``?`` for each mark that stands for a lost character and is in no code itself.

    >>> _with_marks("k7.x", ["K7TX"]), _with_marks("1-?", ["1-2"])
    ('K7?X', '1-?')
    """
    own = set("".join(codes))
    marks = {ord(mark): LOST for mark in _OTHER_MARKS if mark not in own}
    return re.sub(r"\s", " ", text.strip()).upper().translate(marks)


def _without_blanks(text: str, codes: Sequence[str]) -> list[str]:
    plain = "".join(text.split()).upper()
    return [code for code in codes if code == plain]


def _swapped(text: str, codes: list[str]) -> list[str]:
    text = text.strip().upper()
    turned = {text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in range(len(text) - 1)}
    return [code for code in codes if code in turned]


def _same_number(code: str, text: str) -> bool:
    if not re.fullmatch(r"\d+E\d+", code):
        return False
    try:
        return float(text.replace(",", ".")) == float(code)
    except ValueError:
        return False


def _looks_like_a_date(text: str) -> bool:
    return re.search(r"\d{4}-\d\d-\d\d|\d+[./]\d+|\d+[-. ]?[A-Za-z]{3}", text) is not None
