"""The connection that messages are taken from, and acknowledged on.

It is driven by whoever holds it, in one thread: take, commit elsewhere, acknowledge, again.
"""

from __future__ import annotations

import logging
import selectors
import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags, MQTTMessage
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode
from paho.mqtt.subscribeoptions import SubscribeOptions

from ingest.live import trouble
from ingest.live.broker_url import Broker
from ingest.live.cutting import PUBACK, PUBCOMP, acknowledgements
from ingest.live.messages import Message
from ingest.live.paho_client import BufferedClient, connect, new_client, session_of
from ingest.live.sockets import BufferedSocket
from ingest.live.sparkplug import filters_of
from ingest.live.trouble import BrokerError, TakenOverError

KEEPALIVE_S = 60
SESSION_S = 30 * 86_400
"""How long a broker keeps the session while we are away (MQTT 5). [s]"""
RECEIVE_MAXIMUM = 40_000
"""Messages that a broker may send before it must wait for acknowledgements (MQTT 5)."""
ANSWER_S = 10.0
"""How long to wait for a broker's answer to what we ask."""
_MOST_NAMES = 10_000
"""Topics whose names are kept as text."""
_TICK_S = 0.25
"""The longest wait before looking whether to stop."""
_CALM_S = 0.1
"""Silence this long after the last acknowledgement means that nothing older waits."""
STALL_S = 0.5
"""What came while a batch took longer than this to commit has waited."""
_SILENCE_S = 0.1
_SILENCE_IN_QUEUE_S = 0.02
"""Silence this long ends a batch, sooner while there may be a queue: a broker that sends only so
many before it must be answered would else wait for us, and we for it."""

log = logging.getLogger(__name__)


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


_SPARE = frozenset(filters_of(None))
"""What a broker may refuse: a site file that names no groups may have no edge nodes at all."""


class Connection:
    """One session at a broker, over as many connections as it takes.

    Parameters
    ----------
    broker : Broker
        Where to.
    client_id : str
        The broker keeps the session under this name.
    clock : callable
        Gives the time. [ns]
    """

    def __init__(self, broker: Broker, client_id: str, *, clock: Callable[[], int]) -> None:
        self.broker = broker
        self.client_id = client_id
        self._clock = clock
        self._client: BufferedClient | None = None
        self._socket: BufferedSocket | None = None
        self._selector = selectors.DefaultSelector()
        self._fd = -1
        self._watched = 0
        self._inbox: list[Message] = []
        self._size = 0
        self._owed: list[int] = []
        self._names: dict[bytes, str] = {}
        self._asked: dict[int, list[str]] = {}
        self._came_in: tuple[bool, ReasonCode] | None = None
        self._lost: BrokerError | None = None
        self._filters: list[str] = []
        self._had_session = False
        self._is_prompt = False
        self._served = 0.0
        self._calm_from = 0.0
        self._taken_at = 0.0
        self._window = 0
        self._last_heard = 0

    @property
    def is_open(self) -> bool:
        """The broker has let us in and the connection is up, as far as we know."""
        return self._client is not None

    @property
    def is_holding(self) -> bool:
        """Messages came that `take` has not given yet."""
        return bool(self._inbox)

    @property
    def is_subscribed(self) -> bool:
        """The broker has agreed to all that was asked of it."""
        return self._client is not None and bool(self._filters) and not self._asked

    @property
    def lost(self) -> BrokerError | None:
        """Why the last connection ended, if it did not end by `close`."""
        return self._lost

    @property
    def idle_s(self) -> float:
        """How long nothing was read or written: a broker gives up after 1.5 keepalives. [s]"""
        return time.monotonic() - self._served

    @property
    def owed(self) -> int:
        """How many messages wait for their acknowledgement."""
        return len(self._owed)

    @property
    def writes(self) -> int:
        """How often the system was asked to send on this connection."""
        return self._socket.writes if self._socket else 0

    # Coming in

    def open(self, filters: Iterable[str]) -> None:
        """Connect, and ask for what matches the filters.

        Raises
        ------
        BrokerError
            If the broker cannot be reached or does not let us in.
        """
        self.close()
        self._lost = self._came_in = None
        self._is_prompt = False
        self._owed = []
        self._filters = []
        self._window = self._last_heard = 0
        client = new_client(
            self.broker, self.client_id, BufferedClient, keeps_session=True, acknowledges=True
        )
        client.take_message = self._take_message
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = client.on_unsubscribe = self._on_answer
        client.on_message = self._on_message
        self._connect(client)
        try:
            self._await(lambda: self._came_in is not None)
            self._check_came_in()
            self.subscribe(filters)
        except BaseException:
            self.drop()
            raise

    def _connect(self, client: BufferedClient) -> None:
        session = session_of(client, kept_s=SESSION_S, is_new=False, ReceiveMaximum=RECEIVE_MAXIMUM)
        connect(client, self.broker, KEEPALIVE_S, **session)
        self._client = client
        self._socket = client.buffered
        self._served = self._calm_from = time.monotonic()
        if self._socket is not None and self._socket.fileno() < 0:  # broken while it greeted
            self._note_loss()
        elif self._socket is not None:
            self._fd, self._watched = self._socket.fileno(), selectors.EVENT_READ
            self._selector.register(self._fd, self._watched)

    def _check_came_in(self) -> None:
        if self._came_in is None:
            raise self._lost or BrokerError(self.broker.where, "the broker does not answer")
        has_session, reason = self._came_in
        if reason.is_failure:
            raise trouble.refused(self.broker.where, reason.value, str(reason))
        if self._had_session and not has_session:
            log.warning(
                "%s: the broker no longer has our session: what was published while we were away, "
                "or was not yet acknowledged, may be lost",
                self.broker.where,
            )
        self._had_session = True

    def subscribe(self, filters: Iterable[str]) -> None:
        """Ask for these and no others; `is_subscribed` tells when the broker has answered.

        Waiting for its answer here would be waiting for all that it has kept for us: it may send
        that first. If it refuses one, the connection is lost.
        """
        wanted = list(dict.fromkeys(filters))
        new = [topic for topic in wanted if topic not in self._filters]
        old = [topic for topic in self._filters if topic not in wanted]
        if self._client is None:
            return
        if new:
            self._ask(self._client.subscribe([self._asked_for(topic) for topic in new])[1], new)
        if old:
            self._ask(self._client.unsubscribe(old)[1], old)
        self._filters = wanted

    def _asked_for(self, topic: str) -> Any:
        if self.broker.version == "5":
            # What the broker keeps is sent with a subscription that is new to it, not each time.
            how = SubscribeOptions.RETAIN_SEND_IF_NEW_SUB
            return topic, SubscribeOptions(qos=1, retainHandling=how)
        return topic, 1

    def _ask(self, mid: int | None, topics: list[str]) -> None:
        if mid is None:
            self._lost = BrokerError(self.broker.where, "the connection broke while subscribing")
        else:
            self._asked[mid] = topics
            self._calm_from = time.monotonic()

    def _check_answers(self) -> None:
        """Give up on a broker that is silent and owes an answer."""
        if self._asked and self.idle_s > ANSWER_S:
            self._lost = BrokerError(self.broker.where, "the broker does not answer")

    def _await(self, is_there: Callable[[], bool]) -> None:
        """Serve the connection until something is there, it is lost, or time is up."""
        give_up = time.monotonic() + ANSWER_S
        while not is_there() and self._client is not None and time.monotonic() < give_up:
            self._serve(_TICK_S)

    # Taking and acknowledging

    def take(self, bounds: Bounds, stop: threading.Event, *, patience_s: float) -> list[Message]:
        """Return the messages of one batch, in the order of their arrival.

        Parameters
        ----------
        bounds : Bounds
            Where the batch ends. It also ends when the connection is lost.
        stop : threading.Event
            Ends it, too.
        patience_s : float
            How long to wait for a first message. [s]

        Returns
        -------
        list of Message
            None after ``patience_s`` without any.
        """
        until = time.monotonic() + patience_s
        ends = until
        seen = 0
        while not self._is_full(bounds) and self._client is not None and not stop.is_set():
            now = time.monotonic()
            heard = len(self._inbox)
            if heard > seen:
                ends = now + bounds.seconds if not seen else ends
                until = min(ends, now + self._silence_s)
                seen = heard
            if now >= until or (heard and heard == self._window):
                break
            self._serve(min(until - now, _TICK_S))
        self._note_end(bounds)
        taken, self._inbox, self._size = self._inbox, [], 0
        self._taken_at = time.monotonic()
        return taken

    @property
    def _silence_s(self) -> float:
        return _SILENCE_S if self._is_prompt else _SILENCE_IN_QUEUE_S

    def _note_end(self, bounds: Bounds) -> None:
        """Learn from how a batch ended how many messages the broker sends at once.

        If batches end in silence at the same number again and again, it is that.
        """
        heard = len(self._inbox)
        if self._is_full(bounds):
            self._is_prompt = False
        elif heard and self._ends_in_silence():
            self._window = heard if heard == self._last_heard else 0
            self._last_heard = heard
        elif heard:
            self._window = self._last_heard = 0

    def _ends_in_silence(self) -> bool:
        """Tell whether nothing more is here to be read."""
        sock = self._socket
        return sock is not None and not sock.pending() and not self._selector.select(0)

    def _is_full(self, bounds: Bounds) -> bool:
        return len(self._inbox) >= bounds.messages or self._size >= bounds.size

    def _serve(self, wait_s: float) -> None:
        """Wait for the network at most so long, then read, write and keep alive."""
        client, sock = self._client, self._socket
        if client is None or sock is None:
            return
        if not sock.pending():
            self._watch()
            ready = self._selector.select(0)
            if not ready:
                self._note_calm()
                ready = self._selector.select(wait_s)
            if not ready:
                self._check_answers()
                if client.loop_misc() != MQTTErrorCode.MQTT_ERR_SUCCESS or self._lost is not None:
                    self._note_loss()
                return
        self._served = time.monotonic()
        try:
            if sock.has_unsent:
                sock.flush()
        except OSError:
            self._note_loss()
            return
        for serve in (client.loop_read, client.loop_misc):
            if serve() != MQTTErrorCode.MQTT_ERR_SUCCESS or self._lost is not None:
                self._note_loss()
                return

    def _watch(self) -> None:
        """Wait for room to write only while there is something to write."""
        if self._socket is None:
            return
        wanted = selectors.EVENT_READ
        if self._socket.has_unsent:
            wanted |= selectors.EVENT_WRITE
        if wanted != self._watched:
            self._selector.modify(self._fd, wanted)
            self._watched = wanted

    def _note_calm(self) -> None:
        """Note a silence: what comes after it has not waited at the broker."""
        if self._is_prompt or not self.is_subscribed:
            return
        # Silence while the broker may send no more says nothing.
        has_room = len(self._owed) < RECEIVE_MAXIMUM // 2
        self._is_prompt = has_room and time.monotonic() - self._calm_from >= _CALM_S

    def acknowledge(self) -> None:
        """Acknowledge all messages that `take` gave and that came on the connection that is up.

        Those of an earlier connection come again: their identifiers mean nothing now.
        """
        owed, self._owed = self._owed, []
        if time.monotonic() - self._taken_at > STALL_S:
            self._is_prompt = False
        if self._client is None or self._socket is None or not owed:
            return
        try:
            self._socket.send(acknowledgements(owed))
        except OSError:
            self._note_loss()
        self._calm_from = self._served = time.monotonic()

    def publish(self, topic: str, payload: bytes) -> None:
        """Publish once, at most; nothing while the connection is down."""
        if self._client is not None:
            self._client.publish(topic, payload, qos=0)

    # Going

    def close(self) -> None:
        """Say goodbye, so that acknowledgements that are on their way arrive."""
        client, sock = self._client, self._socket
        if client is None or sock is None:
            self.drop()
            return
        client.on_disconnect = None
        client.on_message = None
        self._forget()
        sock.part_in_order()
        client.disconnect()
        sock.close()

    def drop(self) -> None:
        """Cut the connection."""
        sock = self._socket
        self._forget()
        if sock is not None:
            sock.close()

    def _forget(self) -> None:
        """Keep nothing of the connection; what was taken on it can no longer be acknowledged."""
        if self._watched:
            self._selector.unregister(self._fd)
        self._watched = 0
        self._client = self._socket = None
        self._owed = []
        self._asked = {}

    def _note_loss(self) -> None:
        """Keep why the connection broke, and what came on it until then.

        A broker that was killed may have forgotten what it sent last, although it has told the
        publisher that it is safe.
        """
        sock = self._socket
        if sock is not None:
            sock.read_rest()
        if self._lost is None and sock is not None and sock.error is not None:
            self._lost = trouble.from_network(self.broker.where, sock.error, ca=self.broker.ca)
        if self._lost is None:
            self._lost = BrokerError(self.broker.where, "the broker closed the connection")
        self.drop()

    # What paho calls

    def _on_connect(
        self, _: Client, __: Any, flags: ConnectFlags, reason: ReasonCode, ___: Any
    ) -> None:
        self._came_in = (flags.session_present, reason)

    def _on_disconnect(
        self, _: Client, __: Any, flags: DisconnectFlags, reason: ReasonCode, ___: Any
    ) -> None:
        if flags.is_disconnect_packet_from_server:
            if reason.value == trouble.TAKEN_OVER:
                self._lost = TakenOverError(self.broker.where, self.client_id)
            else:
                self._lost = BrokerError(
                    self.broker.where, f"the broker ended the connection: {reason}"
                )

    def _on_answer(self, _: Client, __: Any, mid: int, reasons: list[ReasonCode], ___: Any) -> None:
        topics = self._asked.pop(mid, [])
        said = zip(topics, reasons, strict=False)
        bad = {topic: str(reason) for topic, reason in said if reason.is_failure}
        for topic in _SPARE & bad.keys():
            why = bad.pop(topic)
            log.warning(
                "%s: edge nodes are not listened to: %s (%s): name their groups in the "
                "site file ([sparkplug] groups), or give this user the right to read there (ACL)",
                self.broker.where,
                topic,
                why,
            )
        if bad:
            self._lost = trouble.not_subscribed(self.broker.where, bad)
        self._calm_from = time.monotonic()

    def _take_message(self, first: int, topic: bytes, mid: int, payload: bytes) -> None:
        """Keep a message of QoS 0 or 1."""
        name = self._names.get(topic)
        if name is None:
            name = self._name_of(topic)
        self._inbox.append(
            Message(name, payload, self._clock(), bool(first & 8), bool(first & 1), self._is_prompt)
        )
        self._size += len(payload)
        if mid:
            self._owed.append(PUBACK | mid)

    def _name_of(self, topic: bytes) -> str:
        if len(self._names) >= _MOST_NAMES:
            self._names.clear()
        name = self._names[topic] = topic.decode("utf-8", "replace")
        return name

    def _on_message(self, _: Client, __: Any, message: MQTTMessage) -> None:
        """Keep a message of QoS 2, of a subscription that was not ours; paho takes it apart."""
        try:
            topic = message.topic.encode()
        except UnicodeDecodeError as exc:
            topic = exc.object
        first = message.dup << 3 | message.retain
        self._take_message(first, topic, 0, bytes(message.payload))
        self._owed.append(PUBCOMP | message.mid)
