"""Serving: at the address that was asked for, until it is told to stop."""

from __future__ import annotations

import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from queue import Queue
from threading import Event

import pytest

from dashboard import serve
from dashboard.access import OPEN, Access


@contextmanager
def served(url: str, access: Access = OPEN) -> Iterator[str]:
    """Serve a board in a thread for as long as the block lasts."""
    stop, address = Event(), Queue[str]()
    with ThreadPoolExecutor(1) as pool:
        serving = pool.submit(serve, url, access=access, on_ready=address.put, stop=stop)
        try:
            yield address.get(timeout=60)
        finally:
            stop.set()
        assert serving.result(timeout=60) is None


def test_it_serves_in_a_thread_until_it_is_told_to_stop(empty_url: str) -> None:
    with served(empty_url) as where, urllib.request.urlopen(where, timeout=60) as answer:
        assert answer.status == 200
    port = int(where.rstrip("/").rpartition(":")[2])
    with socket.socket() as again:
        again.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        again.bind(("127.0.0.1", port))


def test_a_port_in_use_is_an_error_that_says_so(empty_url: str) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(OSError, match="in use"):
            serve(empty_url, port=taken.getsockname()[1])


@pytest.mark.parametrize(("proxy", "is_secure"), [("127.0.0.1", True), ("192.0.2.1", False)])
def test_only_the_proxy_that_was_named_is_believed(
    empty_url: str, proxy: str, is_secure: bool
) -> None:
    with served(empty_url, Access(sign_in=True, proxy=proxy)) as where:
        asked = urllib.request.Request(f"{where}sign-in", headers={"X-Forwarded-Proto": "https"})
        with urllib.request.urlopen(asked, timeout=60) as answer:
            cookie = answer.headers["Set-Cookie"]
    assert ("Secure" in cookie) is is_secure


def test_an_open_board_refuses_what_a_proxy_passes_on(empty_url: str) -> None:
    with served(empty_url) as where:
        asked = urllib.request.Request(where, headers={"X-Forwarded-For": "192.0.2.7"})
        with pytest.raises(urllib.error.HTTPError, match="403"):
            urllib.request.urlopen(asked, timeout=60)


def test_a_body_without_end_is_refused_before_anybody_reads_it(empty_url: str) -> None:
    with served(empty_url, Access(sign_in=True)) as where:
        host, _, port = where.removeprefix("http://").rstrip("/").rpartition(":")
        with socket.create_connection((host, int(port)), 60) as link:
            lines = ("POST /sign-in HTTP/1.1", "Host: 127.0.0.1", f"Content-Length: {1 << 40}")
            link.sendall("\r\n".join([*lines, "", ""]).encode())
            assert link.recv(100).startswith(b"HTTP/1.1 413 ")
