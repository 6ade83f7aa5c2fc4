"""Several studies as one table: filters, models, noise, lots."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import EstimabilityError
from quenchbook.made_by import MadeBy, made_by
from quenchbook.own_studies.entries import StudyEntry, UnreadStudy
from quenchbook.own_studies.filters import column_named, filter_words, rows_with
from quenchbook.own_studies.noise import NoiseOfStudies, StudyNoise, fit_faults, pooled, reason_of
from quenchbook.own_studies.study_records import StudyRecords
from quenchbook.shown import ShowsItself
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.fit.lots import LotMeans
    from quenchbook.fit.mixed import MixedModel
    from quenchbook.study.factors import Level

_MOST_NAMED: Final = 12  # studies in a summary; of more the first are named
_NONE_OWN: Final = (
    "No study here is of the own furnace: all are published data of others or invented."
)
_OTHERS: Final = ("data of others, published", "an invented demonstration")


@dataclass(frozen=True, eq=False, repr=False)
class OwnStudies(ShowsItself):
    """Several studies as one table.

    Attributes
    ----------
    table : DataFrame
        One row for each coupon and response: study, date, steel, heat_lot, invented, published,
        coupon, furnace_load, day, response, unit, value (mean of the readings), readings, and the
        factor columns of all studies, blank where a study does not vary the factor. Energies are
        in joules.
    records : mapping of study key to Records
        Read from the folder when they are asked for.
    entries : mapping of study key to StudyEntry
    unread : tuple of UnreadStudy
    notes : tuple of str
        Such as: nothing can be kept beside the studies.
    newly_read : int
        Studies that were read from their folders; the others were kept from before.
    """

    table: pd.DataFrame
    records: StudyRecords
    entries: Mapping[str, StudyEntry]
    noise_of: NoiseOfStudies
    unread: tuple[UnreadStudy, ...] = ()
    notes: tuple[str, ...] = ()
    newly_read: int = 0
    filters: tuple[str, ...] = field(default=())

    def where(self, **wanted: Any) -> OwnStudies:
        """Only the coupons with these values.

        Parameters
        ----------
        **wanted
            Column of the table to a value, a list of values, or a pair ``(low, high)`` for a range
            of a column of numbers or of dates: ``where(steel="A2", austenitize_c=(960, 1000))``,
            ``where(austenitize=("1760 degF", "1830 degF"))``, ``where(route="dry ice")``,
            ``where(date=("2024", None), invented=False)``.

        Raises
        ------
        EstimabilityError
            If a column is not in the table, or nothing is left.
        """
        table = self.table
        for name, value in wanted.items():
            hit = rows_with(table, name, value)
            if not hit.any():
                column, _ = column_named(table, name)
                known = [str(own) for own in table[column].dropna().unique() if own != ""][:12]
                words = f" There are: {', '.join(known)}." if known else ""
                if (table[column].isna() | (table[column] == "")).any():
                    words += f" Some coupons have no {name.replace('_', ' ')} told."
                raise EstimabilityError(f"No coupon has {filter_words(name, value)}.{words}")
            table = table[hit]
        keys = set(table["study"])
        return replace(
            self,
            table=table.reset_index(drop=True),
            records=self.records.only(keys),
            entries={key: own for key, own in self.entries.items() if key in keys},
            filters=(*self.filters, *(filter_words(name, value) for name, value in wanted.items())),
        )

    def models(self, response: str) -> list[MixedModel]:
        """Models of a response, one a study that has enough readings of it.

        Each is fitted to all of its study: a filter of the table chooses studies, not coupons, for
        a part of a study is no longer what was planned. `not_fitted` names the others.
        """
        found, why = self._fitted(response)
        if not found:
            raise self._none_fitted(response, why)
        return found

    def not_fitted(self, response: str) -> dict[str, str]:
        """Studies that measured a response and cannot be analysed for it, each with the reason."""
        told = self.noise_of.told(list(self.entries.values()), response)
        return {key: own for key, own in told.items() if isinstance(own, str)}

    def _fitted(self, response: str) -> tuple[list[MixedModel], dict[str, str]]:
        from quenchbook.fit.fitting import mixed_model

        found, why = [], {}
        for key, entry in self.entries.items():
            if response in entry.responses:
                own = self.records[key]
                try:
                    found.append(mixed_model(own, entry.responses[response], own.study))
                except fit_faults() as error:
                    why[key] = reason_of(error)
        return found, why

    def _none_fitted(self, response: str, why: Mapping[str, str]) -> EstimabilityError:
        names = ", ".join(sorted(self.table["response"].unique()))
        reasons = "".join(f" {key}: {words}" for key, words in why.items())
        return EstimabilityError(
            f"No study can be analysed for '{response}'. There are {names}.{reasons}"
        )

    def _own(self) -> tuple[OwnStudies, dict[str, str]]:
        """Studies of the own furnace, and why each other one is none; all where there is none."""
        others = {
            key: _OTHERS[0] if one.published else _OTHERS[1]
            for key, one in self.entries.items()
            if one.published or one.invented
        }
        own = {key: one for key, one in self.entries.items() if key not in others}
        if not own:
            return self, {}
        return replace(self, entries=own, records=self.records.only(set(own))), others

    def noise(self, *, confidence: float = 0.95) -> StudyNoise:
        """Noise of each response for planning, pooled over the studies that measured it.

        Mean squares are averaged with the error df of their strata as weights. Published data of
        others, and invented demonstrations, count only where there is nothing else: they are not
        the own furnace. Responses that studies analyse on different scales are left out. Each study
        counts with all of its coupons: a filter chooses studies.

        Parameters
        ----------
        confidence : float
            Of the limits of each standard deviation.

        Returns
        -------
        StudyNoise
            A mapping of response to Noise, for `question_outlooks(matrix, noise=...)` and others.
        """
        chosen, others = self._own()
        entries = list(chosen.entries.values())
        told = {
            name: chosen.noise_of.told(entries, name) for name in self.table["response"].unique()
        }
        first = self.table.drop_duplicates("response")
        units = {
            str(name): str(unit)
            for name, unit in zip(first["response"], first["unit"], strict=True)
        }
        found = pooled(told, units, confidence=confidence)
        if not others:
            strange = all(one.published or one.invented for one in entries)
            return replace(found, notes=(*found.notes, _NONE_OWN)) if strange else found
        counts = Counter(others.values())
        left = listed([f"{count} ({why})" for why, count in counts.items()])
        return replace(found, notes=(*found.notes, f"Studies not counted: {left}."))

    def lot_means(
        self, response: str, at: Mapping[str, Level], *, confidence: float = 0.95
    ) -> LotMeans:
        """Compare the same treatment between lots and studies, see `quenchbook.fit.lots`.

        As for `noise`, published and invented studies count only where there is nothing else.
        `left_out` names each study that was not compared, with the reason.
        """
        from quenchbook.fit.lots import lot_means

        chosen, others = self._own()
        measured = {
            key: why for key, why in others.items() if response in self.entries[key].responses
        }
        models, why = chosen._fitted(response)
        if not models:
            raise chosen._none_fitted(response, {**why, **measured})
        usual = Counter((own.response, own.scale, own.unit) for own in models).most_common(1)[0][0]
        for own in models:
            if (own.response, own.scale, own.unit) != usual and own.study is not None:
                why[own.study.key] = (
                    f"it is analysed in {own.unit or 'no unit'} on the {own.scale} scale, most "
                    f"others in {usual[2] or 'no unit'} on the {usual[1]} scale"
                )
        models = [own for own in models if (own.response, own.scale, own.unit) == usual]
        return lot_means(models, at, confidence=confidence, left_out={**why, **measured})

    @property
    def made_by(self) -> MadeBy:
        """Versions of the programs; each study has a plan of its own, so none is told here."""
        return made_by(None)

    def summary(self) -> str:
        """How many studies and coupons there are, and which studies could not be read."""
        counts = self.table.drop_duplicates(["study", "coupon"])["study"].value_counts(sort=False)
        named = [f"{key} ({count} coupons)" for key, count in counts.items()]
        if len(named) > _MOST_NAMED:
            more = len(named) - _MOST_NAMED
            named = [*named[:_MOST_NAMED], f"{more} more"]
        head = f"{len(counts)} {'study' if len(counts) == 1 else 'studies'}"
        if len(counts) > _MOST_NAMED:
            head += f" with {counts.sum()} coupons"
        lines = [f"{head}: {listed(named)}."]
        silent = [key for key in self.entries if key not in counts.index]
        if silent:
            lines.append(f"Without a reading yet: {listed(silent)}.")
        lines += [
            f"{own.folder.name} has no records yet."
            if own.has_no_records
            else f"{own.folder.name} could not be read. {own.reason}"
            for own in self.unread
        ]
        return "\n".join([*lines, *self.notes])

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def write_table(self, path: str | Path) -> Path:
        """Write the table as CSV or Parquet, by the ending of the file.

        Parameters
        ----------
        path : str or Path
            ``FILE.csv`` or ``FILE.parquet``; its folder is there already. In CSV an apostrophe
            stands before what a spreadsheet would take for a formula.

        Raises
        ------
        EstimabilityError
            If the ending is another one, or Parquet cannot be written here.
        """
        from quenchbook.own_studies.kept_tables import NO_PYARROW, has_pyarrow, parquet_bytes
        from quenchbook.writing import write_bytes

        path = Path(path)
        ending = path.suffix.lower()
        if ending == ".parquet":
            if not has_pyarrow():
                raise EstimabilityError(f"'{path.name}': {NO_PYARROW}. Or name a .csv file.")
            return write_bytes(path, parquet_bytes(self.table))
        if ending == ".csv":
            from quenchbook.report.guarded_csv import guarded

            shown = self.table.copy()
            for name in [own for own in shown.columns if shown[own].dtype.kind not in "fiub"]:
                shown[name] = shown[name].map(guarded, na_action="ignore")
            text = shown.to_csv(index=False, lineterminator="\n")
            return write_bytes(path, text.encode("utf-8"))
        raise EstimabilityError(f"'{path.name}' ends in neither .csv nor .parquet. Name one.")

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Readings": self.table}

    def __repr__(self) -> str:
        return f"<OwnStudies: {len(self.entries)} studies, {len(self.unread)} not read>"
