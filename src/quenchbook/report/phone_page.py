"""Bench page for a phone: one HTML file that works offline and sends nothing anywhere."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import asdict
from importlib import resources
from pathlib import Path
from typing import Any, Final

from quenchbook.bench.phone_content import phone_content
from quenchbook.errors import ReportError
from quenchbook.plan.matrix import CouponMatrix
from quenchbook.report.characters import shown
from quenchbook.report.exporters import write_whole
from quenchbook.report.html import escape

PHONE_FILE: Final = "phone.html"
SCRIPTS: Final = ("phone_text.js", "phone_tables.js", "phone_page.js")


def write_phone_page(matrix: CouponMatrix, path: str | Path) -> Path:
    """Write the bench page of a plan for a phone.

    Parameters
    ----------
    matrix : CouponMatrix
    path : str or Path
        File to write, such as ``bench/phone.html``; its folder is made if needed.

    Returns
    -------
    Path

    Raises
    ------
    ReportError
        If the file is there and is not the page of this plan: it is not overwritten.
    """
    path = Path(path)
    same_plan = path.exists() and f'"plan": "{matrix.plan_hash}"'.encode() in path.read_bytes()
    if path.exists() and not same_plan:
        raise ReportError(
            f"{path} is not the page of this plan ({matrix.short_hash}). "
            "Move it away; it is not overwritten."
        )
    return write_whole(path, phone_page(matrix).encode("utf-8"), overwrite=same_plan)


def phone_page(matrix: CouponMatrix) -> str:
    """HTML of the bench page: style, script and plan inside, everything else forbidden.

    The content security policy names the style and the script by their hash, so that nothing that
    stands in a study could ever run, and no request can be made.
    """
    content = _shown(asdict(phone_content(matrix)))
    style = _part("phone_page.css")
    script = "\n".join(_part(name) for name in SCRIPTS)
    policy = (
        f"default-src 'none'; style-src '{_source_hash(style)}'; "
        f"script-src '{_source_hash(script)}'; base-uri 'none'; form-action 'none'"
    )
    data = json.dumps(content, ensure_ascii=False, sort_keys=True)
    data = data.replace("<", "\\u003c")  # no text of a study can end the element it stands in
    values = {
        "policy": policy,
        "title": escape(content["title"]),
        "short": escape(matrix.short_hash),
        "style": style,
        "data": data,
        "script": script,
    }
    return re.sub(r"\{\{(\w+)\}\}", lambda found: values[found[1]], _part("phone_page.html"))


def _part(name: str) -> str:
    return resources.files("quenchbook.report").joinpath(name).read_text(encoding="utf-8")


def _source_hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


def _shown(value: Any) -> Any:
    """Content with every text as a page may carry it."""
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, dict):
        return {key: _shown(own) for key, own in value.items()}
    return [_shown(own) for own in value] if isinstance(value, (list, tuple)) else value
