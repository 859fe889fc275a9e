"""The broker as deploy/broker has it: who may come in, and who may write and read what."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from ingest.feeding.messages import Outgoing
from ingest.feeding.publisher import Publisher
from ingest.live.broker_url import Broker
from ingest.live.trouble import BrokerError
from tests.deploy.composed import ROOT, Machine, broker_files, fed
from tests.deploy.secrets import make_secrets
from tests.deploy.test_end_to_end import takes, waited_for
from tests.services import free_port


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Machine, int]]:
    """The broker of docker-compose.yml, without TLS."""
    folder, port = tmp_path_factory.mktemp("broker"), free_port()
    make_secrets(folder / "secrets", "gateway-1")
    swaps = broker_files(folder / "broker", port)
    made = Machine(folder, {**swaps, "/run/secrets/": f"{folder}/secrets/"})
    made.start("broker")
    waited_for("no broker", lambda: takes(port), made)
    yield made, port
    made.kill()


def signed_in(machine: tuple[Machine, int], user: str) -> Broker:
    made, port = machine
    password = made.folder / "secrets" / f"broker_password_{user}"
    return Broker("127.0.0.1", port, user=user, password=password.read_text().strip())


def test_nobody_but_listener_and_health_has_rules_by_default() -> None:
    acl = (ROOT / "deploy" / "broker" / "acl").read_text()
    assert re.findall(r"^user (.*)$", acl, re.MULTILINE) == ["listener", "health"]
    told = re.findall(r"^user (.*)$", fed(acl), re.MULTILINE)
    assert told == ["listener", "feed", "health"]


WRITES = [
    ("listener", "bondtrail/quay/$service/bondtrail-quay", True),
    ("listener", "spBv1.0/quay/NCMD/node", True),
    ("listener", "bondtrail/quay/bay-1/flow", False),
    ("listener", "spBv1.0/quay/DDATA/node/bay-1", False),
    ("feed", "bondtrail/quay/bay-1/flow", True),
    ("feed", "spBv1.0/quay/DDATA/feed/bay-1", True),
    ("feed", "bondtrail/quay/$service/bondtrail-quay", False),
    ("feed", "plant/anything", False),
    ("health", "bondtrail/quay/bay-1/flow", False),
    ("gateway-1", "bondtrail/my-site/bay-1/flow", False),  # no rules yet: nothing
]


@pytest.mark.parametrize(("user", "topic", "is_allowed"), WRITES)
def test_who_may_write_what(
    machine: tuple[Machine, int], user: str, topic: str, is_allowed: bool
) -> None:
    with Publisher(signed_in(machine, user), f"{user}-writes") as publisher:
        publisher.send(Outgoing(topic, b"{}", 1))
        publisher.finish()
    assert (publisher.messages, publisher.refused) == ((1, 0) if is_allowed else (0, 1))


PUBLISHED = {
    "data": ("feed", "bondtrail/quay/bay-1/flow"),
    "node": ("feed", "spBv1.0/quay/DDATA/feed/bay-1"),
    "status": ("listener", "bondtrail/quay/$service/bondtrail-quay"),
    "command": ("listener", "spBv1.0/quay/NCMD/feed"),
}


@pytest.mark.parametrize(
    ("user", "readable"),
    [
        ("listener", {"data", "node", "status", "command"}),
        ("feed", {"command"}),
        ("health", {"uptime"}),
        ("gateway-1", set()),
    ],
)
def test_who_may_read_what(machine: tuple[Machine, int], user: str, readable: set[str]) -> None:
    names = {topic: name for name, (_, topic) in PUBLISHED.items()}
    names["$SYS/broker/uptime"] = "uptime"
    came: set[str] = set()
    with reading(signed_in(machine, user), came):
        for writer in ("feed", "listener"):
            with Publisher(signed_in(machine, writer), f"{writer}-for-{user}") as publisher:
                for by, topic in PUBLISHED.values():
                    if by == writer:
                        publisher.send(Outgoing(topic, b"{}", 1))
                publisher.finish()
    assert {names[topic] for topic in came} == readable


@contextmanager
def reading(broker: Broker, came: set[str]) -> Iterator[None]:
    """Ask for everything while the block lasts; what was delivered by its end is in ``came``.

    The broker lets everyone subscribe and looks at its rules when it delivers. It answers in
    order: what is delivered at all is here before the answer to the last word.
    """
    client = Client(CallbackAPIVersion.VERSION2, client_id=f"{broker.user}-reads")
    client.username_pw_set(broker.user, broker.password)
    asked, done = threading.Event(), threading.Event()
    client.on_connect = lambda *_: client.subscribe([("#", 1), ("$SYS/broker/uptime", 1)])
    client.on_subscribe = lambda *_: asked.set()
    client.on_unsubscribe = lambda *_: done.set()
    client.on_message = lambda _, __, message: came.add(message.topic)
    client.connect(broker.host, broker.port)
    client.loop_start()
    assert asked.wait(30)
    yield
    client.unsubscribe("#")
    assert done.wait(30)
    client.disconnect()
    client.loop_stop()


@pytest.mark.parametrize(
    ("user", "password"), [(None, None), ("listener", "listener"), ("listener", ""), ("no", "no")]
)
def test_nobody_comes_in_without_the_password(
    machine: tuple[Machine, int], user: str | None, password: str | None
) -> None:
    broker = Broker("127.0.0.1", machine[1], user=user, password=password)
    with (
        pytest.raises(BrokerError, match="check BONDTRAIL_BROKER_USER"),
        Publisher(broker, "nobody"),
    ):
        pass


def test_what_waits_survives_a_restart_of_the_broker(machine: tuple[Machine, int]) -> None:
    made, port = machine
    assert made.stop("broker") == 0
    assert (Path(made.folder) / "broker" / "data" / "mosquitto.db").stat().st_size > 0
    made.start("broker")
    waited_for("no broker", lambda: takes(port), made)
    with Publisher(signed_in(machine, "feed"), "again") as publisher:
        publisher.finish()
