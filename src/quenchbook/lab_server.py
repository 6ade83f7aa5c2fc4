"""What JupyterLab's server does for quenchbook: its tile makes a new study.

Loaded by Jupyter only (``etc/jupyter/jupyter_server_config.d/quenchbook.json``). A request needs
the token and the XSRF mark of the server like any other that writes.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from jupyter_server.auth.decorator import authorized
from jupyter_server.base.handlers import APIHandler
from jupyter_server.serverapp import ServerApp
from jupyter_server.utils import url_path_join
from tornado import web

from quenchbook.errors import QuenchbookError
from quenchbook.steps import START_PAGE, new_study
from quenchbook.study_place import place_for_studies, study_place


class StudiesHandler(APIHandler):
    """Says where a study would be made, and makes it; who may write files may do it."""

    auth_resource = "contents"

    @web.authenticated
    @authorized
    def get(self) -> None:
        """Where a study would be made: ``?folder=...`` in, ``{"folder"}`` out, blank for the root.

        It is refused with the same words as the making of one.
        """
        folder = _path_text(self.get_query_argument("folder", "", strip=False))
        if folder is None:
            return self._refuse(400, _NO_PATH)
        try:
            place = place_for_studies(self.settings["server_root_dir"], folder)
        except QuenchbookError as error:
            return self._refuse(409, str(error))
        if not os.access(place, os.W_OK):
            name = self._below_root(place) or "the top folder"
            return self._refuse(409, f"You may not write in {name}. Choose another folder.")
        return self._answer(200, {"folder": self._below_root(place)})

    @web.authenticated
    @authorized
    def post(self) -> None:
        """Make a study: ``{"folder": ..., "name": ...}`` in, ``{"folder", "start_page"}`` out."""
        told = self.get_json_body()
        if not isinstance(told, dict):
            return self._refuse(400, "Expected a folder and a name.")
        folder, name = _path_text(told.get("folder")), told.get("name") or ""
        if folder is None or not isinstance(name, str):
            return self._refuse(400, _NO_PATH)
        try:
            place = study_place(self.settings["server_root_dir"], folder, name)
            new_study(place)
        except QuenchbookError as error:
            lines = (replace(own, where=self._told(own.where)) for own in error.problems)
            return self._refuse(409, "\n".join(map(str, lines)))
        except OSError as error:
            why = error.strerror or "the system refused it"
            return self._refuse(409, f"The folder could not be made: {why}.")
        made = self._below_root(place)
        page = f"{made}/notebooks/{START_PAGE}.ipynb"
        return self._answer(201, {"folder": made, "start_page": page})

    def _refuse(self, status: int, message: str) -> None:
        self._answer(status, {"message": message})

    def _answer(self, status: int, content: dict[str, str]) -> None:
        self.set_status(status)
        self.finish(content)

    def _below_root(self, place: Path) -> str:
        """Path as the file browser shows it; blank for the root."""
        top = Path(self.settings["server_root_dir"]).expanduser().resolve()
        own = place.relative_to(top).as_posix()
        return "" if own == "." else own

    def _told(self, where: str) -> str:
        """Place of a mistake without what lies above the root: that is nobody's who asks."""
        top = Path(self.settings["server_root_dir"]).expanduser().resolve()
        return self._below_root(Path(where)) if Path(where).is_relative_to(top) else where


_NO_PATH: Final = "The folder is not a path that a file system knows."


def _path_text(told: object) -> str | None:
    """Text as a path below the root; None if no file system can have it (NUL, half a character)."""
    text = "" if told is None else told
    if not isinstance(text, str) or "\0" in text:
        return None
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return None
    return text


def _jupyter_server_extension_points() -> list[dict[str, Any]]:
    return [{"module": "quenchbook.lab_server"}]


def _load_jupyter_server_extension(app: ServerApp) -> None:
    place = url_path_join(app.base_url, "quenchbook", "studies")
    add: Any = app.web_app.add_handlers  # tornado has no types for it
    add(".*$", [(place, StudiesHandler)])
