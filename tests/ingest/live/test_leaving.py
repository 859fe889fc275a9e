from __future__ import annotations

import pytest

from ingest.live.broker_url import Version, parse_broker
from ingest.live.leaving import leave
from ingest.live.trouble import BrokerError
from tests.ingest.live.scripted import Talk, scripted
from tests.publishing import Publisher, keep_session
from tests.services import MosquittoServer, free_port

STATUS = "bondtrail/quay/$service/old"


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_broker_forgets_who_leaves_and_what_it_kept(
    broker: MosquittoServer, version: Version
) -> None:
    name = f"old-{version}"
    keep_session(broker.port, name, "left/#")
    with Publisher(broker.port, "before") as publisher:
        publisher.publish([("left/a", b"1"), ("left/a", b"2")])
    at = parse_broker(broker.url, version=version)
    assert leave(at, name, STATUS)
    assert not leave(at, name, STATUS)


def test_what_it_told_of_itself_is_forgotten_too() -> None:
    said: list[bytes] = []

    def first(talk: Talk) -> None:
        talk.let_in(has_session=True)
        while talk.packet():
            pass

    def second(talk: Talk) -> None:
        talk.let_in()
        kind, body = talk.packet() or (0, b"")
        said.append(bytes([kind]) + body)
        end = 2 + len(STATUS)
        talk.send(b"\x40\x02" + body[end : end + 2])
        while talk.packet():
            pass

    with scripted(first, second) as at:
        assert leave(at, "old", STATUS)
    name = len(STATUS).to_bytes(2, "big") + STATUS.encode()
    assert said[0][:1] == b"\x33"  # PUBLISH, QoS 1, retained: section 3.3.1
    assert said[0][1 : 1 + len(name)] == name
    assert said[0][1 + len(name) + 2 :] == b"\0"  # no properties and nothing else: it is cleared


def test_a_broker_that_is_away_or_refuses_is_said() -> None:
    with pytest.raises(BrokerError, match="nobody listens there"):
        leave(parse_broker(f"mqtt://127.0.0.1:{free_port()}"), "old", STATUS)

    def script(talk: Talk) -> None:
        talk.let_in(code=0x86)

    with (
        scripted(script) as at,
        pytest.raises(BrokerError, match="refused user"),
    ):
        leave(at, "old", STATUS)
