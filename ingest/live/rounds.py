"""The rounds of a listener: take from the broker, decode, commit, acknowledge, again, for years.

One thread does all of it, one batch at a time, so that nothing piles up here whatever goes wrong
around it: what is not yet committed stays at the broker.
"""

from __future__ import annotations

import logging
import math
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from bondtrail.metrics import Metrics
from bondtrail.pauses import Pauses
from bondtrail.site import Site, SiteError, parse_site
from bondtrail.site_problems import Problem
from bondtrail.times import format_time
from ingest.live.batches import Bounds
from ingest.live.broker_url import Broker
from ingest.live.committing import Committer
from ingest.live.connection import KEEPALIVE_S, Connection
from ingest.live.decoding import Decoder
from ingest.live.messages import Message
from ingest.live.standing import Standing
from ingest.live.status import State, StatusTeller
from ingest.live.trouble import BrokerError, TakenOverError
from store import Store, StoreError

CLOCK_S = 600.0
"""A machine that has just begun may not have set its clock: it is doubted for so long. [s]"""
SITE_NS = 5_000_000_000
"""How often the site file in force is looked at again. [ns]"""
_PATIENCE_S = 0.5
_LOOK_S = 1.0
"""How often the clock is looked at while it is doubted. [s]"""
_SETTLED_S = 60.0
"""A connection that lasted so long was no mere attempt."""
ECHO_S = 5.0
"""A status that the broker took comes back within this, unless it lets us read nothing. [s]"""
QUIET_S = 60.0
"""So long without a message shows nothing while a status is taken and comes back. [s]"""
_MANY = 3
"""So many shorter ones in a row that the broker ended without a word look like a second client."""

log = logging.getLogger(__name__)


def default_client_id(site_id: str) -> str:
    """Return the name of a listener's session where none is given."""
    return f"bondtrail-{site_id}"


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


class Rounds:
    """The rounds of one run: the connection, the decoder and the store, together.

    Parameters
    ----------
    settings : ListenSettings
        What to listen to.
    store : Store
        Where to; it holds a site file.
    stop : threading.Event
        Ends it.
    standing : Standing
        Told how it goes.
    clock : callable
        Gives the time. [ns]
    metrics : Metrics
        To be told of what goes on.
    on_listening : callable or None
        Called once, with the address and the client id, when everything is subscribed.
    pauses : callable
        Makes the pauses between attempts.

    Raises
    ------
    SiteError
        If the site file in the store is not fit for use.
    StoreError
        If it cannot be read.
    """

    def __init__(
        self,
        settings: ListenSettings,
        store: Store,
        stop: threading.Event,
        *,
        standing: Standing,
        clock: Callable[[], int],
        metrics: Metrics,
        on_listening: Callable[[str, str], None] | None,
        pauses: Callable[[], Pauses],
    ) -> None:
        self._settings = settings
        self._store = store
        self._stop = stop
        self._standing = standing
        self._clock = clock
        self._metrics = metrics
        self._on_listening = on_listening
        self._pauses = pauses()
        self._site_text = ""
        self._site_at = clock()
        self._was_listening = False
        self._begun_at = time.monotonic()
        self._connected_at = 0.0
        self._short = 0
        self._heard_at = 0.0
        self._came_at = time.monotonic()
        self._echo_due = math.inf
        self._doubt = ""
        site = self._site_of(self._newest_site_text())
        self._decoder = Decoder(site, source=settings.broker.where)
        self._decoder.remember(store.given())
        broker = settings.broker
        self.client_id = settings.client_id or default_client_id(site.id)
        self._connection = Connection(broker, self.client_id, clock=clock)
        self._committer = Committer(
            store,
            broker.where,
            metrics,
            wait=self._wait_for_store,
            on_trouble=lambda exc: standing.tell(State.NO_STORE, str(exc)),
            pauses=pauses(),
        )
        self._teller = StatusTeller(broker, site.id, self.client_id, clock=clock)
        standing.teller = self._teller

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
        self._standing.turn(State.NO_STORE)
        self._committer.commit(self._decoder.close(now), now)
        self._connection.close()
        self._standing.tell(State.STOPPED)
        self._teller.stop()

    # One round

    def _round(self) -> None:
        """Take, decode, commit, acknowledge."""
        connection = self._connection
        self._standing.turn(State.NO_BROKER)
        messages = connection.take(self._settings.bounds, self._stop, patience_s=_PATIENCE_S)
        now = self._clock()
        self._standing.turn()
        if messages:
            self._metrics.messages.inc(len(messages))
            self._metrics.held.set(len(messages))
            outcome = self._decoder.decode(messages, now, doubts_clock=self._doubts_clock)
        else:
            outcome = self._decoder.tick(now)
        if outcome.ahead_until is not None:
            self._wait_for_clock(outcome.ahead_until)
            return
        self._standing.turn(State.NO_STORE)
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
        now, topic = time.monotonic(), self._teller.topic
        if messages:
            self._came_at = now
        if any(message.topic == topic for message in messages):
            self._heard_at, self._echo_due, self._doubt = now, math.inf, ""
        elif self._teller.is_refused:
            self._doubt = ""
            if now - self._came_at > QUIET_S:
                self._doubt = (
                    f"the broker does not take what is said on {topic}: whether it lets this user "
                    "read cannot be told while nothing comes (ACL)"
                )
        elif self._is_caught_up(messages) and not self._settings.share:
            taken_at = self._teller.taken_at
            if taken_at > self._heard_at + ECHO_S:  # later ones may be taken while it is awaited
                self._echo_due = min(self._echo_due, taken_at + ECHO_S)
            if now > self._echo_due:
                self._doubt = (
                    "nothing that is published here comes back: the broker may not let this user "
                    "read (ACL)"
                )

    def _is_caught_up(self, messages: Sequence[Message]) -> bool:
        """Tell whether nothing waits at the broker, behind which our status could be."""
        is_prompt = not messages or messages[-1].is_prompt
        return is_prompt and self._connection.is_subscribed

    @property
    def _doubts_clock(self) -> bool:
        return time.monotonic() - self._begun_at < CLOCK_S

    def _wait_for_clock(self, until: int) -> None:
        """Leave what came at the broker until our clock has come to it, or is beyond doubt.

        A machine without a battery begins with the time of when it was switched off, or worse:
        then good readings lie ahead, and would be rejected and acknowledged.
        """
        self._connection.close()
        self._metrics.held.set(0)
        self._standing.tell(
            State.NO_CLOCK,
            f"by the clock of this machine, {format_time(self._clock())}, all readings lie more "
            f"than an hour ahead: if that stays so for {CLOCK_S / 60:g} minutes they are rejected",
        )
        while self._doubts_clock and self._clock() < until:
            self._standing.turn()
            self._teller.beat()
            if self._stop.wait(_LOOK_S):
                return

    def _wait_for_store(self, seconds: float) -> bool:
        """Wait; leave the broker in good order before it takes our silence for death."""
        if self._connection.is_open and self._connection.idle_s > KEEPALIVE_S / 3:
            log.info("the broker keeps what comes until the store is back")
            self._connection.close()
        self._teller.beat()
        self._standing.turn(State.NO_STORE)
        is_stopped = self._stop.wait(seconds)
        self._standing.turn(State.NO_STORE)
        return is_stopped

    def _pause(self) -> bool:
        """Wait before the next attempt to come in; True when stopped meanwhile."""
        self._standing.turn()
        is_stopped = self._stop.wait(self._pauses.next_s())
        self._standing.turn(State.NO_BROKER)
        return is_stopped

    # The site file

    def _newest_site_text(self) -> str:
        """Return the site file in force, as it is written."""
        copies = self._store.sites()
        if not copies:
            missing = Problem("", "", "the store has no site file", "one by --site FILE")
            raise SiteError(self._store.where, [missing])
        return copies[-1][1]

    def _site_of(self, text: str) -> Site:
        """Return a site file, which is the one in force from now on."""
        site = parse_site(text, "the site file in the store")
        self._site_text = text
        return site

    def _refresh(self, now: int) -> None:
        """Look now and then whether another site file is in force, and follow that."""
        if 0 <= now - self._site_at < SITE_NS:
            return
        self._site_at = now
        try:
            text = self._newest_site_text()
            if text != self._site_text:
                log.info("another site file is in force")
                self._decoder.follow(self._site_of(text))
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
                self._standing.tell(State.NO_BROKER, str(exc))
                self._pause()

    def _open(self) -> None:
        self._connection.open(self._decoder.filters(self._settings.share))
        self._connected_at = self._came_at = time.monotonic()
        self._echo_due = math.inf
        self._decoder.doubt()

    def _note_listening(self) -> None:
        """Say so when all is subscribed, the first time to whoever started us, too."""
        if not self._connection.is_subscribed:
            return
        self._standing.tell(State.LISTENING, self._doubt)
        if not self._was_listening and self._on_listening is not None:
            self._on_listening(self._settings.broker.where, self.client_id)
        self._was_listening = True

    def _reconnect(self) -> None:
        """Come back, as often as it takes."""
        lost = self._connection.lost
        if lost is not None:
            if isinstance(lost, TakenOverError) or (lost.is_lasting and not self._was_listening):
                raise lost
            is_settled = time.monotonic() - self._connected_at > _SETTLED_S
            self._short = 0 if is_settled else self._short + 1
            self._standing.tell(State.NO_BROKER, f"{lost}{self._suspicion()}")
            if is_settled:
                self._pauses.reset()
            if self._pause():
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
        self._standing.tell(State.NO_BROKER, str(exc))
        self._pause()
