"""Serving the board over HTTP until it is told to stop."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable
from contextlib import suppress
from threading import Event
from typing import Any

from waitress import wasyncore  # type: ignore[import-untyped]
from waitress.server import create_server  # type: ignore[import-untyped]

from dashboard.app import create_app
from dashboard.history import KEY

THREADS = 4
LOOK_S = 0.5
"""How often to look whether to stop, while nothing is asked. [s]"""
LARGEST_BODY = 16 << 20
"""Of a request; those of the board's own pages are a few thousand bytes. [bytes]"""


def serve(
    store_url: str,
    *,
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
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.create_server((host, port), family=family) as listening:
        app = create_app(store_url)
        if on_ready is not None:
            on_ready(f"http://{_in_url(host)}:{listening.getsockname()[1]}/")
        try:
            _answer(app.server, listening, stop or Event())
        finally:
            app.server.config[KEY].close()


def _answer(application: Any, listening: socket.socket, stop: Event) -> None:
    logging.getLogger("waitress").setLevel(logging.ERROR)
    open_sockets: dict[int, Any] = {}
    server = create_server(
        application,
        map=open_sockets,
        sockets=[listening],
        threads=THREADS,
        max_request_body_size=LARGEST_BODY,
    )
    try:
        with suppress(KeyboardInterrupt):
            while not stop.is_set():
                wasyncore.loop(LOOK_S, map=open_sockets, count=1)
    finally:
        server.task_dispatcher.shutdown()
        wasyncore.close_all(open_sockets)


def _in_url(host: str) -> str:
    shown = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    return f"[{shown}]" if ":" in shown else shown
