"""`run` and `analyse --every`: what they wait for, what they refuse, and how they end."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from bondtrail.cli import schedule
from bondtrail.cli.faults import Fault
from bondtrail.cli.listen import site_settler
from bondtrail.times import format_time
from store import NotAStoreError, StoreUnavailableError, open_store
from tests.publishing import Publisher
from tests.services import MosquittoServer, free_port
from tests.waiting import LONG_S, until

Run = Callable[..., Any]
ANYWHERE = ("--health", "127.0.0.1:0")
NOWHERE = ("--health", "off")


@pytest.fixture(autouse=True)
def in_this_process(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The log of the tests stays theirs, and a signal that comes too late does no harm."""
    monkeypatch.setattr("bondtrail.logs.log_plainly", lambda *_, **__: None)
    before = signal.signal(signal.SIGTERM, lambda *_: None)
    yield
    signal.signal(signal.SIGTERM, before)


@contextmanager
def meanwhile(action: Callable[[], None]) -> Iterator[list[BaseException]]:
    """Do something while the block goes on in this thread; then tell this process to end."""
    faults: list[BaseException] = []

    def do() -> None:
        try:
            action()
        except BaseException as exc:
            faults.append(exc)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)

    thread = threading.Thread(target=do)
    thread.start()
    try:
        yield faults
    finally:
        thread.join(LONG_S)


def answer(url: str) -> tuple[int, str]:
    try:
        with urllib.request.urlopen(url, timeout=LONG_S) as found:
            return found.status, found.read().decode()
    except urllib.error.HTTPError as exc:
        with exc:
            return exc.code, exc.read().decode()
    except OSError:
        return 0, ""


# Together.


def test_all_parts_work_until_it_is_told_to_stop(
    run: Run, folder: Path, site_file: str, broker: MosquittoServer
) -> None:
    health, board = free_port(), free_port()
    url = f"sqlite:///{folder / 'bondtrail.db'}"

    def ready() -> bool:
        return answer(f"http://127.0.0.1:{health}/readyz")[0] == 200

    def look() -> None:
        until(ready)
        until(lambda: answer(f"http://127.0.0.1:{health}/healthz")[0] == 200)
        reading = json.dumps({"t": format_time(time.time_ns()), "v": 2.5})
        topic = "bondtrail/test-site/bay-1/resistance"
        with Publisher(broker.port) as publisher:
            publisher.publish([(topic, reading.encode())])
        until(taken)
        until(lambda: answer(f"http://127.0.0.1:{board}/")[0] == 200)
        with open_store(url) as store:
            until(lambda: {job.name for job in store.jobs.all()} >= {"analyse", "fold", "silence"})

    def taken() -> str:
        told = answer(f"http://127.0.0.1:{health}/metrics")[1]
        found = re.search(r'^bondtrail_samples_total\{outcome="new"\} 1\.0$', told, re.MULTILINE)
        return found[0] if found else ""

    where = ("--broker", broker.url, "--client-id", "test-run", "--port", str(board))
    with meanwhile(look) as faults:
        told = run("run", *where, "--health", f"127.0.0.1:{health}", "--site", site_file)
    assert faults == []
    assert told.status == 0
    assert f"Listening to {broker.url} as test-run (Ctrl-C ends it)" in told.out
    assert f"The board is at http://127.0.0.1:{board}/ (Ctrl-C ends it)" in told.out
    assert told.out.splitlines()[-1] == "Stopped; all that was committed is acknowledged."
    with open_store(url) as store:
        assert store.read("bay-1.resistance").value.tolist() == [2.5]


def test_a_broker_that_is_away_is_waited_for(run: Run, site_file: str) -> None:
    health = free_port()
    checks: dict[str, str] = {}

    def look() -> None:
        until(lambda: asked() and "waiting for the broker" in checks["broker"])
        until(lambda: asked() and checks["schedule"] == checks["store"] == "ok")

    def asked() -> bool:
        told = answer(f"http://127.0.0.1:{health}/readyz")[1]
        checks.update(json.loads(told)["checks"] if told else {})
        return bool(checks)

    where = ("--broker", f"mqtt://127.0.0.1:{free_port()}", "--port", "0")
    with meanwhile(look) as faults:
        told = run("run", *where, "--health", f"127.0.0.1:{health}", "--site", site_file)
    assert faults == []
    assert told.status == 0
    assert checks["broker"] == "waiting for the broker"
    assert checks["listener"] == checks["schedule"] == checks["store"] == "ok"


def test_a_port_of_the_board_that_is_taken_ends_it(
    run: Run, site_file: str, broker: MosquittoServer
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        where = ("--broker", broker.url, "--client-id", "test-taken", "--port", port)
        told = run("run", *where, *NOWHERE, "--site", site_file)
    assert told.status == 2
    assert f"cannot listen on 127.0.0.1 port {port}" in told.err


BROKER = ("--broker", "mqtt://127.0.0.1:1")


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        pytest.param(("run",), "no broker to talk to", id="no-broker"),
        pytest.param(("run", *BROKER), "Name a site file by --site to begin one", id="no-store"),
        pytest.param(("analyse", "--every", "60s"), "no store at", id="every-no-store"),
        pytest.param(("analyse", "--every", "60"), "'60' has no unit", id="no-unit"),
        pytest.param(("analyse", "--every", "60 ohm"), "such as 60s or 5min", id="other-unit"),
        pytest.param(("analyse", "--every", "1m"), "such as 60s or 5min", id="metres"),
        pytest.param(("analyse", "--every", "0.5s"), "not between 1 second", id="too-often"),
        pytest.param(("analyse", "--every", "2h"), "and 1 hour", id="too-seldom"),
        pytest.param(("analyse", "--every", "60s", "--all"), "--every judges what is", id="all"),
    ],
)
def test_what_cannot_be_done_is_said(
    run: Run, folder: Path, arguments: tuple[str, ...], expected: str
) -> None:
    told = run(*arguments, *NOWHERE)
    assert told.status == 2
    assert expected in told.err
    assert not (folder / "bondtrail.db").exists()


@pytest.mark.parametrize(
    ("address", "expected"),
    [("nowhere", "'nowhere' is no HOST:PORT"), ("192.0.2.1:8711", "cannot listen there")],
)
def test_an_address_of_health_that_cannot_be_is_refused(
    run: Run, site_file: str, address: str, expected: str
) -> None:
    told = run("analyse", "--every", "60s", "--site", site_file, "--health", address)
    assert told.status == 2
    assert expected in told.err


def test_others_need_to_sign_in_at_the_board(run: Run, site_file: str) -> None:
    told = run("run", *BROKER, *NOWHERE, "--site", site_file, "--host", "0.0.0.0")
    assert told.status == 2
    assert "bondtrail user add" in told.err


# The schedule alone.


@pytest.mark.parametrize("every", ["2s", "1 min", "500 ms", "0.02 h"])
def test_times_with_their_unit(every: str) -> None:
    expected = {"2s": 2.0, "1 min": 60.0, "0.02 h": 72.0}
    option = schedule.Every()
    if every in expected:
        assert option.convert(every, None, None) == pytest.approx(expected[every])
    else:
        with pytest.raises(Exception, match="not between"):
            option.convert(every, None, None)


def test_the_schedule_alone_says_how_it_is_and_ends_when_told(
    run: Run, folder: Path, site_file: str
) -> None:
    def look() -> None:
        until(lambda: (folder / "bondtrail.db.analyse.lock").exists())

    with meanwhile(look) as faults:
        told = run("analyse", "--every", "2s", "--site", site_file, *ANYWHERE)
    assert (faults, told.status) == ([], 0)
    assert told.out == "Judging what is new every 2 s (Ctrl-C ends it)\nStopped.\n"
    assert re.search(r"health and figures are at http://127\.0\.0\.1:\d+/", told.err)


# A store that is away.


class Opened:
    """A store that is opened, as far as a wait needs one."""

    def close(self) -> None:
        pass


def test_a_database_that_is_away_is_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schedule, "_FIRST_WAIT_S", 0.01)
    tries: list[bool] = []

    def open_it() -> Any:
        tries.append(True)
        if len(tries) < 3:
            raise StoreUnavailableError("the store", "it does not answer")
        return Opened()

    assert schedule.wait_for_store(open_it, threading.Event())
    assert len(tries) == 3


def test_a_stop_ends_the_wait() -> None:
    stop = threading.Event()

    def open_it() -> Any:
        stop.set()
        raise StoreUnavailableError("the store", "it does not answer")

    assert not schedule.wait_for_store(open_it, stop)


def held_by_something_else() -> Any:
    raise NotAStoreError("x", "it holds something else")


@pytest.mark.parametrize(
    ("open_it", "fault"),
    [
        pytest.param(site_settler("sqlite:////gone/x.db", None, None), Fault, id="no-folder"),
        pytest.param(held_by_something_else, NotAStoreError, id="not-ours"),
    ],
)
def test_what_waiting_does_not_mend_is_not_waited_for(
    open_it: Callable[[], Any], fault: type[Exception]
) -> None:
    with pytest.raises(fault):
        schedule.wait_for_store(open_it, threading.Event())
