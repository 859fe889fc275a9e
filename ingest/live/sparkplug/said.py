"""What a node said, or a device of it: a message that was opened, and whether it came late."""

from __future__ import annotations

from typing import NamedTuple

from ingest.live.messages import Message
from ingest.live.sparkplug.nodes import Node
from ingest.live.sparkplug.payloads import parsed, sent_ms
from ingest.live.sparkplug.sparkplug_pb2 import Payload
from ingest.live.sparkplug.topics import Address, address_of


class Said(NamedTuple):
    """A message of a node that is followed; a tuple, since one is made of each message.

    Attributes
    ----------
    node : Node
        Whose it is.
    address : Address
        What it says, and what of.
    message : Message
        As it came.
    payload : Payload
        What it holds.
    sent : int or None
        When it says that it was sent, None where it does not. [ms]
    is_late : bool
        Its turn was before: it must prove that it is not of an earlier birth.
    """

    node: Node
    address: Address
    message: Message
    payload: Payload
    sent: int | None
    is_late: bool = False

    @property
    def arrived(self) -> int:
        """When it was taken from the broker. [ns]"""
        return self.message.arrived


def said_before(node: Node, message: Message) -> Said:
    """Return what a message says that waited: it was opened before, and kept as it came."""
    address, payload = address_of(message.topic), parsed(message.payload)
    assert address is not None, "only messages of nodes wait"
    assert payload is not None, "only messages that could be read wait"
    return Said(node, address, message, payload, sent_ms(payload))
