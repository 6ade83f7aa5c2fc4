"""What came out when an archive of open data was recomputed, in words and as a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from quenchbook.shown import Shown, ShowsItself
from quenchbook.units import listed

if TYPE_CHECKING:
    import pandas as pd

    from quenchbook.report.archive_comparison import Difference


@dataclass(frozen=True, repr=False)
class Verification(ShowsItself):
    """What came out when an archive was recomputed.

    Attributes
    ----------
    archive : str
        Name of the file.
    sha256 : str
        Checksum of the archive itself.
    study, plan : str
        Key of the study and hash of its plan; empty if they cannot be read.
    files, tables, numbers, texts, sentences : int
        How many were compared.
    same : int
        Numbers that agree.
    printed : int
        Printed answers that were looked for in the page.
    page : str
        HTML report beside the archive in which the answers were looked for; empty: none.
    differences : tuple of Difference
    other_versions : tuple of str
        Programs whose version is not the one that made the archive, in words.
    not_compared : tuple of str
        Files that were not recomputed: nothing but their checksums speaks for them.
    """

    archive: str
    sha256: str
    study: str
    plan: str
    files: int
    tables: int
    numbers: int
    same: int
    texts: int
    sentences: int
    printed: int
    page: str
    differences: tuple[Difference, ...]
    other_versions: tuple[str, ...]
    not_compared: tuple[str, ...] = ()

    @property
    def agrees(self) -> bool:
        """Whether nothing differs."""
        return not self.differences

    def to_frame(self) -> pd.DataFrame:
        """One row a difference: ``table, row, column, archived, recomputed``."""
        import pandas as pd

        names = ("table", "row", "column", "archived", "recomputed")
        rows = [[getattr(own, name) for name in names] for own in self.differences]
        return pd.DataFrame(rows, columns=list(names))

    def summary(self) -> str:
        """Say what was compared and every difference."""
        from quenchbook.report.archive import PAPERS
        from quenchbook.report.archive_comparison import RELATIVE_TOLERANCE

        lines = [
            self._counted(),
            f"{self.archive}: study {self.study or 'not read'}, SHA-256 {self.sha256}",
        ]
        if self.plan:
            lines.append(f"Plan {self.plan}")
        lines.append(f"{self.files} files against their checksums.")
        if self.tables:
            lines.append(
                f"Recomputed from study, plan and records: {self.numbers} numbers, of which "
                f"{self.same} agree, and {self.texts} texts in {self.tables} tables (numbers "
                f"within {RELATIVE_TOLERANCE:g} of their size, texts exactly)."
            )
            beside = (
                f"{self.printed} printed answers looked for in {self.page}"
                if self.page
                else f"no {self.study}.html beside the archive, so no page was looked into"
            )
            lines.append(f"{self.sentences} sentences of the findings, exactly; {beside}.")
            papers = [name for name in PAPERS if name not in self.not_compared]
            lines += [f"{listed(papers)}, line by line."] if papers else []
        lines += self.other_versions
        if self.tables and self.not_compared:
            lines.append(f"Not recomputed, taken as given: {listed(list(self.not_compared))}.")
        if self.agrees:
            lines.append(f"All {'that was compared' if self.not_compared else 'of it'} agrees.")
        else:
            count = len(self.differences)
            lines.append(f"{count} difference{'s' if count != 1 else ''}:")
            lines += [f"  {own}" for own in self.differences]
        lines.append(
            "Checksums and numbers tell whether the archive fits together, not who made it: "
            "compare the plan hash with one that was published before the data."
        )
        return "\n".join(lines)

    def shown(self) -> Shown:
        """Whether it agrees, then each difference; what was compared is among the notes."""
        notes = [own for own in self.summary().split("\n")[1:] if not own.startswith("  ")]
        return Shown(self._counted(), self.to_frame(), tuple(notes))

    def _counted(self) -> str:
        count = len(self.differences)
        words = (
            f"{count} difference{'s' if count > 1 else ''} found" if count else "Nothing differs"
        )
        return f"{words} in {self.archive}."

    def __repr__(self) -> str:
        return f"<Verification of {self.archive}: {len(self.differences)} differences>"
