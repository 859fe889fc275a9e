"""Messages picked out of the stream of a connection, before anything else looks at it.

paho takes 50 to 100 us for a message, most of it for properties that are not there; this takes
a few. All else that a broker says (MQTT 5, chapter 3) is passed on to paho, which does the session.

A huge message must not take huge memory: MQTT lets one be 256 MiB long. On MQTT 5 a client may say
how much it takes, but then the broker drops what is longer and tells nobody. So most of a huge
message is let go while it still arrives.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterable

MOST_PAYLOAD = 1 << 20
"""Bytes of a payload that is taken whole."""
MOST_PACKET = MOST_PAYLOAD + (1 << 17)
"""Bytes of a packet that is taken whole: such a payload, the longest topic, some properties."""

PUBACK = 0x4002 << 16
PUBCOMP = 0x7002 << 16
"""An acknowledgement without its packet identifier: the type of packet and its length."""

_PUBLISH = 0x30
_QOS = 0x06
_QOS_2 = 0x04

OnMessage = Callable[[int, bytes, int, bytes], None]
"""Called with the first byte of a message's packet, topic, identifier (0 at QoS 0), payload."""


class MalformedError(ConnectionError):
    """The other side does not speak MQTT as it should."""

    def __init__(self) -> None:
        super().__init__("what the broker sent is no MQTT")


class Splitter:
    """Takes messages of QoS 0 and 1 out of the bytes of a connection.

    Of a message that is too long, the payload is cut to one byte more than `MOST_PAYLOAD`, so that
    whoever decodes it sees that.

    Parameters
    ----------
    on_message : callable
        Called with each.
    has_properties : bool
        Messages have properties: MQTT 5.
    """

    def __init__(self, on_message: OnMessage, *, has_properties: bool) -> None:
        self._on_message = on_message
        self._has_properties = has_properties
        self._part = bytearray()  # of a packet that has not come whole
        self._needed = 0  # bytes until it has, as far as its header has come
        self._huge = 0  # bytes of a huge one that are still to come

    def feed(self, data: bytes) -> bytes:
        """Take the next bytes of the connection; return those that are no such message.

        Raises
        ------
        MalformedError
            If they cannot be MQTT.
        """
        if self._huge:
            data = self._let_go(data)
            if self._huge:
                return b""
        if self._part:
            self._part += data
            if len(self._part) < self._needed:
                return b""
            data = bytes(self._part)
            self._part.clear()
        return self._walk(data)

    def _walk(self, data: bytes) -> bytes:
        """Go from packet to packet; keep the one that has not come whole."""
        others: list[bytes] = []
        at, size = 0, len(data)
        while at < size:
            first = data[at]
            body, length = header_of(data, at)
            end = body + length
            is_message = first & 0xF0 == _PUBLISH and first & _QOS != _QOS_2
            if not body or end > size:
                self._keep(data, at, body, length, is_huge=is_message and length > MOST_PACKET)
                break
            if is_message:
                self._take(first, data, body, end)
            else:
                others.append(data[at:end])
            at = end
        return b"".join(others)

    def _keep(self, data: bytes, at: int, body: int, length: int, *, is_huge: bool) -> None:
        """Keep the beginning of a packet."""
        if body and length > MOST_PACKET and not is_huge:
            raise MalformedError  # nothing but a message is ever so long
        if is_huge:
            self._huge = length
            self._part += data[at : at + 1]
            self._let_go(data[body:])
            return
        self._part += data[at:]
        self._needed = body + length - at if body else 0

    def _let_go(self, data: bytes) -> bytes:
        """Take bytes of a huge message, its beginning kept; return what follows it."""
        taken = data[: self._huge]
        self._huge -= len(taken)
        self._part += taken[: max(0, MOST_PACKET - len(self._part))]
        if not self._huge:
            kept = bytes(self._part)
            self._part.clear()
            self._take(kept[0], kept, 1, len(kept), is_cut=True)
        return data[len(taken) :]

    def _take(self, first: int, data: bytes, body: int, end: int, *, is_cut: bool = False) -> None:
        """Take one message apart (MQTT 5, section 3.3)."""
        try:
            at = body + 2
            topic_end = at + (data[body] << 8 | data[body + 1])
            topic = data[at:topic_end]
            at = topic_end
            mid = 0
            if first & _QOS:
                mid = data[at] << 8 | data[at + 1]
                at += 2
            if self._has_properties:
                at, properties = varint_of(data, at)
                at += properties
        except IndexError as exc:
            raise MalformedError from exc
        if at > end and not is_cut:
            raise MalformedError
        payload = data[at:end]
        if is_cut:
            payload = payload[: MOST_PAYLOAD + 1].ljust(MOST_PAYLOAD + 1, b"\0")
        self._on_message(first, topic, mid, payload)


def header_of(data: bytes, at: int) -> tuple[int, int]:
    """Return where the body of the packet at ``at`` begins, and how long it is.

    ``(0, 0)`` while the header has not come whole.
    """
    try:
        return varint_of(data, at + 1)
    except IndexError:
        return 0, 0


def varint_of(data: bytes, at: int) -> tuple[int, int]:
    """Return where a number of variable length ends, and the number (MQTT 5, section 1.5.5).

    Raises
    ------
    IndexError
        If it has not come whole.
    MalformedError
        If it is longer than four bytes.
    """
    byte = data[at]
    if byte < 128:
        return at + 1, byte
    value = byte & 127
    for place in (1, 2, 3):
        byte = data[at + place]
        value |= (byte & 127) << 7 * place
        if byte < 128:
            return at + place + 1, value
    raise MalformedError


def acknowledgements(owed: Iterable[int]) -> bytes:
    """Return acknowledgements, each a `PUBACK` or `PUBCOMP` and its identifier, as one piece.

    paho writes each by itself (MQTT 5, section 3.4).
    """
    words = list(owed)
    return struct.pack(f"!{len(words)}I", *words)
