"""What those who watch a running Bondtrail ask it: does it live, is it ready, its figures.

Three addresses on one port, of this machine alone unless told otherwise:

- ``/healthz``: 200 while the loops of the process turn, else 503: restart it;
- ``/readyz``: 200 while all that it needs is there too, else 503: wait, or look after that;
- ``/metrics``: the figures, as Prometheus and its like read them.

Nobody signs in here, so an answer tells no name of a database, a broker or a point.
"""

from __future__ import annotations

import json
import logging
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from types import TracebackType
from typing import Any, Self

from prometheus_client import CollectorRegistry
from prometheus_client.exposition import make_wsgi_app

from bondtrail.serving import WebServer, listen_on, url_of

LIMIT_S = 2.0
"""How long a check may take before it counts as failed. [s]"""
KEPT_S = 1.0
"""How long its answer is given again. [s]"""
THREADS = 4
_BOUNDS: dict[str, Any] = {"channel_timeout": 10, "cleanup_interval": 2, "connection_limit": 500}
"""A connection that asks nothing for ten seconds makes room for others."""

Check = Callable[[], str | None]
"""Says why something is not well, in words that anyone may read; None where it is."""
Answer = tuple[str, list[tuple[str, str]], bytes]

_log = logging.getLogger(__name__)


class AddressError(ValueError):
    """A text that is no ``HOST:PORT``; `address` is that text."""

    def __init__(self, address: str) -> None:
        self.address = address
        super().__init__(f"{address!r} is no HOST:PORT, such as 127.0.0.1:8711")


def parse_address(text: str) -> tuple[str, int]:
    """Return the host and the port of ``HOST:PORT``, where an IPv6 host stands in brackets.

    Raises
    ------
    AddressError
        If the text is none.
    """
    host, colon, port = text.strip().rpartition(":")
    bare = host.removeprefix("[").removesuffix("]")
    bracketed = host.startswith("[") and host.endswith("]")
    if not (colon and bare and port.isascii() and port.isdecimal()) or int(port) > 65535:
        raise AddressError(text)
    if (":" in bare) != bracketed:
        raise AddressError(text)
    return bare, int(port)


class HealthServer:
    """Answers on a port of its own, in threads of its own, until it is stopped.

    Parameters
    ----------
    address : str
        ``HOST:PORT``; port 0 takes any free one.
    live : mapping of str to callable
        What ``/healthz`` asks, by the name that the answer gives it.
    ready : mapping of str to callable
        What ``/readyz`` asks besides.
    registry : CollectorRegistry
        What ``/metrics`` tells.
    may_move : bool
        Whether any free port will do where that one is taken.

    Raises
    ------
    AddressError
        If the address is none.
    OSError
        If it cannot be listened on.
    """

    def __init__(
        self,
        address: str,
        live: Mapping[str, Check],
        ready: Mapping[str, Check],
        registry: CollectorRegistry,
        *,
        may_move: bool = False,
    ) -> None:
        host, port = parse_address(address)
        try:
            listening = listen_on(host, port)
        except OSError:
            if not may_move:
                raise
            listening = listen_on(host, 0)
        self.url = url_of(listening)
        """Where it answers, with the port that was taken."""
        self.moved = bool(port) and listening.getsockname()[1] != port
        """Whether another port than the one that was named had to be taken."""
        live_asked = _asked(live)
        self._pages: dict[str, Callable[[dict[str, Any]], Answer]] = {
            "/healthz": _Checked(live_asked).answer,
            "/readyz": _Checked({**live_asked, **_asked(ready)}).answer,
            "/metrics": _Figures(registry).answer,
        }
        self._server = WebServer(self._respond, listening, threads=THREADS, **_BOUNDS)
        self._thread = threading.Thread(target=self._server.run, name="health", daemon=True)

    def start(self) -> None:
        """Answer from now on."""
        self._thread.start()

    def stop(self) -> None:
        """Answer no more."""
        self._server.stop()
        if self._thread.is_alive():
            self._thread.join(LIMIT_S + KEPT_S)

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, exc: BaseException | None, _: TracebackType | None
    ) -> None:
        self.stop()

    def _respond(
        self, environ: dict[str, Any], start_response: Callable[..., Any]
    ) -> Iterable[bytes]:
        status, headers, body = self._answer(environ)
        start_response(status, [*headers, ("Content-Length", str(len(body)))])
        return [] if environ["REQUEST_METHOD"] == "HEAD" else [body]

    def _answer(self, environ: dict[str, Any]) -> Answer:
        if environ["REQUEST_METHOD"] not in ("GET", "HEAD"):
            return _plain("405 Method Not Allowed", "GET or HEAD only\n", ("Allow", "GET, HEAD"))
        page = self._pages.get(environ["PATH_INFO"])
        if page is None:
            return _plain("404 Not Found", "Here are /healthz, /readyz and /metrics.\n")
        return page(environ)


def _plain(status: str, text: str, *headers: tuple[str, str]) -> Answer:
    return status, [("Content-Type", "text/plain; charset=utf-8"), *headers], text.encode()


class _Checked:
    """A page that says of each check whether it is well."""

    def __init__(self, checks: Mapping[str, _Asked]) -> None:
        self._checks = checks

    def answer(self, _environ: dict[str, Any]) -> Answer:
        give_up = time.monotonic() + LIMIT_S
        for check in self._checks.values():
            check.ask()
        reasons = {name: check.reason(give_up) for name, check in self._checks.items()}
        well = not any(reasons.values())
        told = {"ok": well, "checks": {name: why or "ok" for name, why in reasons.items()}}
        body = json.dumps(told, indent=1, ensure_ascii=False) + "\n"
        headers = [("Content-Type", "application/json"), ("Cache-Control", "no-store")]
        return "200 OK" if well else "503 Service Unavailable", headers, body.encode()


def _asked(checks: Mapping[str, Check]) -> dict[str, _Asked]:
    return {name: _Asked(name, check) for name, check in checks.items()}


class _Asked:
    """A check that is asked in a thread of its own: what hangs there must not hang an answer.

    It is never asked twice at once, so one that hangs holds one thread.
    """

    def __init__(self, name: str, check: Check) -> None:
        self._name, self._check = name, check
        self._turn = threading.Condition()
        self._begun: float | None = None
        self._ended = float("-inf")
        self._reason: str | None = None

    def ask(self) -> None:
        """Begin to ask, unless that goes on already or was done a moment ago."""
        with self._turn:
            if self._begun is not None or time.monotonic() - self._ended < KEPT_S:
                return
            self._begun = time.monotonic()
        threading.Thread(target=self._run, name=f"health: {self._name}", daemon=True).start()

    def reason(self, give_up: float) -> str | None:
        """Return what it says, or that it says nothing; waits until ``give_up`` at most.

        One that has been silent for longer than it may is not waited for.
        """
        with self._turn:
            if self._begun is not None:
                give_up = min(give_up, self._begun + LIMIT_S)
                self._turn.wait_for(lambda: self._begun is None, give_up - time.monotonic())
            if self._begun is not None:
                return f"no answer within {LIMIT_S:g} s"
            return self._reason

    def _run(self) -> None:
        try:
            reason = self._check()
        except Exception:
            _log.debug("the check of %s failed", self._name, exc_info=True)
            reason = "it cannot be told"
        with self._turn:
            self._reason, self._begun, self._ended = reason, None, time.monotonic()
            self._turn.notify_all()


class _Figures:
    """The page of the figures, as the client library writes it."""

    def __init__(self, registry: CollectorRegistry) -> None:
        self._app = make_wsgi_app(registry)

    def answer(self, environ: dict[str, Any]) -> Answer:
        told: list[Any] = []
        body = self._app(
            {**environ, "REQUEST_METHOD": "GET"},
            lambda status, headers: told.extend((status, headers)),
        )
        return told[0], list(told[1]), b"".join(body)
