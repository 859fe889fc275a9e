from __future__ import annotations

import socket
from collections.abc import Iterator

import pytest

from ingest.live.cutting import Splitter
from ingest.live.sockets import BufferedSocket

Pair = tuple[BufferedSocket, socket.socket]


@pytest.fixture
def pair() -> Iterator[Pair]:
    ours, theirs = socket.socketpair()
    ours.setblocking(False)
    theirs.settimeout(10.0)
    yield BufferedSocket(ours, Splitter(lambda *_: None, has_properties=True)), theirs
    ours.close()
    theirs.close()


def test_what_is_here_is_given_a_little_at_a_time_and_then_there_is_none(pair: Pair) -> None:
    ours, theirs = pair
    theirs.sendall(b"\xd0\x00\xd0\x00")
    assert (ours.recv(1), ours.is_holding, ours.pending()) == (b"\xd0", True, 3)
    assert ours.recv(100) == b"\x00\xd0\x00"
    assert not ours.is_holding
    with pytest.raises(BlockingIOError):
        ours.recv(1)


def test_the_end_of_the_stream_is_told(pair: Pair) -> None:
    ours, theirs = pair
    theirs.close()
    assert ours.recv(1) == b""


def test_what_is_gathered_goes_in_one_write(pair: Pair) -> None:
    ours, theirs = pair
    ours.gather()
    for word in (b"one ", b"two ", b"three"):
        assert ours.send(word) == len(word)
    assert (ours.has_unsent, ours.writes) == (True, 0)
    ours.flush()
    assert (ours.has_unsent, ours.writes) == (False, 1)
    assert theirs.recv(100) == b"one two three"


def test_what_the_system_does_not_take_is_kept_and_sent_when_told(pair: Pair) -> None:
    ours, theirs = pair
    data = bytes(range(256)) * 40_000
    assert ours.send(data) == len(data)
    assert ours.has_unsent
    received = bytearray()
    while len(received) < len(data):
        received += theirs.recv(1 << 20)
        ours.flush()
    assert not ours.has_unsent
    assert bytes(received) == data


def test_what_broke_it_is_kept(pair: Pair) -> None:
    ours, theirs = pair
    theirs.close()
    with pytest.raises(OSError, match="Broken pipe"):
        ours.send(b"x")
    assert isinstance(ours.error, BrokenPipeError)


def test_a_parting_in_order_sends_the_rest_and_reads_to_the_end(pair: Pair) -> None:
    ours, theirs = pair
    ours.gather()
    ours.send(b"last words")
    theirs.sendall(b"unread")
    theirs.shutdown(socket.SHUT_WR)
    ours.part_in_order()
    ours.close()
    assert theirs.recv(100) == b"last words"
    assert theirs.recv(100) == b""
