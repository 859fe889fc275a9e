"""Keep a huge message from taking huge memory: most of it is let go while it still arrives.

MQTT lets a message be 256 MiB long. On MQTT 5 a client may say how much it takes, but then the
broker drops what is longer and tells nobody.
"""

from __future__ import annotations

MOST_PAYLOAD = 1 << 20
"""Bytes of a payload that is passed on whole."""
MOST_PACKET = MOST_PAYLOAD + (1 << 17)
"""Bytes of a packet that passes untouched: such a payload, the longest topic, properties."""

_PUBLISH = 0x30


class Cutter:
    """Passes the bytes of a connection on; of a packet that is too long only its beginning.

    What is passed on of such a message has its topic and identifier, no properties, and a payload
    of one byte more than `MOST_PAYLOAD`, so that whoever decodes it sees that it is too long.

    Parameters
    ----------
    has_properties : bool
        Messages have properties: MQTT 5.
    """

    def __init__(self, *, has_properties: bool) -> None:
        self._has_properties = has_properties
        self._header = b""  # the beginning of one that has not come whole
        self._left = 0  # of a packet that is passed on
        self._huge: _Huge | None = None

    def feed(self, data: bytes) -> bytes:
        """Return what is passed on of the next bytes of the connection."""
        if self._header:
            data, self._header = self._header + data, b""
        if self._huge is None and self._left >= len(data):
            self._left -= len(data)
            return data
        return self._walk(data)

    def _walk(self, data: bytes) -> bytes:
        """Go from packet to packet."""
        kept: list[bytes] = []
        begin = 0
        size = len(data)
        at = 0
        if self._huge is not None:
            at = begin = self._let_go(self._huge, data, 0, kept)
        at += self._left
        while at < size:
            body, length = header_of(data, at)
            if body == 0:
                self._header = data[at:]
                kept.append(data[begin:at])
                self._left = 0
                return b"".join(kept)
            if length > MOST_PACKET and data[at] & 0xF0 == _PUBLISH:
                kept.append(data[begin:at])
                self._huge = _Huge(data[at], length)
                at = begin = self._let_go(self._huge, data, body, kept)
            else:
                at = body + length
        self._left = at - size
        return b"".join([*kept, data[begin:]]) if kept else data[begin:]

    def _let_go(self, huge: _Huge, data: bytes, at: int, kept: list[bytes]) -> int:
        """Take the bytes of a huge packet; return where they end."""
        end = at + min(huge.left, len(data) - at)
        huge.take(data[at:end])
        if not huge.left:
            kept.append(huge.cut(self._has_properties))
            self._huge = None
        return end


class _Huge:
    """A packet that is too long, of which the beginning is kept."""

    def __init__(self, command: int, length: int) -> None:
        self._command = command
        self._kept = bytearray()
        self.left = length

    def take(self, data: bytes) -> None:
        self.left -= len(data)
        self._kept += data[: MOST_PACKET - len(self._kept)]

    def cut(self, has_properties: bool) -> bytes:
        """Return the packet that stands for it."""
        kept = bytes(self._kept)
        body = 2 + int.from_bytes(kept[:2], "big")
        body += 2 if self._command & 0x06 else 0  # an identifier unless QoS is 0
        payload = body
        if has_properties:
            after, length = varint_of(kept, body)
            payload = after + length
        rest = kept[payload : payload + MOST_PAYLOAD + 1].ljust(MOST_PAYLOAD + 1, b"\0")
        packet = kept[:body] + (b"\0" if has_properties else b"") + rest
        return bytes([self._command]) + varint(len(packet)) + packet


def header_of(data: bytes, at: int) -> tuple[int, int]:
    """Return where the body of the packet at ``at`` begins, and how long it is.

    ``(0, 0)`` while the header has not come whole.
    """
    try:
        first = data[at + 1]
        if first < 128:
            return at + 2, first
        second = data[at + 2]
        if second < 128:
            return at + 3, (first & 127) | second << 7
        return varint_of(data, at + 1)
    except IndexError:
        return 0, 0


def varint_of(data: bytes, at: int) -> tuple[int, int]:
    """Return where a number of variable length ends, and the number (MQTT 5, section 1.5.5).

    Raises
    ------
    IndexError
        If it has not come whole.
    """
    value = shift = 0
    for place in range(at, at + 4):
        byte = data[place]
        value |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            return place + 1, value
    return at + 4, value  # longer than the standard has it: whoever reads it on will refuse it


def varint(value: int) -> bytes:
    """Return a number as MQTT writes it."""
    out = bytearray()
    while True:
        value, low = value >> 7, value & 127
        out.append(low | (128 if value else 0))
        if not value:
            return bytes(out)
