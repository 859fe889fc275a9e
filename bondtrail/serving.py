"""Serving a web application until another thread says stop: the board, and what watches us."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable, Iterable
from contextlib import suppress
from threading import Event
from typing import Any

from waitress import wasyncore  # type: ignore[import-untyped]
from waitress.server import create_server  # type: ignore[import-untyped]

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
LOOK_S = 0.2
"""How often to look whether to stop, while nothing is asked. [s]"""
LEAVE_S = 5
"""How long an answer that is being given may take once it is to stop. [s]"""


class WebServer:
    """An application behind a socket that listens already.

    Parameters
    ----------
    app : callable
        A WSGI application.
    listening : socket
        Closed when the server stops.
    threads : int
        How many requests are answered at once.
    stop : Event, optional
        Once it is set, by whoever, `run` returns soon.
    **settings
        More of what waitress can be told.
    """

    def __init__(
        self,
        app: Application,
        listening: socket.socket,
        *,
        threads: int,
        stop: Event | None = None,
        **settings: Any,
    ) -> None:
        logging.getLogger("waitress").setLevel(logging.ERROR)
        self._stop = stop or Event()
        self._sockets: dict[int, Any] = {}
        self._server = create_server(
            app, map=self._sockets, sockets=[listening], threads=threads, ident=None, **settings
        )

    def run(self) -> None:
        """Serve until told to stop, or until interrupted."""
        try:
            with suppress(KeyboardInterrupt):
                while not self._stop.is_set():
                    wasyncore.loop(LOOK_S, map=self._sockets, count=1)
        finally:
            self._server.task_dispatcher.shutdown(timeout=LEAVE_S)
            wasyncore.close_all(self._sockets, ignore_all=True)

    def stop(self) -> None:
        """Have `run` return soon. Any thread may call this, before `run` too."""
        self._stop.set()


def listen_on(host: str, port: int) -> socket.socket:
    """Return a socket that listens on an address; port 0 takes any free one.

    Raises
    ------
    OSError
        If the address cannot be listened on.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    return socket.create_server((host, port), family=family)


def url_of(listening: socket.socket) -> str:
    """Return the address, for a browser on this machine, of a socket that listens."""
    host, port = listening.getsockname()[:2]
    shown = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)
    return f"http://[{shown}]:{port}/" if ":" in shown else f"http://{shown}:{port}/"
