"""A broker that does what a test writes: one connection after the other, packet by packet."""

from __future__ import annotations

import socket
import struct
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

from ingest.live.broker_url import Broker, Version

WAIT_S = 60.0

CONNECT, PUBACK, PUBCOMP, SUBSCRIBE, DISCONNECT = 0x10, 0x40, 0x70, 0x80, 0xE0


class Talk:
    """One connection, as the broker sees it."""

    def __init__(self, sock: socket.socket) -> None:
        self._sock = sock
        self._held = b""

    @property
    def is_of_status(self) -> bool:
        """It is the small client's that tells the status: its name ends so (section 3.1.3.1)."""
        packet = self.packet()
        if packet is None:
            return False
        kind, body = packet
        self._held = bytes([kind]) + _varint(len(body)) + body + self._held
        return b"-status" in body

    def send(self, data: bytes) -> None:
        self._sock.sendall(data)

    def cut(self) -> None:
        """End the connection as the end of a process does that has not read all."""
        self._sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self._sock.close()

    def packet(self) -> tuple[int, bytes] | None:
        """Return the type and the body of the next packet; None at the end of the stream."""
        while True:
            found = _first_packet(self._held)
            if found is not None:
                kind, body, self._held = found
                return kind, body
            data = self._sock.recv(65_536)
            if not data:
                return None
            self._held += data

    def expect(self, kind: int) -> bytes:
        """Return the body of the next packet, which is of that type."""
        packet = self.packet()
        assert packet is not None, "the connection ended"
        assert packet[0] & 0xF0 == kind, f"{packet[0]:#x} came"
        return packet[1]

    def acknowledged(self, count: int) -> list[int]:
        """Return the identifiers of the next acknowledgements."""
        return [int.from_bytes(self.expect(PUBACK)[:2], "big") for _ in range(count)]

    def let_in(self, version: Version = "5", *, has_session: bool = False, code: int = 0) -> bytes:
        """Answer the CONNECT; return its body."""
        body = self.expect(CONNECT)
        self.send(connack(version, has_session=has_session, code=code))
        return body

    def subscribed(self, version: Version = "5", code: int = 1) -> None:
        """Answer the SUBSCRIBE of one filter."""
        self.send(suback(version, self.expect(SUBSCRIBE)[:2], code))

    def subscribed_all(self, code: int = 1) -> None:
        """Answer a SUBSCRIBE of two filters on MQTT 5: our own topics, and Sparkplug."""
        mid = self.expect(SUBSCRIBE)[:2]
        self.send(b"\x90\x05" + mid + bytes([0, code, code]))


def connack(version: Version, *, has_session: bool = False, code: int = 0) -> bytes:
    """MQTT 5, section 3.2; 3.1.1 has no properties."""
    body = bytes([has_session, code]) + (b"\0" if version == "5" else b"")
    return bytes([0x20, len(body)]) + body


def suback(version: Version, mid: bytes, code: int) -> bytes:
    """MQTT 5, section 3.9; 3.1.1 has no properties."""
    body = mid + (b"\0" if version == "5" else b"") + bytes([code])
    return bytes([0x90, len(body)]) + body


def publish(topic: str, payload: bytes, mid: int, version: Version = "5", *, qos: int = 1) -> bytes:
    """MQTT 5, section 3.3, of fewer than 128 bytes; 3.1.1 has no properties."""
    name = topic.encode()
    body = len(name).to_bytes(2, "big") + name + (mid.to_bytes(2, "big") if qos else b"")
    body += (b"\0" if version == "5" else b"") + payload
    return bytes([0x30 | qos << 1, len(body)]) + body


Script = Callable[[Talk], None]


@contextmanager
def scripted(*scripts: Script, version: Version = "5") -> Iterator[Broker]:
    """Play a script for each connection that comes; an assertion in one fails the test.

    The client that tells the status is let in and heard out beside them.
    """
    failures: list[BaseException] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(WAIT_S)

        def play() -> None:
            waiting = list(scripts)
            try:
                while waiting:
                    sock, _ = server.accept()
                    sock.settimeout(WAIT_S)
                    talk = Talk(sock)
                    if talk.is_of_status:
                        threading.Thread(target=_hear_out, args=(sock, talk, version)).start()
                        continue
                    with sock:
                        waiting.pop(0)(talk)
            except BaseException as exc:  # told to the test, where it counts
                failures.append(exc)

        thread = threading.Thread(target=play)
        thread.start()
        try:
            yield Broker("127.0.0.1", server.getsockname()[1], version=version)
        finally:
            thread.join(WAIT_S)
    assert not thread.is_alive(), "the script did not come to its end"
    if failures:
        raise failures[0]


def _hear_out(sock: socket.socket, talk: Talk, version: Version) -> None:
    with sock, suppress(OSError):
        talk.let_in(version)
        while (packet := talk.packet()) is not None:
            kind, body = packet
            if kind & 0xF6 == 0x32:  # a message of QoS 1
                end = 2 + int.from_bytes(body[:2], "big")
                talk.send(b"\x40\x02" + body[end : end + 2])


def _varint(value: int) -> bytes:
    out = bytearray()
    while True:
        value, low = divmod(value, 128)
        out.append(low | (128 if value else 0))
        if not value:
            return bytes(out)


def _first_packet(data: bytes) -> tuple[int, bytes, bytes] | None:
    if len(data) < 2:
        return None
    length = at = 0
    while True:
        at += 1
        if at >= len(data):
            return None
        length |= (data[at] & 127) << 7 * (at - 1)
        if data[at] < 128:
            break
    end = at + 1 + length
    return None if len(data) < end else (data[0], data[at + 1 : end], data[end:])
