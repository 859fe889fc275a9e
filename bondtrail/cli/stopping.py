"""One way to end a command that stays: SIGTERM or Ctrl-C."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from queue import SimpleQueue
from typing import Any


@contextmanager
def told_to_stop() -> Iterator[threading.Event]:
    """Yield what SIGTERM or SIGINT sets; a second one acts as it always does.

    A handler of signals runs in the main thread, between any two steps of it, and must not set an
    event itself: where that thread was about to wait for it, it would wait for a lock that it
    holds, and for ever. So the handler only passes the word on, by a queue that is made for that.
    """
    stop = threading.Event()
    words: SimpleQueue[bool] = SimpleQueue()
    messenger = threading.Thread(
        target=_pass_on, args=(words, stop), name="told to stop", daemon=True
    )
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}

    def restore() -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    def told(_number: int, _frame: Any) -> None:
        restore()
        words.put(True)

    messenger.start()
    for number in before:
        signal.signal(number, told)
    try:
        yield stop
    finally:
        restore()
        words.put(False)
        messenger.join()


def _pass_on(words: SimpleQueue[bool], stop: threading.Event) -> None:
    """Set the event once told; end with the first word."""
    if words.get():
        stop.set()
