"""Words of the template that still stand in a study file."""

from __future__ import annotations

from pathlib import Path

from quenchbook.study.definition import Study


def template_words(study: Study) -> list[str]:
    """Say what of the template still stands in the study file, one sentence or none.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of str
    """
    import tomllib

    text = Path(__file__).with_name("template.toml").read_text(encoding="utf-8")
    template = tomllib.loads(text)
    own = {"author": study.author, "date": study.date}
    left = [f"{key} is still '{text}'" for key, text in own.items() if text == str(template[key])]
    if not left:
        return []
    return [f"In study.toml the {' and the '.join(left)}, and the report will print it."]
