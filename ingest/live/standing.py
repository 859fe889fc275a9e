"""How a listener does: said by the thread that does the work, seen by all that ask."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from ingest.live.status import State, Status, StatusTeller

HUNG_S = 45.0
"""A loop that did not turn for so long hangs: whoever asked the store longest waits 30 s. [s]"""
DEAD_S = 90.0
"""Begin it anew where it did not turn for so long. [s]"""
_LOOK_S = 5.0

log = logging.getLogger(__name__)


class Standing:
    """The state of a listener, and when its loop last turned.

    A database or a network may swallow a question without a word, and then the thread that asked
    says nothing any more. So another one looks whether it still turns, and speaks for it.

    Parameters
    ----------
    clock : callable
        Gives the time. [ns]
    ticks : callable
        A clock that nobody sets. [s]
    """

    def __init__(
        self, clock: Callable[[], int], *, ticks: Callable[[], float] = time.monotonic
    ) -> None:
        self._clock = clock
        self._ticks = ticks
        self._status = Status(State.STARTING, clock())
        self._turned_at: float | None = None
        self._awaited: State | None = None
        self._lock = threading.Lock()
        self.teller: StatusTeller | None = None
        """Says it at the broker."""

    @property
    def status(self) -> Status:
        """What it is doing, since when, and why."""
        return self._status

    def turn(self, awaited: State | None = None) -> None:
        """Note that the loop turns; ``awaited`` is what it hangs for if it does not any more."""
        self._awaited = awaited
        self._turned_at = self._ticks()

    def rest(self) -> None:
        """Note that there is no loop that could turn."""
        self._turned_at = None

    @property
    def still_s(self) -> float:
        """How long the loop has not turned; 0 before it begins. [s]"""
        turned_at = self._turned_at
        return 0.0 if turned_at is None else self._ticks() - turned_at

    def tell(self, state: State, detail: str = "") -> None:
        """Note a state; say it if it is new."""
        with self._lock:
            self._tell(state, detail)

    def _tell(self, state: State, detail: str) -> None:
        before = self._status
        if (before.state, before.detail) == (state, detail):
            return
        since = before.since if before.state is state else self._clock()
        self._status = Status(state, since, detail)
        is_well = state in (State.STARTING, State.LISTENING, State.STOPPED) and not detail
        level = logging.INFO if is_well else logging.WARNING
        log.log(level, "%s%s", state, f": {detail}" if detail else "")
        if self.teller is not None:
            self.teller.tell(self._status)

    def why_dead(self) -> str | None:
        """Return why it is to be begun anew; None while it turns."""
        return f"it has not turned for {DEAD_S:g} s" if self.still_s > DEAD_S else None

    def look(self) -> None:
        """Say so, for the thread that does the work, if that hangs."""
        with self._lock:
            if self.still_s <= HUNG_S:
                return
            state = self._awaited or self._status.state
            self._tell(state, f"no answer for more than {HUNG_S:g} s: it hangs, or is very slow")
        if self.teller is not None:
            self.teller.beat()

    def watch(self, ended: threading.Event) -> None:
        """Look again and again until it is told to end."""
        while not ended.wait(_LOOK_S):
            self.look()
