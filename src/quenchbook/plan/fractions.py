"""Regular fractions of two-level factors, and what cannot be told from what in them."""

from __future__ import annotations

import collections
import functools
import itertools
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from quenchbook.errors import PlanError, Problem
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.plan.word_sets import Counts, defining_words, level_codes
from quenchbook.shown import ShowsItself
from quenchbook.study.definition import Study
from quenchbook.study.factors import Factor
from quenchbook.units import capital

SHOWN = 6
"""Words and sentences that a summary shows before it says how many more there are."""


STRATA = (("furnace_load",), ("temper_batch",), ("bar",), ("cold_batch", "furnace_load"))
"""Units whose settings a term may follow, coarse first; a cold batch lies inside its load."""


@dataclass(frozen=True, eq=False, repr=False)
class Fraction(ShowsItself):
    """A regular fraction of all combinations of two-level factors.

    Attributes
    ----------
    factors : tuple of Factor
    columns : tuple of int
        For each factor the basic factors whose product it is, as bits.
    signs : tuple of int
        -1 where the levels of a factor are swapped, else 1.
    basic : int
        Number of basic factors.
    """

    factors: tuple[Factor, ...]
    columns: tuple[int, ...]
    signs: tuple[int, ...]
    basic: int

    @property
    def treatments(self) -> int:
        """Number of different treatments."""
        return int(2**self.basic)

    @functools.cached_property
    def words(self) -> tuple[tuple[str, ...], ...]:
        """Defining words: names of factors whose product is the same in every treatment."""
        names = [factor.name for factor in self.factors]
        return tuple(tuple(names[i] for i in word) for word in defining_words(self.columns))

    @property
    def resolution(self) -> int | None:
        """Length of the shortest defining word; None when every combination is there."""
        return len(self.words[0]) if self.words else None

    @property
    def codes(self) -> Counts:
        """-1 for the first, 1 for the second level, shape (treatments, factors)."""
        codes: Counts = level_codes(self.columns, self.basic) * np.array(self.signs)
        return codes

    def to_frame(self) -> pd.DataFrame:
        """All treatments, a column for each factor."""
        return pd.DataFrame(
            {
                factor.column: [factor.levels[int(code > 0)] for code in codes]
                for factor, codes in zip(self.factors, self.codes.T, strict=True)
            }
        )

    def alias_frame(self) -> pd.DataFrame:
        """What each factor and each combination of two cannot be told from.

        Combinations of three and more factors are left out: they are taken to do nothing.

        Returns
        -------
        DataFrame
            ``term, alias, sign, stratum``: a row for each alias, one row with a blank alias where
            there is none. With sign 1 the two effects add up, with -1 they subtract. The stratum
            is the coarsest unit in which the term does not change: a term that is constant in
            cold batches and in temper batches carries the noise of both.
        """
        rows = []
        for term in self._terms():
            alike = [other for other in self._terms() if other != term]
            alike = [other for other in alike if self._column(other) == self._column(term)]
            stratum = self._stratum(self._column(term))
            for other in alike or [()]:
                sign = self._sign(term) * self._sign(other) if other else 0
                rows.append((self._name(term), self._name(other), sign, stratum))
        return pd.DataFrame(rows, columns=["term", "alias", "sign", "stratum"])

    def alias_words(self, asked: Iterable[str] = ()) -> list[str]:
        """Aliases as sentences in the titles of factors.

        Parameters
        ----------
        asked : iterable of str
            Terms that the study asks about, such as ``austenitize:cold_route``: their sentences
            come first, after those of single factors.
        """
        together: dict[int, list[tuple[int, ...]]] = {}
        for term in self._terms():
            together.setdefault(self._column(term), []).append(term)
        wanted = {frozenset(term.split(":")) for term in asked}
        ranked = []
        for terms in together.values():
            if len(terms) > 1:
                is_asked = any(self._names(term) in wanted for term in terms)
                first, *rest = (self._title(term) for term in terms)
                ranked.append(
                    (len(terms[0]), not is_asked, f"{first} cannot be told from {_either(rest)}")
                )
        return [sentence for *_, sentence in sorted(ranked, key=lambda entry: entry[:2])]

    def notes(self, asked: Iterable[str] = ()) -> list[str]:
        """Size, defining words and aliases of the fraction, for a plan's notes."""
        every = 2 ** len(self.factors)
        if not self.words:
            return [f"All {every} combinations of {len(self.factors)} factors."]
        words = _first_of([self._title(word) for word in defining_words(self.columns)], "words")
        lines = [
            f"{self.treatments} of {every} combinations of {len(self.factors)} factors: a fraction "
            f"of resolution {self.resolution}. Defining words: {words}."
        ]
        aliases = self.alias_words(asked)
        if aliases:
            lines.append(f"{capital(_first_of(aliases, 'such', '; '))}.")
        else:
            lines.append("Every factor and every combination of two can be told from all others.")
        lines.append("Combinations of three and more factors are taken to do nothing.")
        return lines

    def summary(self) -> str:
        """Say size, defining words and aliases in words."""
        return "\n".join(self.notes())

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"All treatments": self.to_frame()}

    def __repr__(self) -> str:
        of = f"{self.treatments} of {2 ** len(self.factors)} treatments"
        return f"<Fraction: {of}, resolution {self.resolution or 'full'}>"

    # --- terms as places of factors --------------------------------------------------------------

    def _terms(self) -> list[tuple[int, ...]]:
        places = range(len(self.factors))
        return [*((place,) for place in places), *itertools.combinations(places, 2)]

    def _column(self, term: Sequence[int]) -> int:
        return functools.reduce(int.__xor__, (self.columns[place] for place in term))

    def _sign(self, term: Sequence[int]) -> int:
        return int(np.prod([self.signs[place] for place in term]))

    def _names(self, term: Sequence[int]) -> frozenset[str]:
        return frozenset(self.factors[place].name for place in term)

    def _name(self, term: Sequence[int]) -> str:
        return ":".join(self.factors[place].name for place in term)

    def _title(self, term: Sequence[int]) -> str:
        return " by ".join(self.factors[place].title for place in term)

    def _stratum(self, column: int) -> str:
        """Coarsest unit whose settings tell the column; an oven holds more than a cold batch."""
        for units in STRATA:
            if column in self._span(units):
                return units[0]
        return "coupon"

    def _span(self, units: Sequence[str]) -> set[int]:
        """Columns of all products of the factors that are set for these units."""
        span = {0}
        for factor, column in zip(self.factors, self.columns, strict=True):
            if factor.set_for in units:
                span |= {other ^ column for other in span}
        return span


def fraction_of(matrix: CouponMatrix) -> Fraction:
    """The fraction that the coupons of a plan are, found from their levels.

    Extra coupons of the study and references do not count.

    Raises
    ------
    PlanError
        If the treatments are not a regular fraction of two-level factors.
    """
    factors = matrix.study.factors
    check_two_levels(matrix.study, "coupon matrix")
    table = _planned_treatments(matrix)
    codes = np.column_stack(
        [np.where(table[factor.column] == factor.levels[1], 1, -1) for factor in factors]
    )
    one = np.ones(len(codes), dtype=np.int64)
    products = {one.tobytes(): (0, 1), (-one).tobytes(): (0, -1)}
    columns, signs, basic = [], [], 0
    for column in codes.astype(np.int64).T:
        if column.tobytes() not in products:
            for known, (bits, sign) in list(products.items()):
                product = np.frombuffer(known, dtype=np.int64) * column
                products[product.tobytes()] = (bits | 1 << basic, sign)
            basic += 1
        bits, sign = products[column.tobytes()]
        columns.append(bits)
        signs.append(sign)
    if len(table) != 2**basic:
        raise PlanError(
            f"The {len(table)} treatments of this plan are no regular fraction: what cannot be "
            "told from what has no list."
        )
    return Fraction(factors, tuple(columns), tuple(signs), basic)


def _planned_treatments(matrix: CouponMatrix) -> pd.DataFrame:
    """Treatments of the coupons that are not extra, each once."""
    study, frame = matrix.study, matrix.frame
    if "reference" in frame:
        frame = frame[frame["reference"] == ""]
    columns = [factor.column for factor in study.factors]
    left = collections.Counter(frame[columns].itertuples(index=False, name=None))
    for extra in study.extra_coupons:
        levels = tuple(extra.levels.get(factor.name) for factor in study.factors)
        if levels in left:
            left[levels] -= extra.coupons
    return pd.DataFrame([row for row, count in left.items() if count > 0], columns=columns)


def alias_list(matrix: CouponMatrix) -> pd.DataFrame:
    """What each term of a fraction plan cannot be told from: see `Fraction.alias_frame`."""
    return fraction_of(matrix.part(0)).alias_frame()


def check_two_levels(study: Study, where: str) -> None:
    """Refuse factors that cannot be part of a regular fraction.

    Raises
    ------
    PlanError
        With every factor that has not two levels, is nested, or has levels used unequally often.
    """
    problems = []
    for factor in study.factors:
        if len(factor.levels) != 2:
            found = f"{factor.title} has {len(factor.levels)} levels"
        elif factor.nested_in:
            found = f"{factor.title} exists only inside {study.factor(factor.nested_in).title}"
        elif len(set(factor.repeats)) > 1:
            found = f"levels of {factor.title} are to be used unequally often"
        else:
            continue
        problems.append(
            Problem(
                where,
                f"{found}; a fraction needs two levels of each factor, everywhere, equally often",
                'Take kind = "crossed" or "best", or change the factor.',
            )
        )
    if problems:
        raise PlanError(problems)


def asked_terms(study: Study) -> list[str]:
    """Terms that the questions of a study are about."""
    asked = [question.term for question in study.questions if question.term]
    for question in study.questions:
        if question.factor:
            asked += [f"{question.factor}:{other}" for other in {**question.at, **question.change}]
    return list(dict.fromkeys(asked))


def _first_of(items: Sequence[str], more: str, between: str = ", ") -> str:
    left = len(items) - SHOWN
    text = between.join(items[:SHOWN])
    return f"{text} and {left} more {more}" if left > 0 else text


def _either(items: Sequence[str]) -> str:
    return " or ".join(filter(None, [", ".join(items[:-1]), items[-1]]))
