"""What JupyterLab's server does for quenchbook: it makes a new study when its tile is clicked.

Loaded by Jupyter only (``etc/jupyter/jupyter_server_config.d/quenchbook.json``). A request needs
the token and the XSRF mark of the server like any other that writes.
"""

from __future__ import annotations

from typing import Any

from jupyter_server.auth.decorator import authorized
from jupyter_server.base.handlers import APIHandler
from jupyter_server.serverapp import ServerApp
from jupyter_server.utils import url_path_join
from tornado import web

from quenchbook.errors import QuenchbookError
from quenchbook.steps import START_PAGE, new_study
from quenchbook.study_place import study_place


class StudiesHandler(APIHandler):
    """Makes studies; who may write files may do it."""

    auth_resource = "contents"

    @web.authenticated
    @authorized
    def post(self) -> None:
        """Make a study: ``{"folder": ..., "name": ...}`` in, ``{"folder", "start_page"}`` out."""
        told = self.get_json_body()
        if not isinstance(told, dict):
            return self._refuse(400, "Expected a folder and a name.")
        try:
            place = study_place(
                self.settings["server_root_dir"],
                str(told.get("folder") or ""),
                str(told.get("name") or ""),
            )
            new_study(place)
        except QuenchbookError as error:
            self._refuse(409, str(error))
        except OSError as error:
            self._refuse(409, f"The folder could not be made: {error.strerror or error}.")
        else:
            folder = "/".join(filter(None, [str(told.get("folder") or "").strip("/"), place.name]))
            self.set_status(201)
            self.finish({"folder": folder, "start_page": f"{folder}/notebooks/{START_PAGE}.ipynb"})

    def _refuse(self, status: int, message: str) -> None:
        self.set_status(status)
        self.finish({"message": message})


def _jupyter_server_extension_points() -> list[dict[str, Any]]:
    return [{"module": "quenchbook.lab_server"}]


def _load_jupyter_server_extension(app: ServerApp) -> None:
    place = url_path_join(app.base_url, "quenchbook", "studies")
    add: Any = app.web_app.add_handlers  # tornado has no types for it
    add(".*$", [(place, StudiesHandler)])
