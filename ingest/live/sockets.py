"""A socket that reads much at once and writes what belongs together in one go.

Left to itself, paho asks the system three times a message (two bytes of header, one rest) and
once an acknowledgement.
"""

from __future__ import annotations

import select
import socket
import ssl
import time
from contextlib import suppress

from ingest.live.cutting import Splitter

CHUNK = 1 << 17
"""Bytes to ask of the system at once."""
_LINGER_S = 3.0


class BufferedSocket:
    """What paho takes for a socket. It never blocks, except to part in good order.

    Parameters
    ----------
    sock : socket
        The connection.
    splitter : Splitter
        Takes the messages out of what comes; paho is given the rest.

    Attributes
    ----------
    error : OSError or None
        What broke it; paho only tells that it broke.
    """

    def __init__(self, sock: socket.socket, splitter: Splitter) -> None:
        self._sock = sock
        self._splitter = splitter
        self._bytes = b""
        self._at = 0
        self._end = 0
        self._out = bytearray()
        self._gathers = False
        self._parts_in_order = False
        self.error: OSError | None = None
        self.writes = 0
        """How often the system was asked to send."""

    # Reading

    @property
    def is_holding(self) -> bool:
        """Bytes are here that the system no longer has: waiting for it would be for nothing."""
        return self._at < self._end

    def recv(self, size: int) -> bytes:
        """Return up to ``size`` bytes, of those that are here if there are any.

        Raises
        ------
        BlockingIOError
            If there are none at the moment.
        OSError
            If the connection broke.
        """
        at = self._at
        if at >= self._end:
            if not self._fill():
                return b""
            at = 0
        piece = self._bytes[at : at + size]
        self._at = at + len(piece)
        return piece

    def _fill(self) -> bool:
        """Get what the system has; False at the end of the stream."""
        try:
            data = self._sock.recv(CHUNK)
        except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
            raise
        except OSError as exc:
            self.error = exc
            raise
        if not data:
            return False
        try:
            self._bytes = self._splitter.feed(data)
        except OSError as exc:
            self.error = exc
            raise
        self._at = 0
        self._end = len(self._bytes)
        if not self._end:
            raise BlockingIOError  # all of it were messages
        return True

    def read_rest(self) -> None:
        """Take the messages that the system still has of a connection that broke while writing."""
        with suppress(OSError):
            while data := self._sock.recv(CHUNK):
                self._splitter.feed(data)

    def pending(self) -> int:
        """Return how many bytes wait on this side of the system."""
        beneath = self._sock.pending() if isinstance(self._sock, ssl.SSLSocket) else 0
        return self._end - self._at + beneath

    # Writing

    def send(self, data: bytes | bytearray) -> int:
        """Take all of ``data``; what the system does not take now goes with a later `flush`."""
        self._out += data
        if not self._gathers:
            self.flush()
        return len(data)

    def gather(self) -> None:
        """Keep what is sent from here on until `flush`."""
        self._gathers = True

    def flush(self) -> None:
        """Send what is kept, as far as the system takes it.

        Raises
        ------
        OSError
            If the connection broke.
        """
        self._gathers = False
        while self._out:
            try:
                sent = self._sock.send(self._out)
            except (BlockingIOError, ssl.SSLWantReadError, ssl.SSLWantWriteError):
                return
            except OSError as exc:
                self.error = self._last_word(exc)
                raise
            self.writes += 1
            del self._out[:sent]

    def _last_word(self, exc: OSError) -> OSError:
        """Return why the other side ended TLS, if it said so, or else the error of a write."""
        if isinstance(self._sock, ssl.SSLSocket) and not isinstance(exc, ssl.SSLError):
            try:
                self._sock.recv(CHUNK)
            except (ssl.SSLWantReadError, ssl.SSLWantWriteError):
                return exc
            except ssl.SSLError as told:
                return told
            except OSError:
                return exc
        return exc

    @property
    def has_unsent(self) -> bool:
        """Something is kept that the system did not take yet."""
        return bool(self._out)

    # The rest of what paho asks of a socket

    def fileno(self) -> int:
        """Return the descriptor to wait for."""
        return self._sock.fileno()

    def setblocking(self, flag: bool) -> None:
        """Set whether the socket beneath blocks."""
        self._sock.setblocking(flag)

    def part_in_order(self) -> None:
        """At `close`, send what is kept and wait for the other side to have read it."""
        self._parts_in_order = True

    def close(self) -> None:
        """Close the connection."""
        try:
            if self._parts_in_order and self.error is None:
                self._linger(time.monotonic() + _LINGER_S)
        except (OSError, ValueError):
            pass  # it is closed in any case
        finally:
            self._sock.close()

    def _linger(self, give_up: float) -> None:
        """Send the rest and read to the end.

        A socket that is closed with something unread makes the system cut the connection, and
        the other side may lose acknowledgements that are on their way to it.
        """
        self._sock.setblocking(True)
        self._sock.settimeout(_LINGER_S)
        if self._out:
            self._sock.sendall(self._out)
            self._out.clear()
        if not isinstance(self._sock, ssl.SSLSocket):
            self._sock.shutdown(socket.SHUT_WR)
        while (left := give_up - time.monotonic()) > 0:
            ready, _, _ = select.select([self._sock], [], [], left)
            if not ready or not self._sock.recv(CHUNK):
                return
