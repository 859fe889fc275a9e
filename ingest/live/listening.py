"""Listen: take from the broker, decode, commit, acknowledge, again, for years.

One thread does all of it, one batch at a time, so that nothing piles up here whatever goes wrong
around it: what is not yet committed stays at the broker.
"""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from bondtrail.metrics import Metrics
from bondtrail.running import Given
from bondtrail.site import Site, SiteError, parse_site
from bondtrail.site_problems import Problem
from ingest.live.broker_url import Broker
from ingest.live.committing import Batch, Committer
from ingest.live.connection import KEEPALIVE_S, Bounds, Connection
from ingest.live.messages import Message
from ingest.live.pauses import Pauses
from ingest.live.status import State, Status, StatusTeller
from ingest.live.trouble import BrokerError, TakenOverError
from store import Store, StoreBusyError, StoreError, StoreFullError, StoreUnavailableError

SITE_NS = 30_000_000_000
"""How often the site file in force is looked at again. [ns]"""
_PATIENCE_S = 0.5
_FIRST_PAUSE_S = 0.5
_LONGEST_PAUSE_S = 30.0
_SETTLED_S = 60.0
"""A connection that lasted so long was no mere attempt."""
ECHO_S = 5.0
"""A status that the broker took comes back within this, unless it lets us read nothing. [s]"""
_MANY = 3
"""So many shorter ones in a row that the broker ended without a word look like a second client."""

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ListenSettings:
    """What to listen to, and how.

    Attributes
    ----------
    broker : Broker
        Where messages come from.
    client_id : str or None
        The session's name at the broker; ``bondtrail-<site>`` when None.
    share : str or None
        The group that splits the stream with us.
    bounds : Bounds
        Where a batch ends.
    """

    broker: Broker
    client_id: str | None = None
    share: str | None = None
    bounds: Bounds = field(default_factory=Bounds)


class Outcome(Batch, Protocol):
    """What a decoder makes of some messages."""

    @property
    def publish(self) -> Sequence[tuple[str, bytes]]:
        """What to ask of those who sent: topic and payload."""

    @property
    def read(self) -> int:
        """How many readings there were."""


class MessageDecoder(Protocol):
    """What turns messages into samples, rejects and questions."""

    def filters(self, share: str | None) -> list[str]:
        """Return what to subscribe."""

    def decode(self, messages: Sequence[Message], now: int) -> Outcome:
        """Return what the messages say."""

    def tick(self, now: int) -> Outcome:
        """Return what the passing of time says."""

    def close(self, now: int) -> Outcome:
        """Return what is left to say."""

    def follow(self, site: Site) -> None:
        """Decode by another site file from now on."""

    def remember(self, given: Iterable[Given]) -> None:
        """Know who gave points before."""

    def doubt(self) -> None:
        """Know that messages may have been missed that no broker keeps."""


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
    new_decoder : callable, optional
        Makes a decoder for a site; ours, unless a test has another.
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
        new_decoder: Callable[[Site], MessageDecoder] | None = None,
        on_listening: Callable[[str, str], None] | None = None,
        pauses: Callable[[], Pauses] = lambda: Pauses(_FIRST_PAUSE_S, _LONGEST_PAUSE_S),
    ) -> None:
        self._settings = settings
        self._open_store = open_store
        self._clock = clock
        self._metrics = metrics or Metrics()
        self._new_decoder = new_decoder or self._own_decoder
        self._on_listening = on_listening
        self._new_pauses = pauses
        self._status = Status(State.STARTING, clock())
        self._teller: StatusTeller | None = None

    @property
    def state(self) -> Status:
        """What it is doing, since when, and why."""
        return self._status

    def why_not_ready(self) -> str | None:
        """Return why readings do not get into the store at the moment; None if they do."""
        status = self._status
        if status.state is State.LISTENING:
            return status.detail or None
        return f"{status.state}: {status.detail}" if status.detail else str(status.state)

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
        with store:
            round_ = _Rounds(self, store, stop)
            try:
                round_.run()
            finally:
                round_.end()

    def _opened(self, stop: threading.Event) -> Store | None:
        """Open the store, once it can be; None when stopped before."""
        pauses = self._new_pauses()
        while True:
            try:
                return self._open_store()
            except (StoreUnavailableError, StoreBusyError, StoreFullError) as exc:
                self.tell(State.NO_STORE, str(exc))
                if stop.wait(pauses.next_s()):
                    return None

    def tell(self, state: State, detail: str = "") -> None:
        """Note a state; say it if it is new."""
        before = self._status
        if (before.state, before.detail) == (state, detail):
            return
        since = before.since if before.state is state else self._clock()
        self._status = Status(state, since, detail)
        level = logging.WARNING if state in (State.NO_STORE, State.NO_BROKER) else logging.INFO
        log.log(level, "%s%s", state, f": {detail}" if detail else "")
        if self._teller is not None:
            self._teller.tell(self._status)

    def _own_decoder(self, site: Site) -> MessageDecoder:
        from ingest.live.decoding import Decoder

        return Decoder(site, source=self._settings.broker.where)


class _Rounds:
    """The rounds of one run: the connection, the decoder and the store, together."""

    def __init__(self, listener: Listener, store: Store, stop: threading.Event) -> None:
        self._listener = listener
        self._settings = listener._settings
        self._clock = listener._clock
        self._metrics = listener._metrics
        self._store = store
        self._stop = stop
        self._site_text = ""
        self._site_at = 0
        site = self._site_in_force()
        self._decoder = listener._new_decoder(site)
        self._decoder.remember(store.given())
        self.client_id = self._settings.client_id or f"bondtrail-{site.id}"
        broker = self._settings.broker
        self._connection = Connection(broker, self.client_id, clock=self._clock)
        self._pauses = listener._new_pauses()
        self._was_listening = False
        self._connected_at = 0.0
        self._short = 0
        self._heard_at = 0.0
        self._doubt = ""
        self._committer = Committer(
            store,
            broker.where,
            self._metrics,
            wait=self._wait_for_store,
            on_trouble=lambda exc: listener.tell(State.NO_STORE, str(exc)),
            pauses=listener._new_pauses(),
        )
        self._teller = StatusTeller(broker, site.id, self.client_id, clock=self._clock)
        listener._teller = self._teller

    def run(self) -> None:
        """Go on until stopped."""
        self._connect()
        self._teller.start()
        while not self._stop.is_set():
            if not self._connection.is_open and not self._connection.is_holding:
                self._reconnect()
            else:
                self._round()

    def end(self) -> None:
        """Leave in good order."""
        now = self._clock()
        self._committer.commit(self._decoder.close(now), now)
        self._connection.close()
        self._listener.tell(State.STOPPED)
        self._teller.stop()

    # One round

    def _round(self) -> None:
        """Take, decode, commit, acknowledge."""
        connection = self._connection
        messages = connection.take(self._settings.bounds, self._stop, patience_s=_PATIENCE_S)
        now = self._clock()
        if messages:
            self._metrics.messages.inc(len(messages))
            self._metrics.held.set(len(messages))
            outcome = self._decoder.decode(messages, now)
        else:
            outcome = self._decoder.tick(now)
        if self._committer.commit(outcome, messages[-1].arrived if messages else now):
            connection.acknowledge()
            self._metrics.held.set(0)
            for topic, payload in outcome.publish:
                connection.publish(topic, payload)
            self._note_listening()
        self._teller.beat()
        self._listen_for_ourselves(messages)
        self._refresh(now)

    def _listen_for_ourselves(self, messages: Sequence[Message]) -> None:
        """Doubt that we may read, where our own status does not come back to us.

        A broker may agree to a subscription and then deliver nothing of it, without a word. A
        member of a group may not be the one to whom it is given.
        """
        topic = self._teller.topic
        if any(message.topic == topic for message in messages):
            self._heard_at = time.monotonic()
            self._doubt = ""
        elif not messages and self._connection.is_subscribed and not self._settings.share:
            taken_at = self._teller.taken_at
            if taken_at > self._heard_at + ECHO_S and time.monotonic() > taken_at + ECHO_S:
                self._doubt = (
                    "nothing that is published here comes back: the broker may not let this user "
                    "read (ACL)"
                )

    def _wait_for_store(self, seconds: float) -> bool:
        """Wait; leave the broker in good order before it takes our silence for death."""
        if self._connection.is_open and self._connection.idle_s > KEEPALIVE_S / 3:
            log.info("the broker keeps what comes until the store is back")
            self._connection.close()
        self._teller.beat()
        return self._stop.wait(seconds)

    # The site file

    def _site_in_force(self) -> Site:
        """Return the site file in force."""
        copies = self._store.sites()
        if not copies:
            missing = Problem("", "", "the store has no site file", "one by --site FILE")
            raise SiteError(self._store.where, [missing])
        site = parse_site(copies[-1][1], "the site file in the store")
        self._site_at, self._site_text = self._clock(), site.text
        return site

    def _refresh(self, now: int) -> None:
        """Look now and then whether another site file is in force, and follow that."""
        if 0 <= now - self._site_at < SITE_NS:
            return
        self._site_at = now
        before = self._site_text
        try:
            site = self._site_in_force()
            if site.text != before:
                log.info("another site file is in force")
                self._decoder.follow(site)
                if self._connection.is_open:
                    self._connection.subscribe(self._decoder.filters(self._settings.share))
                self._decoder.remember(self._store.given())
        except (StoreError, SiteError) as exc:
            log.warning("the site file in force cannot be read, its copy is kept: %s", exc)
        except BrokerError as exc:
            self._lose(exc)

    # The connection

    def _connect(self) -> None:
        """Come in for the first time; a broker that is not there yet is waited for."""
        while not self._stop.is_set():
            try:
                self._open()
                return
            except BrokerError as exc:
                if exc.is_lasting:
                    raise
                self._listener.tell(State.NO_BROKER, str(exc))
                self._stop.wait(self._pauses.next_s())

    def _open(self) -> None:
        self._connection.open(self._decoder.filters(self._settings.share))
        self._connected_at = time.monotonic()
        self._decoder.doubt()

    def _note_listening(self) -> None:
        """Say so when all is subscribed, the first time to whoever started us, too."""
        if not self._connection.is_subscribed:
            return
        self._listener.tell(State.LISTENING, self._doubt)
        if not self._was_listening and self._listener._on_listening is not None:
            self._listener._on_listening(self._settings.broker.where, self.client_id)
        self._was_listening = True

    def _reconnect(self) -> None:
        """Come back, as often as it takes."""
        lost = self._connection.lost
        if lost is not None:
            if isinstance(lost, TakenOverError) or (lost.is_lasting and not self._was_listening):
                raise lost
            is_settled = time.monotonic() - self._connected_at > _SETTLED_S
            self._short = 0 if is_settled else self._short + 1
            self._listener.tell(State.NO_BROKER, f"{lost}{self._suspicion()}")
            if is_settled:
                self._pauses.reset()
            if self._stop.wait(self._pauses.next_s()):
                return
        try:
            self._open()
        except BrokerError as exc:
            if exc.is_lasting and not self._was_listening:
                raise
            self._lose(exc)

    def _suspicion(self) -> str:
        """Return what may be behind a connection that is lost again and again."""
        if self._short < _MANY:
            return ""
        return (
            f"; again and again, so another client may have the client id {self.client_id!r}, too: "
            "each listener needs its own (--client-id)"
        )

    def _lose(self, exc: BrokerError) -> None:
        self._connection.drop()
        self._listener.tell(State.NO_BROKER, str(exc))
        self._stop.wait(self._pauses.next_s())
