"""Noise of the studies of a library: one model a study and response, pooled by unit."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import EstimabilityError, QuenchbookError
from quenchbook.outlook.noise_parts import NoisePart, noise_frame, noise_parts, pooled_noise
from quenchbook.own_studies.coupon_table import library_name, unit_factor
from quenchbook.own_studies.entries import StudyEntry
from quenchbook.own_studies.study_records import unchanged_records
from quenchbook.own_studies.workers import results_of
from quenchbook.study.definition import Noise
from quenchbook.units import listed, number_text, with_unit

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.own_studies.kept_tables import KeptTables

Told = list[NoisePart] | str
"""What a study says of the noise of a response, or why it says nothing."""

_COMMON: Final = (
    "Pooling takes each kind of unit to scatter alike in all studies; sd_lowest and sd_highest are "
    "those of single studies."
)

_COLUMNS: Final = ("digest", "name", *(own.name for own in fields(NoisePart)))


@dataclass(frozen=True, eq=False, repr=False)
class StudyNoise(Mapping[str, Noise]):
    """Noise of each response, pooled over studies; a mapping that planning takes as it is.

    Attributes
    ----------
    table : DataFrame
        ``response, scale, unit, stratum, studies, df, sd, conf_low, conf_high, sd_lowest,
        sd_highest``; on the log scale sd is a share, 0.1 for 10 %.
    noise : mapping of response to Noise
    confidence : float
    notes : tuple of str
        What was left out, and what pooling takes for granted.
    """

    table: pd.DataFrame
    noise: Mapping[str, Noise]
    confidence: float
    notes: tuple[str, ...] = ()

    def __getitem__(self, response: str) -> Noise:
        return self.noise[response]

    def __iter__(self) -> Iterator[str]:
        return iter(self.noise)

    def __len__(self) -> int:
        return len(self.noise)

    def to_frame(self) -> pd.DataFrame:
        """Return a copy of the table."""
        return self.table.copy()

    def summary(self) -> str:
        """Each standard deviation with its limits, and what it rests on."""
        lines = []
        for row in self.table.to_dict("records"):
            log = row["scale"] == "log"
            times, unit, decimals = (100, "%", 1) if log else (1, row["unit"], 2)
            sd, low, high = (
                number_text(row[name] * times, decimals) for name in ("sd", "conf_low", "conf_high")
            )
            studies = f"{row['studies']} {'study' if row['studies'] == 1 else 'studies'}"
            lines.append(
                f"{row['response']}, {str(row['stratum']).replace('_', ' ')}: "
                f"sd {with_unit(sd, unit)} ({low} to {high}; {row['df']:.0f} df, {studies})"
            )
        return "\n".join([*(lines or ["No study tells a noise."]), *self.notes])

    def __repr__(self) -> str:
        return f"<StudyNoise of {', '.join(self.noise) or 'nothing'}>"

    def _repr_html_(self) -> str:
        from html import escape

        words = "".join(f"<p>{escape(note)}</p>" for note in self.notes)
        return self.table.round(3).to_html(index=False, border=0, na_rep="") + words


class NoiseOfStudies:
    """What each study of a library says of its noise; fitted once and kept.

    Parameters
    ----------
    places : mapping of folder name to Path
    kept : KeptTables
    workers : int or None
        Processes that fit at once.
    """

    def __init__(self, places: Mapping[str, Path], kept: KeptTables, workers: int | None) -> None:
        self.places, self.kept, self.workers = places, kept, workers
        self._told: dict[tuple[str, str], Told] | None = None

    def told(self, entries: Sequence[StudyEntry], response: str) -> dict[str, Told]:
        """What each study that measured a response says, by its key."""
        known = self._known()
        wanted = [entry for entry in entries if response in entry.responses]
        missing = [entry for entry in wanted if (entry.digest, response) not in known]
        if missing:
            work = [(self.places[own.folder], own.digest, own.responses) for own in missing]
            for entry, found in zip(
                missing, results_of(_study_noise, work, "models", self.workers), strict=True
            ):
                for name, told in found.items():
                    known[entry.digest, name] = told
            self._keep(known)
        return {entry.key: known[entry.digest, response] for entry in wanted}

    def _known(self) -> dict[tuple[str, str], Told]:
        if self._told is None:
            self._told = {}
            kept = self.kept.noise(_COLUMNS)
            if kept is not None:
                self._told = _from_frame(*kept)
        return self._told

    def _keep(self, known: Mapping[tuple[str, str], Told]) -> None:
        import pandas as pd

        reasons: dict[str, dict[str, str]] = {}
        rows = []
        for (digest, name), told in known.items():
            if isinstance(told, str):
                reasons.setdefault(digest, {})[name] = told
            else:
                rows += [{"digest": digest, "name": name, **asdict(own)} for own in told]
        self.kept.write_noise(reasons, pd.DataFrame(rows, columns=list(_COLUMNS)))


def _from_frame(reasons: Any, parts: pd.DataFrame) -> dict[tuple[str, str], Told]:
    """What was kept; nothing of it if it is not what we keep."""
    names = [own.name for own in fields(NoisePart)]
    if tuple(parts.columns) != _COLUMNS:
        return {}
    found: dict[tuple[str, str], Told] = {}
    for row in parts.to_dict("records"):
        told = found.setdefault((row["digest"], row["name"]), [])
        if isinstance(told, list):
            told.append(NoisePart(**{name: row[name] for name in names}))
    for digest, own in reasons.items():
        if isinstance(own, dict):
            found |= {(digest, str(name)): str(words) for name, words in own.items()}
    return found


def _study_noise(work: tuple[Path, str, Mapping[str, str]]) -> dict[str, Told]:
    """What one study says of the noise of each of its responses."""
    from quenchbook.fit.fitting import mixed_model

    place, digest, responses = work
    found: dict[str, Told] = {}
    records = unchanged_records(place, digest)
    for name, own in responses.items():
        response = records.study.response(own)
        try:
            parts = noise_parts(mixed_model(records, own, records.study))
        except EstimabilityError as error:
            found[name] = str(error)
            continue
        times = unit_factor(response) if library_name(response)[0] == name else 1.0
        found[name] = [_in_unit(part, name, times) for part in parts]
    return found


def _in_unit(part: NoisePart, name: str, times: float) -> NoisePart:
    """Part in the unit of the library; a share is the same in each unit."""
    square = 1.0 if part.scale == "log" else times**2
    return replace(
        part, response=name, variance=part.variance * square, plus=part.plus * square,
        plus_share=part.plus_share * square**2, minus=part.minus * square,
        minus_share=part.minus_share * square**2,
    )  # fmt: skip


def pooled(
    told: Mapping[str, Mapping[str, Told]], units: Mapping[str, str], *, confidence: float
) -> StudyNoise:
    """Pool what the studies say, response by response.

    Parameters
    ----------
    told : mapping of response to what each study says
    units : mapping of response to unit
    confidence : float
    """
    import pandas as pd

    noise, frames, notes = {}, [], []
    for response, of_study in told.items():
        parts = [part for own in of_study.values() if not isinstance(own, str) for part in own]
        silent = {key: own for key, own in of_study.items() if isinstance(own, str)}
        if silent:
            first = next(iter(silent))
            more = f" and {len(silent) - 1} more" if len(silent) > 1 else ""
            notes.append(f"{response}: {first}{more} cannot be analysed. {silent[first]}")
        scales = sorted({part.scale for part in parts})
        if len(scales) > 1:
            notes.append(f"{response}: analysed on {listed(scales)} scales, so it is not pooled.")
            continue
        if not parts:
            continue
        noise[response] = pooled_noise(parts)
        own = noise_frame(parts, confidence=confidence)
        own.insert(0, "response", response)
        own.insert(1, "scale", scales[0])
        own.insert(2, "unit", "" if scales[0] == "log" else units.get(response, ""))
        frames.append(own)
    table = pd.concat(frames, ignore_index=True) if frames else pd.DataFrame()
    if len(table) and (table["studies"] > 1).any():
        notes.append(_COMMON)
    return StudyNoise(table, noise, confidence, tuple(notes))


def reason_of(error: QuenchbookError) -> str:
    """Words of an error, shortened where a file has hundreds of mistakes."""
    problems = [str(problem) for problem in error.problems]
    more = len(problems) - 20
    return "\n".join([*problems[:20], *([f"... and {more} more."] if more > 0 else [])])
