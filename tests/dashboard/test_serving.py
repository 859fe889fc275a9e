"""Serving: at the address that was asked for, until it is told to stop."""

from __future__ import annotations

import socket
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from queue import Queue
from threading import Event

import pytest

from dashboard import serve


def test_it_serves_in_a_thread_until_it_is_told_to_stop(empty_url: str) -> None:
    stop, address = Event(), Queue[str]()
    with ThreadPoolExecutor(1) as pool:
        serving = pool.submit(serve, empty_url, on_ready=address.put, stop=stop)
        try:
            where = address.get(timeout=60)
            with urllib.request.urlopen(where, timeout=60) as answer:
                assert answer.status == 200
        finally:
            stop.set()
        assert serving.result(timeout=60) is None
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
