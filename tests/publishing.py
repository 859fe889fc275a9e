"""A quick publisher: MQTT 3.1.1 over a plain socket, QoS 1, packets encoded by hand.

OASIS, MQTT Version 3.1.1 (2014), chapter 3: the packets. A client library spends longer on a
message than the listener under test.
"""

from __future__ import annotations

import socket
import ssl
import struct
from collections.abc import Iterable, Iterator
from itertools import islice
from pathlib import Path
from types import TracebackType

_CONNACK, _PUBLISH, _PUBACK, _SUBACK = 0x20, 0x30, 0x40, 0x90
_PACKET_IDS = 65_535  # 2.3.1: 16 bits, never 0
_WAIT_S = 60.0
_LAST = b"the last word"


class RefusedError(Exception):
    """The broker said no, or said something else than was due."""


class Publisher:
    """A connection that publishes and counts what the broker has taken.

    Attributes
    ----------
    sent, acknowledged : int
        Messages so far. The broker acknowledges in the order of sending (4.6), which is checked.
    """

    def __init__(
        self,
        port: int,
        client_id: str = "publisher",
        *,
        user: str | None = None,
        password: str | None = None,
        clean: bool = True,
        ca: Path | None = None,
    ) -> None:
        self.sent = 0
        self.acknowledged = 0
        self._half = b""
        self._socket: socket.socket = socket.create_connection(("127.0.0.1", port), timeout=_WAIT_S)
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if ca is not None:
            trusting = ssl.create_default_context(cafile=ca)
            self._socket = trusting.wrap_socket(self._socket, server_hostname="localhost")
        self._socket.sendall(connect_packet(client_id, user, password, clean=clean))
        kind, body = self._packet()
        if kind != _CONNACK or body[1] != 0:
            self._socket.close()
            raise RefusedError(f"CONNACK {body.hex()}")

    def __enter__(self) -> Publisher:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Say goodbye, where the other end is still there."""
        try:
            self._socket.sendall(b"\xe0\x00")
        except OSError:
            pass
        finally:
            self._socket.close()

    def publish(
        self, messages: Iterable[tuple[str, bytes]], *, window: int = 2000, at_once: int = 200
    ) -> int:
        """Send all, at most ``window`` unacknowledged; return how many once all are taken."""
        before = self.acknowledged
        for packets in _in_batches(messages, at_once):
            self.send(packets)
            while self.sent - self.acknowledged > window:
                self.take_acknowledgements()
        while self.acknowledged < self.sent:
            self.take_acknowledgements()
        return self.acknowledged - before

    def send(self, messages: Iterable[tuple[str, bytes]]) -> None:
        """Send without waiting for a word of the broker."""
        packets = []
        for topic, payload in messages:
            packets.append(publish_packet(topic, payload, self.sent % _PACKET_IDS + 1))
            self.sent += 1
        self._socket.sendall(b"".join(packets))

    def take_acknowledgements(self, wait_s: float = _WAIT_S) -> int:
        """Wait for at least one acknowledgement; return how many came (0: none in ``wait_s``)."""
        self._socket.settimeout(wait_s)
        try:
            data = self._half + self._more()
        except TimeoutError:
            if wait_s >= _WAIT_S:
                raise
            return 0
        finally:
            self._socket.settimeout(_WAIT_S)
        whole = len(data) // 4 * 4
        self._half = data[whole:]
        for head, length, packet_id in struct.iter_unpack(">BBH", data[:whole]):
            expected = self.acknowledged % _PACKET_IDS + 1
            if (head, length, packet_id) != (_PUBACK, 2, expected):
                raise RefusedError(f"PUBACK {expected} was due, got {head:#x} {length} {packet_id}")
            self.acknowledged += 1
        return whole // 4

    def subscribe(self, *filters: str, qos: int = 1) -> bytes:
        """Subscribe; return the codes of the SUBACK, one for each filter."""
        wanted = b"".join(_text(each) + bytes([qos]) for each in filters)
        self._socket.sendall(_packet(0x82, b"\x00\x01" + wanted))
        kind, body = self._packet()
        if kind != _SUBACK:
            raise RefusedError(f"SUBACK was due, got {kind:#x}")
        return body[2:]

    def _packet(self) -> tuple[int, bytes]:
        """Return one packet: its first byte and what follows its length."""
        length = at = 0
        while at == 0 or self._byte(at) & 0x80:  # 2.2.3: seven bits a byte, the lowest first
            at += 1
            length |= (self._byte(at) & 0x7F) << 7 * (at - 1)
        end = at + 1 + length
        while len(self._half) < end:
            self._half += self._more()
        kind, body, self._half = self._half[0], self._half[at + 1 : end], self._half[end:]
        return kind, body

    def _byte(self, at: int) -> int:
        while len(self._half) <= at:
            self._half += self._more()
        return self._half[at]

    def _more(self) -> bytes:
        data = self._socket.recv(65_536)
        if not data:
            raise ConnectionResetError("the broker closed the connection")
        return data


def keep_session(port: int, client_id: str, *filters: str) -> None:
    """Leave a session behind for which the broker queues from now on."""
    with Publisher(port, client_id, clean=False) as session:
        codes = session.subscribe(*filters)
    if any(code > 1 for code in codes):
        raise RefusedError(f"SUBACK {codes.hex()}")


def still_held(port: int, client_id: str, topic: str) -> list[bytes]:
    """Return what a broker still has for a session, which ends with that.

    That is the topic and the payload of each message, encoded as they came; what a listener told
    of its own state is left aside. The session has subscribed to the topic: a last message goes
    there, and behind that nothing is.
    """
    with Publisher(port, f"{client_id}-last") as publisher:
        publisher.publish([(topic, _LAST)])
    held: list[bytes] = []
    with Publisher(port, client_id, clean=False) as session:
        while not (held and held[-1].endswith(_LAST)):
            kind, body = session._packet()
            if kind & 0xF0 == _PUBLISH and b"/$service/" not in body:
                held.append(body)
    Publisher(port, client_id, clean=True).close()
    return held[:-1]


def connect_packet(
    client_id: str, user: str | None = None, password: str | None = None, *, clean: bool = True
) -> bytes:
    """Return a CONNECT (3.1) without keepalive."""
    flags = (0x02 if clean else 0) | (0x80 if user is not None else 0)
    fields = [_text(client_id)]
    if user is not None:
        fields.append(_text(user))
    if password is not None:
        flags |= 0x40
        fields.append(_text(password))
    return _packet(0x10, _text("MQTT") + bytes([4, flags, 0, 0]) + b"".join(fields))


def publish_packet(topic: str, payload: bytes, packet_id: int, *, repeat: bool = False) -> bytes:
    """Return a PUBLISH (3.3) of QoS 1."""
    first = 0x32 | (0x08 if repeat else 0)
    return _packet(first, _text(topic) + packet_id.to_bytes(2, "big") + payload)


def _packet(first: int, body: bytes) -> bytes:
    length, rest = bytearray(), len(body)
    while True:  # 2.2.3: seven bits a byte, the lowest first
        rest, seven = divmod(rest, 128)
        length.append(seven | (0x80 if rest else 0))
        if not rest:
            return bytes([first]) + length + body


def _text(text: str) -> bytes:
    encoded = text.encode()
    return len(encoded).to_bytes(2, "big") + encoded


def _in_batches(
    messages: Iterable[tuple[str, bytes]], count: int
) -> Iterator[list[tuple[str, bytes]]]:
    waiting = iter(messages)
    while batch := list(islice(waiting, count)):
        yield batch
