"""Serving the board over HTTP until it is told to stop."""

from __future__ import annotations

from collections.abc import Callable
from threading import Event
from typing import Any

from bondtrail.serving import WebServer, listen_on, url_of
from dashboard.access import OPEN, Access
from dashboard.app import create_app
from dashboard.history import KEY

THREADS = 4
LARGEST_BODY = 16 << 20
"""Of a request; those of the board's own pages are a few thousand bytes. [bytes]"""


def serve(
    store_url: str,
    *,
    access: Access = OPEN,
    host: str = "127.0.0.1",
    port: int = 0,
    on_ready: Callable[[str], None] | None = None,
    stop: Event | None = None,
) -> None:
    """Serve the board until interrupted or told to stop; may run in any thread.

    Parameters
    ----------
    store_url : str
        As `store.open_store` takes it.
    access : Access
        Who may see it. On an address that others can reach, let them sign in.
    host : str
        Address to listen on.
    port : int
        0 takes a free one.
    on_ready : callable, optional
        Called with the address of the board once it listens.
    stop : Event, optional
        Once it is set, requests at hand are answered, a few seconds at most, and it returns.

    Raises
    ------
    OSError
        If the address cannot be listened on.
    """
    with listen_on(host, port) as listening:
        app = create_app(store_url, access)
        if on_ready is not None:
            on_ready(url_of(listening))
        try:
            WebServer(
                app.server,
                listening,
                threads=THREADS,
                stop=stop,
                max_request_body_size=LARGEST_BODY,
                **_proxy(access),
            ).run()
        finally:
            app.server.config[KEY].close()


def _proxy(access: Access) -> dict[str, Any]:
    """Return whose word is taken for who asks and how; where nobody signs in, it is looked at."""
    if access.proxy is None:
        return {"clear_untrusted_proxy_headers": access.sign_in}
    return {
        "trusted_proxy": access.proxy,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }
