"""Words of the template that still stand in a study file."""

from __future__ import annotations

from pathlib import Path

from quenchbook.study.definition import Study
from quenchbook.units import capital, listed


def template_words(study: Study) -> list[str]:
    """Say what of the template still stands in the study file.

    Levels are only named beside a title or a question of the template: alone they may be meant.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of str
        A sentence on author and date, one on title, question and levels; empty if all is own.
    """
    import tomllib

    text = Path(__file__).with_name("template.toml").read_text(encoding="utf-8")
    template = tomllib.loads(text)
    own = {"author": study.author, "date": study.date}
    left = [f"{key} is still '{text}'" for key, text in own.items() if text == str(template[key])]
    words = []
    if left:
        words.append(f"In study.toml the {' and the '.join(left)}, and the report will print it.")
    asked = {"title": study.title, "question": study.question}
    example = [f"the {key}" for key, text in asked.items() if text == template[key]]
    if example:
        names = _factors_of_template(study, text)
        example += [f"the levels of {listed(names)}"] if names else []
        verb = "is" if len(example) == 1 else "are"
        words.append(
            f"{capital(listed(example))} {verb} the example of the template until you change "
            f"{'it' if verb == 'is' else 'them'} in study.toml."
        )
    return words


def _factors_of_template(study: Study, text: str) -> list[str]:
    """Titles of the factors whose levels are those of the template."""
    from quenchbook.study.files import study_from_text

    template = {own.name: own for own in study_from_text(text, study.folder / "study.toml").factors}
    return [
        own.title
        for own in study.factors
        if own.name in template and own.levels == template[own.name].levels
    ]
