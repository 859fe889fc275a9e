"""Messages that came and were not taken yet, and the acknowledgements that are owed for them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from paho.mqtt.client import Client, MQTTMessage

from ingest.live.cutting import PUBACK, PUBCOMP
from ingest.live.messages import Message

_MOST_NAMES = 10_000
"""Topics whose names are kept as text."""


class Inbox:
    """Keeps what comes on a connection.

    Parameters
    ----------
    clock : callable
        Gives the time. [ns]

    Attributes
    ----------
    messages : list of Message
        In the order in which they came; they outlive the connection.
    size : int
        Of their payloads together. [bytes]
    owed : list of int
        What is to be acknowledged on this connection, of messages that were taken as well: kind
        and identifier, as `ingest.live.cutting.acknowledgements` has them.
    is_prompt : bool
        What comes now has not waited at the broker.
    """

    def __init__(self, clock: Callable[[], int]) -> None:
        self._clock = clock
        self._names: dict[bytes, str] = {}
        self.messages: list[Message] = []
        self.size = 0
        self.owed: list[int] = []
        self.is_prompt = False

    def take(self) -> list[Message]:
        """Return the messages and keep none of them."""
        taken, self.messages, self.size = self.messages, [], 0
        return taken

    def take_owed(self) -> list[int]:
        """Return what is owed, which is owed no more."""
        owed, self.owed = self.owed, []
        return owed

    def put(self, first: int, topic: bytes, mid: int, payload: bytes) -> None:
        """Keep a message of QoS 0 or 1: the first byte of its packet, and what follows."""
        name = self._names.get(topic)
        if name is None:
            name = self._name_of(topic)
        self.messages.append(
            Message(name, payload, self._clock(), bool(first & 8), bool(first & 1), self.is_prompt)
        )
        self.size += len(payload)
        if mid:
            self.owed.append(PUBACK | mid)

    def put_apart(self, _: Client, __: Any, message: MQTTMessage) -> None:
        """Keep a message of QoS 2, of a subscription that was not ours; paho takes it apart."""
        try:
            topic = message.topic.encode()
        except UnicodeDecodeError as exc:
            topic = exc.object
        first = message.dup << 3 | message.retain
        self.put(first, topic, 0, bytes(message.payload))
        self.owed.append(PUBCOMP | message.mid)

    def _name_of(self, topic: bytes) -> str:
        if len(self._names) >= _MOST_NAMES:
            self._names.clear()
        name = self._names[topic] = topic.decode("utf-8", "replace")
        return name
