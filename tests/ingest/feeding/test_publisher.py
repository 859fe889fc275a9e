from __future__ import annotations

import socket
import threading
from collections.abc import Iterator

import pytest

from ingest.feeding.messages import Outgoing
from ingest.feeding.publisher import Publisher
from ingest.live import sockets
from ingest.live.broker_url import Broker
from ingest.live.trouble import BrokerError
from tests.services import MosquittoServer

MESSAGE = Outgoing("publisher/test", b"{}", 1)


@pytest.fixture
def silent() -> Iterator[Broker]:
    """A broker that lets a client of MQTT 3.1.1 in, and then never says anything again."""
    server = socket.create_server(("127.0.0.1", 0))
    held: list[socket.socket] = []

    def let_in() -> None:
        connection, _ = server.accept()
        held.append(connection)
        connection.recv(1000)
        connection.sendall(b"\x20\x02\x00\x00")  # OASIS MQTT 3.1.1, 3.2: CONNACK, accepted

    thread = threading.Thread(target=let_in)
    thread.start()
    yield Broker("127.0.0.1", server.getsockname()[1], version="3.1.1")
    thread.join()
    for each in (*held, server):
        each.close()


def test_an_acknowledgement_that_never_comes_is_not_waited_for_without_end(
    silent: Broker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sockets, "_LINGER_S", 0.1)
    with Publisher(silent, "patient", patience_s=0.2) as publisher:
        publisher.send(MESSAGE)
        with pytest.raises(BrokerError, match="1 messages are not acknowledged for"):
            publisher.finish()
    assert publisher.messages == 0


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_long_pause_between_messages_is_no_silence_of_the_broker(
    broker: MosquittoServer, version: str
) -> None:
    address = Broker("127.0.0.1", broker.port, version=version)  # type: ignore[arg-type]
    with Publisher(address, f"pausing-{version}", patience_s=5.0) as publisher:
        publisher._moved -= 100.0  # the last acknowledgement is long ago
        publisher.send(MESSAGE)
        publisher.serve(0.05)
        publisher.send(MESSAGE)
        publisher.finish()
    assert (publisher.messages, publisher.readings) == (2, 2)


def test_many_messages_are_never_all_on_their_way_at_once(broker: MosquittoServer) -> None:
    most = 0
    with Publisher(Broker("127.0.0.1", broker.port), "many") as publisher:
        publisher._window = 20
        for _ in range(500):
            publisher.send(MESSAGE)
            most = max(most, len(publisher._waiting))
        publisher.finish()
    assert publisher.messages == 500
    assert 0 < most <= 20


def test_with_a_will_a_broken_connection_ends_it(broker: MosquittoServer) -> None:
    will = Outgoing("publisher/will", b"gone")
    address = Broker("127.0.0.1", broker.port)
    with (
        Publisher(address, "mortal", will=will) as publisher,
        Publisher(address, "mortal"),  # MQTT 5, 3.1.4: the broker ends the earlier one
        pytest.raises(BrokerError, match="the connection broke"),
    ):
        publisher.serve(30.0)
