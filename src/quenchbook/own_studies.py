"""A folder of own studies, read as one table: noise for planning, lots over the years."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from quenchbook.errors import EstimabilityError, QuenchbookError, with_suggestion
from quenchbook.shown import ShowsItself
from quenchbook.study_folder import read_folder, study_folders
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.fit.lots import LotMeans
    from quenchbook.fit.mixed import MixedModel
    from quenchbook.records.reading import Records
    from quenchbook.study.definition import Noise
    from quenchbook.study.factors import Level


@dataclass(frozen=True)
class UnreadStudy:
    """A study that could not be read, with the reason; it is never left out in silence."""

    folder: Path
    reason: str


@dataclass(frozen=True, eq=False, repr=False)
class OwnStudies(ShowsItself):
    """Several studies as one table.

    Attributes
    ----------
    table : DataFrame
        One row for each coupon and response: study, date, steel, heat_lot, invented, published,
        coupon, furnace_load, day, response, unit, value (mean of the readings), readings, and the
        factor columns of all studies, blank where a study does not vary the factor.
    records : mapping of study key to Records
    unread : tuple of UnreadStudy
    """

    table: pd.DataFrame
    records: Mapping[str, Records]
    unread: tuple[UnreadStudy, ...] = ()

    def where(self, **wanted: Any) -> OwnStudies:
        """Only the coupons with these values.

        Parameters
        ----------
        **wanted
            Column of the table to a value, a list of values, or a pair ``(low, high)`` for a range
            of a column of numbers: ``where(steel="A2", austenitize_c=(960, 1000))``.

        Raises
        ------
        EstimabilityError
            If a column is not in the table, or nothing is left.
        """
        table = self.table
        for column, value in wanted.items():
            if column not in table:
                words = f"There is no column '{column}'. There are {', '.join(table.columns)}."
                raise EstimabilityError(with_suggestion(words, column, table.columns))
            known = table[column].dropna().unique()
            if isinstance(value, tuple) and len(value) == 2 and table[column].dtype.kind == "f":
                table = table[table[column].between(*value)]
            else:
                values = [value] if isinstance(value, str | float | int) else list(value)
                table = table[table[column].isin(values)]
            if table.empty:
                words = ", ".join(map(str, list(known)[:12]))
                raise EstimabilityError(f"No coupon has {column} {value}. There are: {words}.")
        keys = set(table["study"])
        return replace(
            self,
            table=table.reset_index(drop=True),
            records={key: own for key, own in self.records.items() if key in keys},
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
        return self._fitted(response)[1]

    def _fitted(self, response: str) -> tuple[list[MixedModel], dict[str, str]]:
        from quenchbook.fit.fitting import mixed_model

        found, why = [], {}
        for key, own in self.records.items():
            if response in {one.name for one in own.study.responses}:
                try:
                    found.append(mixed_model(own, response, own.study))
                except EstimabilityError as error:
                    why[key] = str(error)
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
            key: "data of others, published" if one.study.published else "an invented demonstration"
            for key, one in self.records.items()
            if one.study.published or one.study.invented
        }
        own = {key: one for key, one in self.records.items() if key not in others}
        return (replace(self, records=own), others) if own else (self, {})

    def noise(self) -> dict[str, Noise]:
        """Noise of each response for planning, pooled over the studies that measured it.

        Variances are averaged with the error df of their strata as weights. Published data of
        others, and invented demonstrations, count only where there is nothing else: they are not
        the own furnace. Responses that studies analyse on different scales are left out.
        """
        from quenchbook.outlook.noise import measured_noise

        chosen, _ = self._own()
        found = {}
        for name in self.table["response"].unique():
            try:
                models = chosen.models(name)
                found[name] = measured_noise(models)
            except EstimabilityError:
                continue
        return found

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
            key: why for key, why in others.items()
            if response in {one.name for one in self.records[key].study.responses}
        }  # fmt: skip
        models, why = chosen._fitted(response)
        if not models:
            raise chosen._none_fitted(response, {**why, **measured})
        return lot_means(models, at, confidence=confidence, left_out={**why, **measured})

    def summary(self) -> str:
        """How many studies and coupons there are, and which studies could not be read."""
        counts = self.table.drop_duplicates(["study", "coupon"])["study"].value_counts(sort=False)
        shown = listed([f"{key} ({count} coupons)" for key, count in counts.items()])
        lines = [f"{len(counts)} studies: {shown}."]
        lines += [f"{own.folder.name} could not be read. {own.reason}" for own in self.unread]
        return "\n".join(lines)

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def listings(self) -> Mapping[str, pd.DataFrame]:
        """Long tables by their title."""
        return {"Readings": self.table}

    def __repr__(self) -> str:
        return f"<OwnStudies: {len(self.records)} studies, {len(self.unread)} not read>"


def read_studies(folder: str | Path) -> OwnStudies:
    """Read every study in a folder of study folders.

    Parameters
    ----------
    folder : str or Path

    Returns
    -------
    OwnStudies
        With every study that could not be read, and why.

    Raises
    ------
    StudyError
        If there is no study in the folder, or none can be read.
    """
    import pandas as pd

    from quenchbook.errors import StudyError

    records: dict[str, Records] = {}
    unread, frames = [], []
    for place in study_folders(folder):
        try:
            study, _, own = read_folder(place)
        except QuenchbookError as error:
            unread.append(UnreadStudy(place, str(error)))
            continue
        if study.key in records:
            other = records[study.key].study.folder.name
            unread.append(
                UnreadStudy(
                    place, f"Its key '{study.key}' is that of {other} too; give it its own."
                )
            )
            continue
        records[study.key] = own
        frames.append(_coupon_values(own))
    if not records:
        raise StudyError("\n".join(f"{own.folder.name}: {own.reason}" for own in unread))
    return OwnStudies(pd.concat(frames, ignore_index=True), records, tuple(unread))


def _coupon_values(records: Records) -> pd.DataFrame:
    """One row for each coupon and response of one study."""
    import pandas as pd

    study = records.study
    columns = [factor.column for factor in study.factors]
    parts = []
    for response in study.responses:
        readings = records.frame(response.name)
        if readings.empty:
            continue
        grouped = readings.groupby("coupon", sort=False)
        kept = ["coupon", "furnace_load", "day", *columns]
        own = readings.drop_duplicates("coupon")[kept].reset_index(drop=True)
        own.insert(3, "response", response.name)
        own.insert(4, "unit", response.unit)
        own.insert(5, "value", own["coupon"].map(grouped["value"].mean()))
        own.insert(6, "readings", own["coupon"].map(grouped["value"].count()))
        parts.append(own)
    table = pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()
    table.insert(0, "study", study.key)
    table.insert(1, "date", study.date)
    table.insert(2, "steel", str(study.steel.get("grade", "")))
    table.insert(3, "heat_lot_told", str(study.steel.get("heat_lot", "")))
    table.insert(4, "invented", study.invented)
    table.insert(5, "published", study.published)
    if "heat_lot" in table:
        table["heat_lot"] = table["heat_lot"].where(table["heat_lot"].notna(), "")
        return table.drop(columns="heat_lot_told")
    return table.rename(columns={"heat_lot_told": "heat_lot"})
