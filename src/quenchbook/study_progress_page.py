"""The start page of a study as HTML, with links for a page in its ``notebooks`` folder."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING
from urllib.parse import quote

if TYPE_CHECKING:
    from quenchbook.progress_steps import ProgressStep
    from quenchbook.study_standing import StudyProgress


def steps_html(progress: StudyProgress) -> str:
    """Table of the steps; a notebook is linked only where it is.

    Parameters
    ----------
    progress : StudyProgress

    Returns
    -------
    str
        One ``<table>``; the state of a step is a word, never only a colour.
    """
    with_papers = any(own.papers for own in progress.steps)
    rows = []
    for number, own in enumerate(progress.steps, start=1):
        word = escape(own.state_words)
        word = word.replace(" ", "&nbsp;")
        word = f"<strong>{word}</strong>" if own.state == "look again" else word
        cells = [word, _notebook(progress, own), escape(own.words)]
        cells += [_papers(own)] if with_papers else []
        filled = "".join(f'<td style="text-align:left">{cell}</td>' for cell in cells)
        rows.append(
            f'<tr><th scope="row" style="text-align:left">{number} {escape(own.name)}</th>'
            f"{filled}</tr>"
        )
    heads = "".join(
        f'<th scope="col" style="text-align:left">{head}</th>'
        for head in ("step", "state", "notebook", "what there is", "papers")[
            : 5 if with_papers else 4
        ]
    )
    words = "Steps of the study, in the order of the work"
    caption = f'<caption style="text-align:left">{words}</caption>'
    return f"<table>{caption}<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"


def cautions_html(dangers: Sequence[tuple[str, str]]) -> str:
    """Cautions of a study, folded; the line that is always seen says what they are."""
    if not dangers:
        return ""
    lines = "".join(
        f"<li><strong>{escape(hazard)}.</strong> {escape(words)}</li>" for hazard, words in dangers
    )
    return (
        "<details><summary>Cautions for the hazards of this study: read them before you work"
        f"</summary><ul>{lines}</ul></details>"
    )


def _notebook(progress: StudyProgress, step: ProgressStep) -> str:
    name = f"{step.notebook}.ipynb"
    if not (progress.folder / "notebooks" / name).exists():
        return f"{escape(name)} is not here"
    return f'<a href="{quote(name)}">{escape(name)}</a>'


def _papers(step: ProgressStep) -> str:
    return ", ".join(
        f'<a href="../{quote(path)}">{escape(path.rsplit("/", 1)[-1])}</a>' for path in step.papers
    )
