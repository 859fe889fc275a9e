"""Listen for as long as it is told to, and say how that goes."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from bondtrail.metrics import Metrics
from bondtrail.pauses import Pauses
from ingest.live.rounds import ListenSettings, Rounds
from ingest.live.standing import Standing
from ingest.live.status import State, Status
from store import Store, StoreBusyError, StoreError, StoreFullError, StoreUnavailableError

_FIRST_PAUSE_S = 0.5
_LONGEST_PAUSE_S = 30.0

__all__ = ["ListenSettings", "Listener"]

log = logging.getLogger(__name__)


class Listener:
    """Takes readings from a broker into a store until it is told to stop.

    Parameters
    ----------
    settings : ListenSettings
        What to listen to.
    open_store : callable
        Opens the store. It must hold a site file.
    clock : callable
        Gives the time. [ns]
    metrics : Metrics
        To be told of what goes on.
    on_listening : callable, optional
        Called once, with the address and the client id, when everything is subscribed.
    pauses : callable, optional
        Makes the pauses between attempts.
    """

    def __init__(
        self,
        settings: ListenSettings,
        open_store: Callable[[], Store],
        *,
        clock: Callable[[], int] = time.time_ns,
        metrics: Metrics | None = None,
        on_listening: Callable[[str, str], None] | None = None,
        pauses: Callable[[], Pauses] = lambda: Pauses(_FIRST_PAUSE_S, _LONGEST_PAUSE_S),
    ) -> None:
        self._settings = settings
        self._open_store = open_store
        self._clock = clock
        self._metrics = metrics or Metrics()
        self._on_listening = on_listening
        self._new_pauses = pauses
        self._standing = Standing(clock)
        self._store: Store | None = None

    @property
    def state(self) -> Status:
        """What it is doing, since when, and why."""
        return self._standing.status

    def why_not_ready(self) -> str | None:
        """Return why readings do not get into the store at the moment; None if they do."""
        status = self.state
        if status.state is State.LISTENING:
            return status.detail or None
        return f"{status.state}: {status.detail}" if status.detail else str(status.state)

    def why_not_alive(self) -> str | None:
        """Return why it is to be begun anew; None while its loop turns."""
        return self._standing.why_dead()

    def why_no_store(self) -> str | None:
        """Return why nothing can be written to the store; None if it can. Names no store."""
        store, state = self._store, self.state.state
        if store is None and state is State.STARTING:
            return "it is being opened"
        try:
            # A full disk lets itself be asked: only a batch that does not go in shows it.
            if store is not None and state is not State.NO_STORE:
                store.probe()
                return None
        except StoreError as exc:
            log.debug("the store is not ready: %s", exc)
        return "it cannot be reached, or not be written"

    def run(self, stop: threading.Event) -> None:
        """Listen until ``stop`` is set.

        Raises
        ------
        BrokerError
            If the broker does not let us in at the start, or another client takes our place.
        StoreError
            If the store can never be used.
        SiteError
            If the site file in the store is not fit for use.
        """
        store = self._opened(stop)
        if store is None:
            return
        ended = threading.Event()
        watch = threading.Thread(
            target=self._standing.watch, args=(ended,), name="watch", daemon=True
        )
        with store:
            rounds = Rounds(
                self._settings,
                store,
                stop,
                standing=self._standing,
                clock=self._clock,
                metrics=self._metrics,
                on_listening=self._on_listening,
                pauses=self._new_pauses,
            )
            self._store = store
            watch.start()
            try:
                rounds.run()
            finally:
                rounds.end()
                self._store = None
                self._standing.rest()
                ended.set()
                watch.join()

    def _opened(self, stop: threading.Event) -> Store | None:
        """Open the store, once it can be; None when stopped before."""
        pauses = self._new_pauses()
        while True:
            try:
                return self._open_store()
            except (StoreUnavailableError, StoreBusyError, StoreFullError) as exc:
                self._standing.tell(State.NO_STORE, str(exc))
                if stop.wait(pauses.next_s()):
                    return None
