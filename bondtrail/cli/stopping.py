"""One way to end a command that stays: SIGTERM or Ctrl-C."""

from __future__ import annotations

import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

_ENDING = (signal.SIGTERM, signal.SIGINT)


@contextmanager
def told_to_stop() -> Iterator[threading.Event]:
    """Yield what SIGTERM or SIGINT sets; a second one acts as it always does.

    A handler of signals is run by the main thread, between any two steps of it. It must not set an
    event: where that thread was about to wait for it, it would wait for a lock that it holds, for
    ever. And it is not run at all while that thread waits, if the signal came a moment before. But
    each signal is written to a socket as it comes, and another thread reads there.
    """
    stop = threading.Event()
    told, tells = socket.socketpair()
    tells.setblocking(False)
    messenger = threading.Thread(target=_pass_on, args=(told, stop), name="told to stop")
    before = {number: signal.getsignal(number) for number in _ENDING}

    def restore(*_: Any) -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    messenger.start()
    woken = signal.set_wakeup_fd(tells.fileno(), warn_on_full_buffer=False)
    for number in before:
        signal.signal(number, restore)
    try:
        yield stop
    finally:
        restore()
        signal.set_wakeup_fd(woken)
        tells.close()
        messenger.join()
        told.close()


def _pass_on(told: socket.socket, stop: threading.Event) -> None:
    """Set the event at a signal that ends; return once no more can come."""
    while number := told.recv(1):
        if number[0] in _ENDING:
            stop.set()
