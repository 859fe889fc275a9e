from __future__ import annotations

import itertools
import logging
import threading

import pytest

from ingest.live import connection as connection_module
from ingest.live.batches import Bounds
from ingest.live.broker_url import Broker, Version
from ingest.live.connection import Connection
from ingest.live.messages import Message
from ingest.live.trouble import BrokerError, TakenOverError
from tests.ingest.live import scripted as wire
from tests.ingest.live.scripted import Talk, scripted

FILTERS = ["bondtrail/quay/#"]
BOUNDS = Bounds(seconds=30.0)  # far longer than a test: what waits for it does not pass
NEVER = threading.Event()
VERSIONS: list[Version] = ["5", "3.1.1"]


def connection_to(broker: Broker) -> Connection:
    return Connection(broker, "listener", clock=itertools.count(1000).__next__)


def taken(connection: Connection, count: int, bounds: Bounds = BOUNDS) -> list[Message]:
    """Return that many messages, in as many batches as it takes."""
    messages: list[Message] = []
    while len(messages) < count:
        assert connection.is_open, connection.lost
        messages += connection.take(bounds, NEVER, patience_s=0.5)
    return messages


def until_lost(connection: Connection) -> BrokerError:
    while connection.is_open:
        connection.take(BOUNDS, NEVER, patience_s=0.5)
    assert connection.lost is not None
    return connection.lost


@pytest.mark.parametrize("version", VERSIONS)
def test_messages_are_acknowledged_when_told_and_in_one_write(version: Version) -> None:
    count = 500

    def script(talk: Talk) -> None:
        talk.let_in(version)
        talk.subscribed(version)
        talk.send(b"".join(wire.publish("a", b"%d" % n, n, version) for n in range(1, count + 1)))
        assert talk.acknowledged(count) == list(range(1, count + 1))
        assert talk.packet() is None or talk.packet() is None  # DISCONNECT, then the end

    with scripted(script, version=version) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        messages = taken(connection, count)
        assert [message.payload for message in messages] == [b"%d" % n for n in range(1, count + 1)]
        assert connection.owed == count
        before = connection.writes
        connection.acknowledge()
        assert connection.writes == before + 1
        assert connection.owed == 0
        connection.close()


def test_bytes_that_are_here_are_never_left_unread() -> None:
    done = threading.Event()

    def script(talk: Talk) -> None:
        talk.let_in()
        mid = talk.expect(wire.SUBSCRIBE)[:2]
        one = wire.publish("a", b"1", 1)
        # All in one piece, the last message cut in two: nothing follows until it was taken.
        talk.send(wire.suback("5", mid, 1) + one + one + one[:4])
        done.wait(wire.WAIT_S)
        talk.send(one[4:])
        talk.packet()

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert len(taken(connection, 2)) == 2
        assert connection.is_subscribed
        done.set()
        assert len(taken(connection, 1)) == 1
        connection.close()


def test_a_message_keeps_what_the_broker_says_of_it() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        plain = bytearray(wire.publish("a", b"x", 1))
        again, kept = bytearray(plain), bytearray(plain)
        again[0] |= 0x08  # DUP, section 3.3.1.1
        kept[0] |= 0x01  # RETAIN, section 3.3.1.3
        strange = wire.publish("a?", b"x", 0, qos=0).replace(b"a?", b"a\xff")
        talk.send(bytes(plain + again + kept) + strange)
        talk.packet()

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        first, again, kept, strange = taken(connection, 4)
        connection.close()
    assert (first.topic, first.payload, first.is_repeat, first.is_retained) == (
        "a", b"x", False, False,
    )  # fmt: skip
    assert (again.is_repeat, kept.is_retained) == (True, True)
    assert strange.topic == "a\N{REPLACEMENT CHARACTER}"
    assert first.arrived >= 1000


def test_what_came_while_a_commit_took_long_has_waited(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its arrival tells nothing of the clock of who sent it."""
    was_prompt, is_sent = threading.Event(), threading.Event()

    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        while not was_prompt.wait(0.2):  # a silence, so that what comes then has not waited
            talk.send(wire.publish("a", b"prompt", 1))
        talk.send(wire.publish("a", b"late", 2))
        is_sent.set()
        while talk.packet():
            pass

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        while not (first := taken(connection, 1)[0]).is_prompt:
            connection.acknowledge()
        was_prompt.set()
        assert is_sent.wait(wire.WAIT_S)
        monkeypatch.setattr(connection_module, "STALL_S", 0.0)
        connection.acknowledge()
        *_, late = until_payload(connection, b"late")
        connection.close()
    assert first.payload == b"prompt"
    assert not late.is_prompt


def until_payload(connection: Connection, payload: bytes) -> list[Message]:
    """Return the messages up to one, not acknowledging any."""
    messages: list[Message] = []
    while not (messages and messages[-1].payload == payload):
        messages += taken(connection, 1)
    return messages


def test_a_message_of_qos_2_of_an_older_session_is_taken_and_completed() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(wire.publish("a", b"x", 9, qos=2))
        assert talk.expect(0x50)[:2] == b"\0\x09"  # PUBREC, section 4.3.3
        talk.send(b"\x62\x02\0\x09")  # PUBREL
        assert talk.expect(wire.PUBCOMP)[:2] == b"\0\x09"
        talk.packet()

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert [message.payload for message in taken(connection, 1)] == [b"x"]
        connection.acknowledge()
        connection.close()


def test_what_came_on_an_earlier_connection_is_not_acknowledged_on_a_later_one() -> None:
    def first(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(wire.publish("a", b"old", 5))

    def second(talk: Talk) -> None:
        talk.let_in(has_session=True)
        talk.subscribed()
        talk.send(wire.publish("a", b"new", 6))
        assert talk.acknowledged(1) == [6]
        packet = talk.packet()
        assert packet is None or packet[0] == wire.DISCONNECT

    with scripted(first, second) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert [message.payload for message in taken(connection, 1)] == [b"old"]
        until_lost(connection)
        connection.open(FILTERS)
        messages = taken(connection, 1)
        assert [message.payload for message in messages] == [b"new"]
        connection.acknowledge()
        connection.close()


def test_what_came_before_the_broker_was_killed_is_kept() -> None:
    """It has told the publisher that this is safe, and may have forgotten it when it is back."""
    has_read, is_gone = threading.Event(), threading.Event()

    def killed(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(wire.publish("a", b"first", 5))
        assert has_read.wait(wire.WAIT_S)
        talk.send(wire.publish("a", b"last", 6))
        talk.cut()
        is_gone.set()

    with scripted(killed) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert [message.payload for message in taken(connection, 1)] == [b"first"]
        has_read.set()
        assert is_gone.wait(wire.WAIT_S)
        connection.acknowledge()
        assert not connection.is_open
        assert connection.is_holding
        messages = connection.take(BOUNDS, NEVER, patience_s=0.5)
        assert [message.payload for message in messages] == [b"last"]
        assert (connection.is_holding, connection.owed) == (False, 0)


def test_acknowledgements_on_their_way_survive_the_goodbye() -> None:
    """A socket that is closed with something unread would cut the connection."""
    acknowledged = threading.Event()
    more = threading.Event()

    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(wire.publish("a", b"1", 1))
        acknowledged.wait(wire.WAIT_S)
        talk.send(wire.publish("a", b"2", 2) * 1000)
        more.set()
        assert talk.acknowledged(1) == [1]
        assert talk.expect(wire.DISCONNECT) is not None
        assert talk.packet() is None

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        taken(connection, 1)
        connection.acknowledge()
        acknowledged.set()
        more.wait(wire.WAIT_S)
        connection.close()
        assert not connection.is_open
        assert connection.lost is None


@pytest.mark.parametrize("version", VERSIONS)
def test_a_broker_that_sends_so_many_at_once_is_not_kept_waiting(version: Version) -> None:
    window, rounds = 20, 30

    def script(talk: Talk) -> None:
        talk.let_in(version)
        talk.subscribed(version)
        for _ in range(rounds):
            talk.send(b"".join(wire.publish("a", b"x", n + 1, version) for n in range(window)))
            talk.acknowledged(window)
        talk.packet()

    with scripted(script, version=version) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        for _ in range(rounds):
            assert len(taken(connection, window)) == window
            connection.acknowledge()
        connection.close()


def test_a_batch_ends_at_its_bounds() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        for n in range(400):
            talk.send(wire.publish("a", bytes(100), n + 1))
        while talk.packet():
            pass

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        messages: list[Message] = []
        while len(messages) < 400:
            batch = connection.take(Bounds(50, 1 << 20, 30.0), NEVER, patience_s=1.0)
            messages += batch
            connection.acknowledge()
        connection.close()
    assert len(messages) == 400


def test_stop_ends_a_wait() -> None:
    stop = threading.Event()

    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        stop.set()
        talk.packet()

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert connection.take(BOUNDS, stop, patience_s=600.0) == []
        connection.close()


@pytest.mark.parametrize(
    ("version", "code", "said", "is_lasting"),
    [
        # MQTT 5, section 3.2.2.2, and MQTT 3.1.1, section 3.2.2.3
        ("5", 0x84, "--mqtt 3.1.1", True),
        ("5", 0x85, "--client-id", True),
        ("5", 0x86, "refused user and password", True),
        ("5", 0x87, "ACL", True),
        ("5", 0x88, "not available", False),
        ("5", 0x89, "busy", False),
        ("5", 0x8A, "banned", True),
        ("5", 0x95, "Packet too large", False),
        ("3.1.1", 2, "--client-id", True),
        ("3.1.1", 3, "not available", False),
        ("3.1.1", 4, "refused user and password", True),
        ("3.1.1", 5, "ACL", True),
    ],
)
def test_a_refused_connection_says_why(
    version: Version, code: int, said: str, is_lasting: bool
) -> None:
    def script(talk: Talk) -> None:
        talk.let_in(version, code=code)

    with scripted(script, version=version) as broker, pytest.raises(BrokerError) as caught:
        connection_to(broker).open(FILTERS)
    assert said in str(caught.value)
    assert caught.value.is_lasting is is_lasting
    assert caught.value.where == broker.where


@pytest.mark.parametrize(("version", "code"), [("5", 0x87), ("3.1.1", 0x80)])
def test_a_refused_subscription_names_it(version: Version, code: int) -> None:
    def script(talk: Talk) -> None:
        talk.let_in(version)
        talk.subscribed(version, code)
        talk.packet()

    with scripted(script, version=version) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        lost = until_lost(connection)
    assert "bondtrail/quay/#" in str(lost)
    assert lost.is_lasting


@pytest.mark.parametrize(("version", "code"), [("5", 0x87), ("3.1.1", 0x80)])
def test_edge_nodes_that_nobody_named_may_be_refused(
    version: Version, code: int, caplog: pytest.LogCaptureFixture
) -> None:
    def script(talk: Talk) -> None:
        talk.let_in(version)
        talk.subscribed(version, code)
        talk.packet()

    with scripted(script, version=version) as broker:
        connection = connection_to(broker)
        connection.open(["spBv1.0/#"])
        while connection.is_open and not connection.is_subscribed:
            connection.take(BOUNDS, NEVER, patience_s=0.02)
        connection.close()
    assert connection.lost is None
    assert "[sparkplug] groups" in caplog.text


def test_another_client_of_our_name_is_told_from_a_broken_line() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(b"\xe0\x01\x8e")  # DISCONNECT, session taken over: section 3.14.2.1

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        lost = until_lost(connection)
    assert isinstance(lost, TakenOverError)
    assert "'listener'" in str(lost)


def test_a_broker_that_ends_the_connection_says_why() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(b"\xe0\x01\x8b")  # DISCONNECT, server shutting down

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        lost = until_lost(connection)
    assert "Server shutting down" in str(lost)
    assert not lost.is_lasting


def test_what_is_no_mqtt_ends_the_connection() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        talk.send(b"\x32\x03\x00\x09a")

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        assert "no MQTT" in str(until_lost(connection))


def test_a_session_that_the_broker_forgot_is_said(caplog: pytest.LogCaptureFixture) -> None:
    def script(talk: Talk) -> None:
        talk.let_in(has_session=False)
        talk.subscribed()

    with scripted(script, script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        until_lost(connection)
        with caplog.at_level(logging.WARNING):
            connection.open(FILTERS)
        until_lost(connection)
    assert "may be lost" in caplog.text


@pytest.mark.parametrize("version", VERSIONS)
def test_the_session_is_to_outlive_the_connection(version: Version) -> None:
    bodies: list[bytes] = []

    def script(talk: Talk) -> None:
        bodies.append(talk.let_in(version))
        talk.subscribed(version)
        talk.packet()

    with scripted(script, version=version) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        connection.close()
    flags = bodies[0][7]
    assert not flags & 0x02  # clean start (5) or clean session (3.1.1): section 3.1.2.4
    if version == "5":
        assert b"\x11\x00\x27\x8d\x00" in bodies[0]  # session expiry, 3.1.2.11.2: 30 days


def test_new_filters_are_subscribed_and_old_ones_no_more() -> None:
    def script(talk: Talk) -> None:
        talk.let_in()
        talk.subscribed()
        body = talk.expect(wire.SUBSCRIBE)
        assert body.endswith(b"\0\x03new\x11")  # QoS 1, retained only if it is new: 3.8.3.1
        talk.send(wire.suback("5", body[:2], 1))
        gone = talk.expect(0xA0)  # UNSUBSCRIBE
        assert gone.endswith(b"\0\x10bondtrail/quay/#")
        talk.send(b"\xb0\x04" + gone[:2] + b"\0\0")
        talk.packet()

    with scripted(script) as broker:
        connection = connection_to(broker)
        connection.open(FILTERS)
        connection.subscribe(["new"])
        assert not connection.is_subscribed
        while not connection.is_subscribed:
            connection.take(BOUNDS, NEVER, patience_s=0.02)
        connection.close()


def test_nobody_there_is_said() -> None:
    with scripted() as broker:
        pass  # its port is free again
    with pytest.raises(BrokerError, match="nobody listens there") as caught:
        connection_to(broker).open(FILTERS)
    assert not caught.value.is_lasting
