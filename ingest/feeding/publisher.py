"""Messages to a broker, each until the broker has acknowledged it, and never too many at once."""

from __future__ import annotations

import select
import time
from collections.abc import Callable
from types import TracebackType
from typing import Any

from paho.mqtt.client import Client, ConnectFlags, DisconnectFlags
from paho.mqtt.enums import MQTTErrorCode
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from bondtrail.pauses import Pauses
from ingest.feeding.messages import Outgoing
from ingest.live.broker_url import Broker
from ingest.live.paho_client import BufferedClient, new_client
from ingest.live.trouble import BrokerError, from_network, refused

IN_FLIGHT = 1000
"""Messages that may be unacknowledged."""
PATIENCE_S = 60.0
"""How long to go on without an acknowledgement where one is due. [s]"""
_TOGETHER = 64  # messages that are written in one go
_KEEPALIVE_S = 60
_MOST_COMMANDS = 100
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 0.2, 5.0
_NOBODY = 0x10
"""MQTT 5, section 3.4.2.1: taken, and there is no subscriber."""


class Publisher:
    """A connection that publishes with QoS 1; a context manager, which connects.

    A connection that breaks is made again, and what was not acknowledged is sent again. With a
    will it ends there instead: what the will says would not be true of the next connection.

    Parameters
    ----------
    broker : Broker
        Where to, and how to come in.
    client_id : str
        One that no other client has.
    will : Outgoing, optional
        What the broker publishes if this connection breaks.
    commands : str, optional
        A topic to subscribe to; what comes is kept for `taken`.
    patience_s : float
        How long to go on without an acknowledgement where one is due. [s]

    Attributes
    ----------
    messages, readings : int
        What was acknowledged and not refused. What went with QoS 0 counts once a later message
        of QoS 1 is acknowledged: a broker reads a connection in order.
    refused, unheard : int
        Messages that the broker's rules forbid, and that had no subscriber (known on MQTT 5 only).
    """

    def __init__(
        self,
        broker: Broker,
        client_id: str,
        *,
        will: Outgoing | None = None,
        commands: str | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self._broker = broker
        self._patience_s = patience_s
        self._client = _client(self, broker, client_id)
        if will is not None:
            self._client.will_set(will.topic, will.payload, will.qos)
        self._is_final = will is not None
        self._commands = commands
        self._came: list[bytes] = []
        self._unproven = [0, 0]  # messages of QoS 0 and their readings
        self._waiting: dict[int, int] = {}  # readings of each message that is not acknowledged
        self._window = IN_FLIGHT
        self._unwritten = 0
        self._is_up = False
        self._refusal: BrokerError | None = None
        self._moved = time.monotonic()
        self.messages = self.readings = self.refused = self.unheard = 0

    def __enter__(self) -> Publisher:
        """Connect.

        Raises
        ------
        BrokerError
            If the broker cannot be reached, or refuses.
        """
        self._connect()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        sock = self._client.buffered
        self._client.disconnect()
        if sock is not None and self._is_up:
            sock.part_in_order()
            self._client.loop_write()
        self._drop()

    def _drop(self) -> None:
        """Close what is left of a connection."""
        self._is_up = False
        if self._client.buffered is not None:
            self._client.buffered.close()

    def send(self, message: Outgoing) -> None:
        """Publish a message; wait while too many are not acknowledged.

        Raises
        ------
        BrokerError
            If the broker is gone for too long.
        """
        info = self._client.publish(message.topic, message.payload, message.qos)
        if message.qos:
            self._waiting[info.mid] = message.readings
        else:
            self._unproven[0] += 1
            self._unproven[1] += message.readings
        self._unwritten += 1
        if self._unwritten >= _TOGETHER:
            self._turn(0.0)
        self._until(lambda: len(self._waiting) < self._window and not self._has_unsent)

    def taken(self) -> list[bytes]:
        """Return the payloads that came on the topic of commands since last asked."""
        came, self._came = self._came, []
        return came

    def serve(self, seconds: float) -> None:
        """Look after the connection for so long.

        Raises
        ------
        BrokerError
            If the broker is gone for too long.
        """
        until = time.monotonic() + seconds
        self._turn(0.0)
        while (left := until - time.monotonic()) > 0:
            self._turn(min(left, 1.0))

    def finish(self) -> None:
        """Wait until everything is acknowledged.

        Raises
        ------
        BrokerError
            If the broker is gone for too long.
        """
        self._turn(0.0)
        self._until(lambda: not self._waiting)

    @property
    def _has_unsent(self) -> bool:
        return self._client.buffered is not None and self._client.buffered.has_unsent

    def _until(self, done: Callable[[], bool]) -> None:
        begun = time.monotonic()
        while not done():
            self._turn(0.2)
            if time.monotonic() - max(begun, self._moved) > self._patience_s:
                raise self._no_answer()

    def _no_answer(self) -> BrokerError:
        count = len(self._waiting)
        what = f"{count} messages are not acknowledged for {self._patience_s:.0f} s"
        return BrokerError(self._broker.where, f"{what}: check the broker, and feed again")

    def _turn(self, wait_s: float) -> None:
        """Write what is to be written and read what has come, waiting so long for more."""
        sock = self._client.buffered
        if not self._is_up or sock is None:
            self._reconnect()
            return
        self._write()
        if not sock.is_holding:
            writing = [sock] if sock.has_unsent else []
            try:
                readable, writable, _ = select.select([sock], writing, [], wait_s)
            except (OSError, ValueError):
                readable = writable = [sock]  # it is gone, as reading will tell
            if writable:
                self._flush()
            if not readable:
                self._client.loop_misc()
                return
        self._client.loop_read()
        self._client.loop_misc()

    def _write(self) -> None:
        self._unwritten = 0
        if self._client.buffered is None:
            return
        self._client.buffered.gather()
        while self._client.want_write() and self._client.loop_write() == 0:
            pass
        self._flush()

    def _flush(self) -> None:
        try:
            if self._client.buffered is not None:
                self._client.buffered.flush()
        except OSError:
            self._is_up = False

    def _reconnect(self) -> None:
        """Make the connection again, with pauses that grow.

        Raises
        ------
        BrokerError
            If that fails for too long, or if a person must change something.
        """
        if self._is_final:
            what = "the connection broke, and what was on its way may be lost: feed again"
            raise BrokerError(self._broker.where, what)
        pauses = Pauses(_FIRST_PAUSE_S, _LONGEST_PAUSE_S)
        lost = time.monotonic()
        while True:
            try:
                self._connect()
            except BrokerError as exc:
                if exc.is_lasting or time.monotonic() - lost > self._patience_s:
                    raise
                time.sleep(pauses.next_s())
            else:
                self._moved = time.monotonic()
                return

    def _connect(self) -> None:
        self._refusal = None
        try:
            self._client.connect(self._broker.host, self._broker.port, _KEEPALIVE_S)
            give_up = time.monotonic() + self._client.connect_timeout
            while not self._is_up and self._refusal is None:
                self._shake_hands(give_up)
        except OSError as exc:
            self._drop()
            raise from_network(self._broker.where, exc, ca=self._broker.ca) from exc
        if self._refusal is not None:
            self._drop()
            raise self._refusal

    def _shake_hands(self, give_up: float) -> None:
        """Wait for the word of the broker on a new connection."""
        left = give_up - time.monotonic()
        if left <= 0:
            raise TimeoutError
        self._write()
        sock = self._client.buffered
        if sock is None:
            raise ConnectionResetError("the broker ended it at once")
        select.select([sock], [], [], left)
        if self._client.loop_read() != MQTTErrorCode.MQTT_ERR_SUCCESS and self._refusal is None:
            raise sock.error or ConnectionResetError("the broker ended it at once")

    def on_connect(
        self, _: Client, __: Any, ___: ConnectFlags, reason: ReasonCode, told: Properties | None
    ) -> None:
        """Note how the broker answered, and how much it takes at once."""
        if reason.is_failure:
            self._refusal = refused(self._broker.where, reason.value, str(reason))
            return
        self._is_up = True
        if self._commands is not None:
            self._client.subscribe(self._commands, qos=0)
        self._window = min(IN_FLIGHT, getattr(told, "ReceiveMaximum", IN_FLIGHT))

    def on_disconnect(
        self, _: Client, __: Any, ___: DisconnectFlags, reason: ReasonCode, ____: Properties | None
    ) -> None:
        """Note that the connection is gone."""
        self._is_up = False

    def on_publish(
        self, _: Client, __: Any, mid: int, reason: ReasonCode, ___: Properties | None
    ) -> None:
        """Count an acknowledgement."""
        readings = self._waiting.pop(mid, None)
        if readings is None:
            return
        self._moved = time.monotonic()
        if reason.is_failure:
            self.refused += 1
            return
        self.unheard += reason.value == _NOBODY
        self.messages += 1 + self._unproven[0]
        self.readings += readings + self._unproven[1]
        self._unproven = [0, 0]

    def take_message(self, _: int, __: bytes, ___: int, payload: bytes) -> None:
        """Keep a command, unless nobody asks for them any more."""
        if len(self._came) < _MOST_COMMANDS:
            self._came.append(payload)


def _client(publisher: Publisher, broker: Broker, client_id: str) -> BufferedClient:
    client = new_client(broker, client_id, BufferedClient, keeps_session=False, acknowledges=False)
    assert isinstance(client, BufferedClient)
    client.max_inflight_messages_set(0)  # the bound is ours
    client.on_socket_register_write = _later  # or each message would be written by itself
    client.on_connect = publisher.on_connect
    client.on_disconnect = publisher.on_disconnect
    client.on_publish = publisher.on_publish
    client.take_message = publisher.take_message
    return client


def _later(*_: object) -> None:
    """Leave the writing to the loop."""
