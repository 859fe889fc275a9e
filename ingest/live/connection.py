"""The connection that messages are taken from, and acknowledged on.

It is driven by whoever holds it, in one thread: take, commit elsewhere, acknowledge, again.
"""

from __future__ import annotations

import logging
import selectors
import threading
import time
from collections.abc import Callable, Iterable
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.reasoncodes import ReasonCode

from ingest.live import trouble
from ingest.live.batches import TICK_S, Batches, Bounds
from ingest.live.broker_url import Broker
from ingest.live.cutting import acknowledgements
from ingest.live.inbox import Inbox
from ingest.live.messages import Message
from ingest.live.paho_client import BufferedClient, connect, new_client, session_of
from ingest.live.sockets import BufferedSocket
from ingest.live.subscriptions import Subscriptions
from ingest.live.trouble import BrokerError, TakenOverError

KEEPALIVE_S = 60
SESSION_S = 30 * 86_400
"""How long a broker keeps the session while we are away (MQTT 5). [s]"""
RECEIVE_MAXIMUM = 40_000
"""Messages that a broker may send before it must wait for acknowledgements (MQTT 5)."""
ANSWER_S = 10.0
"""How long to wait for a broker's answer to what we ask."""
_CALM_S = 0.1
"""Silence this long after the last acknowledgement means that nothing older waits."""
STALL_S = 0.5
"""What came while a batch took longer than this to commit has waited."""

__all__ = ["ANSWER_S", "KEEPALIVE_S", "Bounds", "Connection"]

log = logging.getLogger(__name__)


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
        self._inbox = Inbox(clock)
        self._batches = Batches(self._inbox)
        self._subscriptions = Subscriptions(broker)
        self._client: BufferedClient | None = None
        self._socket: BufferedSocket | None = None
        self._selector = selectors.DefaultSelector()
        self._fd = -1
        self._watched = 0
        self._came_in: tuple[bool, ReasonCode] | None = None
        self._lost: BrokerError | None = None
        self._had_session = False
        self._served = 0.0
        self._calm_from = 0.0
        self._taken_at = 0.0

    @property
    def is_open(self) -> bool:
        """The broker has let us in and the connection is up, as far as we know."""
        return self._client is not None

    @property
    def is_holding(self) -> bool:
        """Messages came that `take` has not given yet."""
        return bool(self._inbox.messages)

    @property
    def is_subscribed(self) -> bool:
        """The broker has agreed to all that was asked of it."""
        return self._client is not None and self._subscriptions.is_agreed

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
        return len(self._inbox.owed)

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
        self._inbox.is_prompt = False
        self._batches.begin()
        client = new_client(
            self.broker, self.client_id, BufferedClient, keeps_session=True, acknowledges=True
        )
        client.take_message = self._inbox.put
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_subscribe = client.on_unsubscribe = self._on_answer
        client.on_message = self._inbox.put_apart
        self._connect(client)
        try:
            self._await(lambda: self._came_in is not None)
            self._check_came_in()
            self.subscribe(filters)
        except BaseException:
            self.drop()
            self._lost = None  # whoever is told now needs no second, poorer word of it
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
        if self._client is None:
            return
        self._lost = self._subscriptions.ask(self._client, filters) or self._lost
        if self._subscriptions.is_waiting:
            self._calm_from = time.monotonic()

    def _check_answers(self) -> None:
        """Give up on a broker that is silent and owes an answer."""
        if self._subscriptions.is_waiting and self.idle_s > ANSWER_S:
            self._lost = BrokerError(self.broker.where, "the broker does not answer")

    def _await(self, is_there: Callable[[], bool]) -> None:
        """Serve the connection until something is there, it is lost, or time is up."""
        give_up = time.monotonic() + ANSWER_S
        while not is_there() and self._client is not None and time.monotonic() < give_up:
            self.serve(TICK_S)

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
        self._batches.fill(self, bounds, stop, patience_s=patience_s)
        self._taken_at = time.monotonic()
        return self._inbox.take()

    @property
    def is_silent(self) -> bool:
        """The connection is up, and nothing is here to be read."""
        sock = self._socket
        return sock is not None and not sock.pending() and not self._selector.select(0)

    def serve(self, wait_s: float) -> None:
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
        if self._inbox.is_prompt or not self.is_subscribed:
            return
        # Silence while the broker may send no more says nothing.
        has_room = self.owed < RECEIVE_MAXIMUM // 2
        self._inbox.is_prompt = has_room and time.monotonic() - self._calm_from >= _CALM_S

    def acknowledge(self) -> None:
        """Acknowledge all messages that `take` gave and that came on the connection that is up.

        Those of an earlier connection come again: their identifiers mean nothing now.
        """
        owed = self._inbox.take_owed()
        if time.monotonic() - self._taken_at > STALL_S:
            self._inbox.is_prompt = False
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
        self._inbox.owed = []
        self._subscriptions.forget()

    def _note_loss(self) -> None:
        """Keep why the connection broke, and what came on it until then.

        A broker that was killed may have forgotten what it sent last, although it has told the
        publisher that it is safe.
        """
        sock = self._socket
        if sock is not None:
            sock.read_rest()
        if self._lost is None and sock is not None and sock.error is not None:
            self._lost = trouble.from_network(
                self.broker.where, sock.error, ca=self.broker.ca, was_in=self._came_in is not None
            )
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
        self._lost = self._subscriptions.answered(mid, reasons) or self._lost
        self._calm_from = time.monotonic()
