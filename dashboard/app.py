"""The board as a Dash application, and how it is served."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import dash
from dash import dcc, html
from dash._callback_context import context_value
from flask import current_app
from flask_compress import Compress

from bondtrail.site import SiteError
from dashboard import period_picker
from dashboard.access import OPEN, Access
from dashboard.access.guard import ask_for_sign_in
from dashboard.access.sessions import form_token, signed_in_as
from dashboard.frame import Visitor, frame
from dashboard.history import KEY, History
from dashboard.hosts import refuse_other_hosts
from dashboard.queries.sites import site_in_force
from store import StoreError

HERE = Path(__file__).parent
A_PAGE_COMES: Any = {"_pages_content": "children"}
"""What the page is hidden for; not for what a part of it asks for later."""


def create_app(
    store_url: str, access: Access = OPEN, clock: Callable[[], float] = time.time
) -> dash.Dash:
    """Return the board over a store, which is opened when the first page is asked for.

    Parameters
    ----------
    store_url : str
        As `store.open_store` takes it.
    access : Access
        Who may see it: this machine alone, without signing in, unless said otherwise.
    clock : callable
        The time now, since 1970, for how long sessions last. [s]
    """
    if context_value.get(None) is None:
        context_value.set({})  # pages are registered by way of it, and only one thread has it
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
    app.server.before_request(refuse_other_hosts(access))
    app.server.config[KEY] = History(store_url)
    if access.sign_in:
        ask_for_sign_in(app.server, clock)
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
    name = signed_in_as()
    visitor = None if name is None else Visitor(name, form_token())
    go = dcc.Location(id="board-go", refresh="callback-nav")
    return frame(_site_name(), [go, _page()], visitor)


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
