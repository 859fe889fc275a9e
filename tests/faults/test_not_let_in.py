"""A broker that does not let the listener in: it says why, waits or ends, and tells no secret."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.certificates import Certificates, make_certificates
from tests.commands import Commands
from tests.faults.listeners import SHORT_PAUSES, Fleet, Listener, fleet, until
from tests.faults.plant import hold_to, publishing, wait_until_stored
from tests.services import MosquittoServer, mosquitto

USERS = {"listener": "winter-anchor-52", "plant": "summer-buoy-17"}
WRONG = "autumn-cleat-88"
RULES = """
user plant
topic write bondtrail/#
user listener
topic read bondtrail/#
topic read spBv1.0/#
topic write bondtrail/quay/$service/#
"""
SETTINGS = SHORT_PAUSES | {
    # It doubts that it may read only when it has told its status, which it does every 30 s, and
    # not heard it for 5 s.
    "ingest.live.status.BEAT_S": 1.5,
    "ingest.live.rounds.ECHO_S": 1.0,
    "ingest.live.rounds.QUIET_S": 1.0,
}
ENVIRONMENT = {
    "BONDTRAIL_BROKER_USER": "listener",
    "BONDTRAIL_BROKER_PASSWORD": USERS["listener"],
}


@pytest.fixture
def certificates(tmp_path: Path) -> Certificates:
    return make_certificates(tmp_path)


@pytest.fixture
def strict(certificates: Certificates) -> Iterator[MosquittoServer]:
    """A broker with TLS, users and rules."""
    with mosquitto(users=USERS, acl=RULES, tls=certificates) as server:
        yield server


@pytest.fixture
def listeners(commands: Commands, tmp_path: Path, strict: MosquittoServer) -> Iterator[Fleet]:
    with fleet(commands, tmp_path, strict, f"sqlite:///{tmp_path}/store.db", SETTINGS) as started:
        yield started
        for listener in started.started:
            for secret in (*USERS.values(), WRONG):
                assert secret not in listener.said


def test_at_the_start_it_ends_and_says_why(
    listeners: Fleet, strict: MosquittoServer, certificates: Certificates
) -> None:
    wrong = ENVIRONMENT | {"BONDTRAIL_BROKER_PASSWORD": WRONG}
    refused = [
        ("not trusted by --ca", certificates.wrong_ca, ENVIRONMENT),
        ("BONDTRAIL_BROKER_PASSWORD", certificates.ca, wrong),
        ("BONDTRAIL_BROKER_PASSWORD", certificates.ca, {"BONDTRAIL_BROKER_USER": "listener"}),
    ]
    started = [
        (words, listeners.start("--ca", str(ca), wait=False, environment=environment))
        for words, ca, environment in refused
    ]
    for words, listener in started:
        assert listener.command.wait() == 2
        assert f"mqtts://listener@127.0.0.1:{strict.port}" in listener.said
        assert words in listener.said
        assert "Traceback" not in listener.said
        assert len(listener.said.splitlines()) <= 6


READS = "topic read bondtrail/#\n"
TELLS = "topic write bondtrail/quay/$service/#\n"


@pytest.mark.parametrize(
    ("version", "taken", "words"),
    [
        pytest.param("5", [READS], "may not let this user read (ACL)", id="to-read"),
        pytest.param("5", [READS, TELLS], "cannot be told while nothing comes (ACL)", id="all-5"),
        pytest.param(
            "3.1.1", [READS, TELLS], "cannot be told while nothing comes (ACL)", id="all-3.1.1"
        ),
    ],
)
def test_a_right_that_is_taken_away_is_told(
    listeners: Fleet,
    strict: MosquittoServer,
    certificates: Certificates,
    version: str,
    taken: list[str],
    words: str,
) -> None:
    # mosquitto 2.0 agrees to every subscription, whatever its rules say, and delivers nothing. A
    # status that it does not take it refuses on MQTT 5, and ends the connection on either.
    how = ("--ca", str(certificates.ca), "--mqtt", version)
    listener = listeners.start(*how, environment=ENVIRONMENT)
    strict.stop()
    for right in taken:
        strict.acl = strict.acl.replace(right, "")
    strict.start()
    listener.wait_for(words)
    before = listener.said.count(" listening\n")
    assert listener.said.count("the status cannot be told") <= 1
    strict.acl = RULES
    strict.reload()
    listener.wait_for(" listening\n", times=before + 1)  # it doubts no more
    carries_on(listeners, listener, certificates)


def test_a_user_that_is_taken_away_is_waited_for(
    listeners: Fleet, strict: MosquittoServer, certificates: Certificates
) -> None:
    listener = listeners.start("--ca", str(certificates.ca), environment=ENVIRONMENT)
    strict.users = {"plant": USERS["plant"]}
    strict.reload()
    listener.wait_for("check BONDTRAIL_BROKER_USER")
    assert "waiting for the broker" in listener.said
    assert "another client may have the client id" not in listener.said
    strict.users = USERS
    strict.reload()
    listener.wait_for(" listening\n", times=2)
    carries_on(listeners, listener, certificates)


def carries_on(listeners: Fleet, listener: Listener, certificates: Certificates) -> None:
    """What is published from now on is stored."""
    who = {"user": "plant", "password": USERS["plant"], "ca": certificates.ca}
    with publishing(listeners.broker.port, 500, **who) as plant:
        until(lambda: plant.acknowledged > 200, "the plant", listener)
        count = plant.finish()
    wait_until_stored(listeners.store_url, count)
    listener.stop()
    hold_to(listeners.store_url, count)
