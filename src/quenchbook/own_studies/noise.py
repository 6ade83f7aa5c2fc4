"""Noise of the studies of a library: one model a study and response, pooled by unit."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from quenchbook.errors import QuenchbookError
from quenchbook.outlook.noise_parts import NoisePart, noise_frame, noise_parts, pooled_noise
from quenchbook.own_studies.coupon_table import library_name, response_words, unit_factor
from quenchbook.own_studies.entries import StudyEntry
from quenchbook.own_studies.study_records import unchanged_records
from quenchbook.own_studies.workers import results_of
from quenchbook.shown import Shown, ShowsItself
from quenchbook.study.definition import Noise
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.own_studies.kept_tables import KeptTables

Told = list[NoisePart] | str
"""What a study says of the noise of a response, or why it says nothing."""

_COMMON: Final = (
    "Pooling takes each kind of unit to scatter alike in all studies; lowest and highest are "
    "those of single studies."
)

_COLUMNS: Final = ("digest", "name", *(own.name for own in fields(NoisePart)))


@dataclass(frozen=True, eq=False, repr=False)
class StudyNoise(Mapping[str, Noise], ShowsItself):
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

    def shown(self) -> Shown:
        """What is pooled, then each standard deviation with its limits and what it rests on."""
        if self.table.empty:
            return Shown("No study tells a noise.", notes=self.notes)
        most = int(self.table["studies"].max())
        counted = f"{most} {'study' if most == 1 else 'studies'}"
        names = response_words(self.table)
        finding = (
            f"Noise of {listed(list(dict.fromkeys(names)))} from "
            f"{counted if (self.table['studies'] == most).all() else f'up to {counted}'}."
        )
        rows = self.table.assign(response=names)
        shares = rows["scale"] == "log"
        sizes = ["sd", "conf_low", "conf_high", "sd_lowest", "sd_highest"]
        rows.loc[shares, sizes] *= 100
        rows.loc[shares, "unit"] = "%"
        several = (rows["studies"] > 1).any()
        columns = ["response", "stratum", "sd", "conf_low", "conf_high", "unit", "df", "studies"]
        columns += ["sd_lowest", "sd_highest"] if several else []
        return Shown(finding, rows[columns], self.notes, confidence=self.confidence)

    def __repr__(self) -> str:
        return f"<StudyNoise of {', '.join(self.noise) or 'nothing'}>"


class NoiseOfStudies:
    """What each study of a library says of its noise; fitted once and kept.

    Parameters
    ----------
    places : mapping of folder name to Path
    kept : KeptTables
    workers : int or None
        Processes that fit at once.
    present : collection of str
        Digests of all studies of the library: nothing is kept of others.
    """

    def __init__(
        self,
        places: Mapping[str, Path],
        kept: KeptTables,
        workers: int | None,
        present: Collection[str],
    ) -> None:
        self.places, self.kept, self.workers = places, kept, workers
        self.present = frozenset(present)
        self._told: dict[tuple[str, str], Told] | None = None

    def told(self, entries: Sequence[StudyEntry], response: str) -> dict[str, Told]:
        """What each study that measured a response says, by its key."""
        known = self._known()
        wanted = [entry for entry in entries if response in entry.responses]
        missing = [entry for entry in wanted if (entry.digest, response) not in known]
        if missing:
            work = [(self.places[own.folder], own.digest, own.responses) for own in missing]
            changed: dict[str, str] = {}
            for entry, found in zip(
                missing, results_of(_study_noise, work, "models", self.workers), strict=True
            ):
                if isinstance(found, str):  # no longer what its digest was made of
                    changed[entry.key] = found
                    continue
                for name, told in found.items():
                    known[entry.digest, name] = told
            self._keep(known)
        else:
            changed = {}
        return {
            entry.key: changed.get(entry.key) or known[entry.digest, response] for entry in wanted
        }

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
            if digest not in self.present:  # of a study that was changed or taken away
                continue
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


def _study_noise(work: tuple[Path, str, Mapping[str, str]]) -> dict[str, Told] | str:
    """What one study says of the noise of each of its responses; or why it cannot be read now."""
    from quenchbook.fit.fitting import mixed_model

    place, digest, responses = work
    found: dict[str, Told] = {}
    try:
        records = unchanged_records(place, digest)
    except read_faults() as error:
        return reason_of(error)
    for name, own in responses.items():
        response = records.study.response(own)
        try:
            parts = noise_parts(mixed_model(records, own, records.study))
        except fit_faults() as error:
            found[name] = reason_of(error)
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


def fit_faults() -> tuple[type[Exception], ...]:
    """What a fit can raise that concerns its study alone: linear algebra that fails counts."""
    import numpy as np

    return (QuenchbookError, np.linalg.LinAlgError, ArithmeticError)


def read_faults() -> tuple[type[Exception], ...]:
    """What reading a study can raise that concerns it alone, also where the fault is ours."""
    return (QuenchbookError, OSError, ValueError, TypeError, LookupError, ArithmeticError)


def reason_of(error: Exception) -> str:
    """Words of an error, shortened where a file has hundreds of mistakes."""
    if isinstance(error, OSError) and error.filename:
        return f"{error.filename}: {error.strerror or error}."
    if not isinstance(error, QuenchbookError):
        return f"It is not understood ({type(error).__name__}: {error}); please report this."
    problems = [str(problem) for problem in error.problems]
    more = len(problems) - 20
    return "\n".join([*problems[:20], *([f"... and {more} more."] if more > 0 else [])])
