"""The server part of the Launcher tile, asked over HTTP without JupyterLab and without a browser."""

from __future__ import annotations

import asyncio
import json
import logging
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from quenchbook.lab_server import _load_jupyter_server_extension
from quenchbook.steps import new_study

Answer = tuple[int, dict[str, Any]]
Ask = Callable[..., Answer]

TOKEN = "abc"
MARK = "2|00000000|00000000000000000000000000000000|1700000000"


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """Send one request to a Jupyter server on ``root``, with the token unless told otherwise."""
    for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
        (tmp_path / "home" / name).mkdir(parents=True)
        monkeypatch.setenv(f"JUPYTER_{name}", str(tmp_path / "home" / name))
    (tmp_path / "root").mkdir()

    async def answered(method: str, query: str, body: object, headers: dict[str, str]) -> Answer:
        from jupyter_server.serverapp import ServerApp
        from tornado.httpclient import AsyncHTTPClient
        from tornado.httpserver import HTTPServer
        from tornado.testing import bind_unused_port

        ServerApp.clear_instance()
        app = ServerApp(root_dir=str(tmp_path / "root"), allow_root=True)
        app.config.IdentityProvider.token = TOKEN
        app.initialize([], find_extensions=False, new_httpserver=False)
        _load_jupyter_server_extension(app)
        server = HTTPServer(app.web_app)
        socket, port = bind_unused_port()
        server.add_sockets([socket])
        try:
            found = await AsyncHTTPClient(force_instance=True).fetch(
                f"http://127.0.0.1:{port}/quenchbook/studies{query}",
                method=method,
                body=None if method == "GET" else json.dumps(body),
                headers=headers,
                raise_error=False,
            )
        finally:
            server.stop()
            await app._cleanup()
        return found.code, json.loads(found.body)

    def own(method: str, query: str = "", body: object = None, *, token: bool = True,
            headers: dict[str, str] | None = None) -> Answer:  # fmt: skip
        sent = {"Authorization": f"token {TOKEN}"} if token else {}
        return asyncio.run(answered(method, query, body, {**sent, **(headers or {})}))

    return own


def test_a_study_is_made_beside_the_one_whose_page_is_open(ask: Ask, tmp_path: Path) -> None:
    new_study(tmp_path / "root" / "bench" / "demo")
    where = ask("GET", "?folder=bench/demo/notebooks")
    assert where == (200, {"folder": "bench"})
    status, told = ask("POST", body={"folder": "bench/demo/notebooks", "name": "mine"})
    assert (status, told["start_page"]) == (201, "bench/mine/notebooks/00_start.ipynb")
    assert (tmp_path / "root" / told["start_page"]).exists()


def test_a_server_in_a_study_says_so_before_a_name_is_asked(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "root" / "study.toml").touch()
    status, told = ask("GET", "?folder=")
    assert status == 409
    assert "was started in the study 'root'" in told["message"]


@pytest.mark.parametrize("folder", ["a\0b", "\ud800", ["a"], 3])
def test_a_folder_that_is_no_path_is_refused_and_no_fault_of_the_server(
    ask: Ask, folder: object
) -> None:
    status, told = ask("POST", body={"folder": folder, "name": "mine"})
    assert (status, told["message"]) == (400, "The folder is not a path that a file system knows.")


def test_a_question_for_a_folder_with_nul_is_refused(ask: Ask) -> None:
    assert ask("GET", "?folder=a%00b")[0] in (400, 409)  # tornado makes a blank of it


def test_no_message_tells_where_the_server_keeps_its_files(ask: Ask, tmp_path: Path) -> None:
    (tmp_path / "root" / "mine").mkdir()
    (tmp_path / "root" / "mine" / "x").touch()
    for body in ({"folder": "", "name": "mine"}, {"folder": "../root", "name": "y"}):
        status, told = ask("POST", body=body)
        assert status == 409
        assert str(tmp_path) not in told["message"]


@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_mark_against_forgery_without_a_token_is_refused_before_all_else(
    ask: Ask, tmp_path: Path, caplog: pytest.LogCaptureFixture, method: str
) -> None:
    headers = {"Cookie": f"_xsrf={MARK}", "X-XSRFToken": MARK}
    log = logging.getLogger("tornado.application")  # a Jupyter server hands on nothing of it
    log.addHandler(caplog.handler)
    try:
        status, told = ask(method, body={"name": "mine"}, token=False, headers=headers)
    finally:
        log.removeHandler(caplog.handler)
    assert status == 403
    assert not re.search("_xsrf|XSRF cookie", told.get("message", ""))  # the mark was good
    # what Jupyter logs where a handler lets somebody pass whom it does not know
    assert "without authentication" not in caplog.text
    assert list((tmp_path / "root").iterdir()) == []
