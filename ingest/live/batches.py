"""Batches of what comes: where each one ends, so that little waits and a queue is taken fast."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import Protocol

from ingest.live.inbox import Inbox

TICK_S = 0.25
"""The longest wait before looking whether to stop."""
_SILENCE_S = 0.1
_SILENCE_IN_QUEUE_S = 0.02
"""Silence this long ends a batch, sooner while there may be a queue: a broker that sends only so
many before it must be answered would else wait for us, and we for it."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """Where a batch ends, whichever comes first.

    Attributes
    ----------
    messages : int
        How many there are at most.
    size : int
        Of their payloads together, plus at most one payload. [bytes]
    seconds : float
        After the first one. Silence ends it sooner.
    """

    messages: int = 20_000
    size: int = 8 << 20
    seconds: float = 0.5


class Line(Protocol):
    """So much of a connection as a batch needs."""

    @property
    def is_open(self) -> bool:
        """It is up, as far as we know."""

    @property
    def is_silent(self) -> bool:
        """It is up, and nothing is here to be read."""

    def serve(self, wait_s: float) -> None:
        """Wait for the network at most so long, then read, write and keep alive."""


class Batches:
    """Fills an inbox, one batch after the other.

    Parameters
    ----------
    inbox : Inbox
        Where the lines put what comes.
    """

    def __init__(self, inbox: Inbox) -> None:
        self._inbox = inbox
        self._window = 0
        self._last_heard = 0

    def begin(self) -> None:
        """Know nothing of the broker: the connection is a new one."""
        self._window = self._last_heard = 0

    def fill(self, line: Line, bounds: Bounds, stop: threading.Event, *, patience_s: float) -> None:
        """Serve a line until a batch is there, or for ``patience_s`` without any message."""
        until = time.monotonic() + patience_s
        ends = until
        seen = 0
        while not self._is_full(bounds) and line.is_open and not stop.is_set():
            now = time.monotonic()
            heard = len(self._inbox.messages)
            if heard > seen:
                ends = now + bounds.seconds if not seen else ends
                until = min(ends, now + self._silence_s)
                seen = heard
            if now >= until or (heard and heard == self._window):
                break
            line.serve(min(until - now, TICK_S))
        self._note_end(line, bounds)

    @property
    def _silence_s(self) -> float:
        return _SILENCE_S if self._inbox.is_prompt else _SILENCE_IN_QUEUE_S

    def _note_end(self, line: Line, bounds: Bounds) -> None:
        """Learn from how a batch ended how many messages the broker sends at once.

        If batches end in silence at the same number again and again, it is that.
        """
        heard = len(self._inbox.messages)
        if self._is_full(bounds):
            self._inbox.is_prompt = False
        elif heard and line.is_silent:
            self._window = heard if heard == self._last_heard else 0
            self._last_heard = heard
        elif heard:
            self._window = self._last_heard = 0

    def _is_full(self, bounds: Bounds) -> bool:
        return len(self._inbox.messages) >= bounds.messages or self._inbox.size >= bounds.size
