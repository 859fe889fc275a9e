"""The board as a Dash application, and how it is served."""

from __future__ import annotations

import contextlib
import logging
import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import dash
from dash import dcc, html
from flask import current_app
from flask_compress import Compress
from waitress.server import create_server  # type: ignore[import-untyped]

from bondtrail.site import SiteError
from dashboard import period_picker
from dashboard.frame import frame
from dashboard.history import KEY, History
from dashboard.hosts import refuse_other_hosts
from dashboard.queries.sites import site_in_force
from store import StoreError

HERE = Path(__file__).parent
THREADS = 4
A_PAGE_COMES: Any = {"_pages_content": "children"}
"""What the page is hidden for; not for what a part of it asks for later."""


def create_app(store_url: str) -> dash.Dash:
    """Return the board over a store, which is opened when the first page is asked for.

    Parameters
    ----------
    store_url : str
        As `store.open_store` takes it.
    """
    app = dash.Dash(
        "dashboard",
        use_pages=True,
        pages_folder=str(HERE / "pages"),
        assets_folder=str(HERE / "assets"),
        include_pages_meta=False,
        serve_locally=True,
        suppress_callback_exceptions=True,
        title="Bondtrail",
        update_title="",
    )
    app.server.before_request(refuse_other_hosts)
    app.server.config[KEY] = History(store_url)
    app.server.config["COMPRESS_MIMETYPES"] = [
        "text/html",
        "text/css",
        "text/javascript",
        "application/javascript",
        "application/json",
    ]
    Compress(app.server)
    period_picker.register()
    app.layout = _layout
    return app


def _layout() -> Any:
    return frame(_site_name(), [dcc.Location(id="board-go", refresh="callback-nav"), _page()])


def _page() -> html.Div:
    return html.Div(
        dcc.Loading(
            dash.page_container,
            target_components=A_PAGE_COMES,
            delay_show=400,
            type="dot",
            color="#7D8790",
        )
    )


def _site_name() -> str | None:
    history: History = current_app.config[KEY]
    with contextlib.suppress(StoreError, SiteError, RuntimeError):
        site = site_in_force(history.store())
        return site.name if site else None
    return None


def serve(
    store_url: str,
    *,
    host: str = "127.0.0.1",
    port: int = 0,
    on_ready: Callable[[str], None] | None = None,
) -> None:
    """Serve the board until interrupted.

    Parameters
    ----------
    store_url : str
        As `store.open_store` takes it.
    host : str
        Address to listen on.
    port : int
        0 takes a free one.
    on_ready : callable, optional
        Called with the address of the board once it listens.

    Raises
    ------
    OSError
        If the address cannot be listened on.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listening = socket.create_server((host, port), family=family)
    app = create_app(store_url)
    logging.getLogger("waitress").setLevel(logging.ERROR)
    server = create_server(app.server, sockets=[listening], threads=THREADS)
    if on_ready is not None:
        on_ready(f"http://{_in_url(host)}:{listening.getsockname()[1]}/")
    try:
        server.run()
    finally:
        server.close()
        app.server.config[KEY].close()


def _in_url(host: str) -> str:
    shown = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    return f"[{shown}]" if ":" in shown else shown
