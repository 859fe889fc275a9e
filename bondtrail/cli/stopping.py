"""One way to end a command that stays: SIGTERM or Ctrl-C."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def told_to_stop() -> Iterator[threading.Event]:
    """Yield what SIGTERM or SIGINT sets; a second one acts as it always does."""
    stop = threading.Event()
    before = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGINT)}

    def restore() -> None:
        for number, handler in before.items():
            signal.signal(number, handler)

    def told(_number: int, _frame: Any) -> None:
        restore()
        stop.set()

    for number in before:
        signal.signal(number, told)
    try:
        yield stop
    finally:
        restore()
