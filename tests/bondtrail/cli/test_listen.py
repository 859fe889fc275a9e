from __future__ import annotations

import json
import logging
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from store import open_store
from tests.bondtrail.cli.conftest import Run
from tests.commands import Commands
from tests.publishing import Publisher, keep_session
from tests.services import MosquittoServer, mosquitto
from tests.waiting import until

SECRET = "s3cret-of-a-test"
NOBODY = "mqtt://127.0.0.1:1"


@pytest.fixture(autouse=True)
def no_setting(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("", "_USER", "_PASSWORD", "_PASSWORD_FILE", "_CA", "_CERT", "_KEY"):
        monkeypatch.delenv(f"BONDTRAIL_BROKER{name}", raising=False)
    for name in ("PASSWORD", "PASSWORD_FILE"):
        monkeypatch.delenv(f"BONDTRAIL_DB_{name}", raising=False)


@pytest.fixture(autouse=True)
def log_of_the_tests_stays() -> Iterator[None]:
    root = logging.getLogger()
    handlers, level = list(root.handlers), root.level
    yield
    root.handlers = handlers
    root.setLevel(level)


@pytest.fixture(scope="module")
def closed() -> Iterator[MosquittoServer]:
    """A broker that asks for user and password."""
    with mosquitto(users={"ann": SECRET}) as server:
        yield server


def test_a_listener_as_a_process_stores_says_so_and_stops_in_order(
    broker: MosquittoServer, commands: Commands, site_file: str, folder: Path
) -> None:
    words = ["listen", "--broker", broker.url, "--site", site_file, "--client-id", "cli-listener"]
    process = commands.start(
        [*words, "--health", "off"], folder, out=folder / "out", err=folder / "err"
    )
    begun = f"Listening to {broker.url} as cli-listener (Ctrl-C ends it)\n"
    until(lambda: begun in process.said or process.poll() is not None, "the listener")
    with Publisher(broker.port, "cli-publisher") as publisher:
        reading = json.dumps({"t": "2026-03-01T06:15:30Z", "v": 2.5}).encode()
        publisher.publish([("bondtrail/test-site/bay-1/resistance", reading)])
    # The broker has it; a listener that is told to stop first would leave it there.
    with open_store(f"sqlite:///{folder / 'bondtrail.db'}") as store:
        until(lambda: len(store.read("bay-1.resistance")), "the reading in the store")
    process.send_signal(signal.SIGTERM)
    assert process.wait() == 0
    assert process.out.read_text() == begun + "Stopped; all that was committed is acknowledged.\n"
    assert "Z INFO    ingest.live.standing: stopped" in process.err.read_text()
    with open_store(f"sqlite:///{folder / 'bondtrail.db'}") as store:
        assert store.read("bay-1.resistance").value.tolist() == [2.5]


def test_a_listener_that_does_not_come_back_leaves(
    run: Run, broker: MosquittoServer, site_file: str
) -> None:
    leave = ("listen", "--leave", "--broker", broker.url, "--site", site_file)
    name = "bondtrail-test-site"
    keep_session(broker.port, name, "left/#")
    done = run(*leave)
    assert (done.status, done.out) == (
        0,
        f"{broker.url} has forgotten {name}; what it still kept for it is discarded.\n",
    )
    assert run(*leave).out == f"{broker.url} knows no {name}: nothing was kept for it.\n"
    other = run(*leave, "--client-id", "other")
    assert other.out == f"{broker.url} knows no other: nothing was kept for it.\n"
    assert "no store at" in run("listen", "--leave", "--broker", broker.url).err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "no broker to talk to"),
        (["--broker", "127.0.0.1"], "write mqtt://HOST:PORT"),
        (["--broker", NOBODY, "--ca", "ca.pem"], "go with mqtts://"),
        (["--broker", NOBODY, "--client-id", "a/b"], "--client-id 'a/b': expected a name"),
        (["--broker", NOBODY, "--share", "#"], "--share '#': expected a name"),
        (["--broker", NOBODY, "--db", "mysql://x"], "no address of a store"),
        (["--broker", NOBODY, "--db", "sqlite:////no/folder/x.db"], "folder"),
    ],
)
def test_what_cannot_be_is_said_at_once(
    run: Run, site_file: str, arguments: list[str], said: str
) -> None:
    done = run("listen", "--site", site_file, "--health", "off", *arguments)
    assert done.status == 2
    assert said in done.err


@pytest.mark.parametrize("version", ["5", "3.1.1"])
def test_a_wrong_password_ends_it_and_is_not_shown(
    run: Run,
    site_file: str,
    folder: Path,
    closed: MosquittoServer,
    monkeypatch: pytest.MonkeyPatch,
    version: str,
) -> None:
    wrong = SECRET[::-1]
    (folder / "word").write_text(wrong + "\n")
    monkeypatch.setenv("BONDTRAIL_BROKER_USER", "ann")
    monkeypatch.setenv("BONDTRAIL_BROKER_PASSWORD_FILE", "word")
    done = run(
        "listen", "--site", site_file, "--health", "off", "--broker", closed.url, "--mqtt", version
    )
    assert done.status == 2
    assert f"mqtt://ann@127.0.0.1:{closed.port}: the broker does not let this user in" in done.err
    assert wrong not in done.out + done.err


def test_a_secret_that_cannot_be_read_is_said(
    run: Run, site_file: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BONDTRAIL_BROKER_PASSWORD_FILE", "nowhere")
    done = run("listen", "--site", site_file, "--broker", NOBODY)
    assert done.status == 2
    assert "BONDTRAIL_BROKER_PASSWORD_FILE: nowhere: No such file" in done.err


def test_a_store_password_that_cannot_be_read_is_said_by_every_command(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("BONDTRAIL_DB_PASSWORD_FILE", "nowhere")
    done = run("show", "points", "--db", "postgresql://ann@127.0.0.1/plant")
    assert done.status == 2
    assert "BONDTRAIL_DB_PASSWORD_FILE: nowhere: No such file" in done.err
