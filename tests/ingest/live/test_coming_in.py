from __future__ import annotations

import logging
import ssl
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from paho.mqtt.client import Client

from ingest.live.broker_url import Broker, Version, parse_broker
from ingest.live.connection import Connection
from ingest.live.paho_client import BufferedClient, new_client, tls_context
from ingest.live.sockets import BufferedSocket
from ingest.live.trouble import BrokerError
from tests.certificates import Certificates, make_certificates
from tests.services import MosquittoServer, mosquitto

SECRET = "s3cret-of-a-test"


@pytest.fixture(scope="module")
def papers(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return make_certificates(tmp_path_factory.mktemp("certificates"))


@pytest.fixture(scope="module")
def guarded(papers: Certificates) -> Iterator[MosquittoServer]:
    """A broker that speaks TLS and lets only those in who show a certificate."""
    with mosquitto(tls=papers, asks_certificate=True) as server:
        yield server


@pytest.fixture(scope="module")
def closed() -> Iterator[MosquittoServer]:
    """A broker that asks for user and password."""
    with mosquitto(users={"ann": SECRET}) as server:
        yield server


def came_in(broker: Broker) -> None:
    connection = Connection(broker, "listener", clock=time.time_ns)
    connection.open(["bondtrail/quay/#"])
    connection.close()


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_port_that_speaks_tls_is_hinted_at(guarded: MosquittoServer, version: Version) -> None:
    plain = parse_broker(f"mqtt://127.0.0.1:{guarded.port}", version=version)
    assert "write mqtts://" in str(refusal(plain))


def refusal(broker: Broker) -> BrokerError:
    with pytest.raises(BrokerError) as caught:
        came_in(broker)
    return caught.value


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_client_with_its_papers_comes_in(
    guarded: MosquittoServer, papers: Certificates, version: str
) -> None:
    client = papers.client
    came_in(
        Broker(
            "localhost", guarded.port, True, ca=papers.ca, cert=client.certificate, key=client.key,
            version=version,  # type: ignore[arg-type]
        )
    )  # fmt: skip


def test_a_broker_that_another_authority_signed_is_not_talked_to(
    guarded: MosquittoServer, papers: Certificates
) -> None:
    for ca in (papers.wrong_ca, None):
        found = refusal(Broker("localhost", guarded.port, True, ca=ca))
        assert "not trusted by" in str(found)
        assert found.is_lasting


def test_a_client_without_its_certificate_is_told_so(
    guarded: MosquittoServer, papers: Certificates
) -> None:
    found = refusal(Broker("localhost", guarded.port, True, ca=papers.ca))
    assert "--cert and --key" in str(found)


def test_a_port_without_tls_is_told_so(closed: MosquittoServer, papers: Certificates) -> None:
    assert "TLS" in str(refusal(Broker("localhost", closed.port, True, ca=papers.ca)))


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_user_and_password_are_asked_and_never_shown(
    closed: MosquittoServer, caplog: pytest.LogCaptureFixture, version: str
) -> None:
    caplog.set_level(logging.DEBUG)
    came_in(
        Broker("127.0.0.1", closed.port, user="ann", password=SECRET, version=version)  # type: ignore[arg-type]
    )
    wrong = Broker(
        "127.0.0.1", closed.port, user="ann", password=SECRET[::-1], version=version  # type: ignore[arg-type]
    )  # fmt: skip
    found = refusal(wrong)
    assert found.is_lasting
    assert "BONDTRAIL_BROKER_PASSWORD" in str(found)
    shown = caplog.text + str(found) + repr(wrong)
    assert SECRET not in shown
    assert SECRET[::-1] not in shown


@pytest.mark.parametrize(
    ("content", "named"), [(None, "--ca"), ("no certificate", "--ca")], ids=["missing", "other"]
)
def test_a_file_of_authorities_that_is_none_is_named(
    tmp_path: Path, content: str | None, named: str
) -> None:
    file = tmp_path / "ca.pem"
    if content is not None:
        file.write_text(content)
    with pytest.raises(BrokerError) as caught:
        tls_context(Broker("b", 1, True, ca=file))
    assert f"{named} {file} cannot be used" in str(caught.value)
    assert caught.value.is_lasting


def test_a_certificate_without_its_key_is_named(tmp_path: Path, papers: Certificates) -> None:
    broker = Broker(
        "b", 1, True, ca=papers.ca, cert=papers.client.certificate, key=tmp_path / "none.pem"
    )
    with pytest.raises(BrokerError, match="cannot be used: No such file"):
        tls_context(broker)


def test_old_versions_of_tls_are_not_spoken(papers: Certificates) -> None:
    context = tls_context(Broker("b", 1, True, ca=papers.ca))
    assert context.minimum_version is ssl.TLSVersion.TLSv1_2
    assert context.check_hostname
    assert context.verify_mode is ssl.CERT_REQUIRED


def test_paho_still_makes_its_socket_where_it_is_replaced(closed: MosquittoServer) -> None:
    """The one private method of paho that is overridden: an upgrade may move it."""
    assert "_create_socket" in vars(Client)
    client = new_client(
        Broker("127.0.0.1", closed.port), "x", BufferedClient, keeps_session=True, acknowledges=True
    )
    client.take_message = lambda *_: None
    client.connect("127.0.0.1", closed.port, 60, clean_start=False)
    assert isinstance(client.socket(), BufferedSocket)
    assert client.socket() is client.buffered
    client.disconnect()
