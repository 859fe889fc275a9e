"""A million messages that wait at the broker, and a flood of what is no message at all."""

from __future__ import annotations

import time
from pathlib import Path

import psutil
import pytest

from store import open_store
from tests.commands import Commands
from tests.faults.listeners import fleet
from tests.faults.plant import POINTS, SITE_ID, hold_to, message, readings, stored
from tests.publishing import Publisher
from tests.services import KEEPS_ALL_IN_MEMORY, mosquitto

MOST_MEMORY = 300 << 20
MILLION = 1_000_000
GARBAGE = (
    b"",
    b"{",
    b"[" * 5000,
    b'{"t":1,"v":[]}',
    b'{"t":"yesterday","v":1}',
    b'{"t":1772431200000,"v":-1}',
    b'{"t":1772431200000}',
    b"\xff\xfe\x00",
    b'{"t":4102444800000,"v":1}',
)


@pytest.mark.timeout(600)
def test_a_million_that_waited_are_taken_in_bounded_memory(
    commands: Commands, tmp_path: Path
) -> None:
    url = f"sqlite:///{tmp_path}/store.db"
    with (
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker,
        fleet(commands, tmp_path, broker, url) as listeners,
    ):
        listeners.start().stop()  # its session stays, and the broker keeps what comes for it
        with Publisher(broker.port) as plant:
            assert plant.publish((message(n) for n in range(MILLION)), window=20_000) == MILLION
        begun = time.monotonic()
        listener = listeners.start(wait=False)
        process = psutil.Process(listener.pid)
        most = 0
        with open_store(url) as store:
            while (found := stored(store)) < MILLION:
                most = max(most, process.memory_info().rss)
                assert most < MOST_MEMORY, f"{most >> 20} MiB after {found} readings"
                assert time.monotonic() - begun < 400.0, f"{found} readings"
                time.sleep(0.2)
        seconds = time.monotonic() - begun
        print(f"{MILLION / seconds:.0f} messages/s, at most {most >> 20} MiB")
        listener.stop()
        hold_to(url, MILLION)


def test_garbage_beside_readings_is_counted_and_costs_none(
    commands: Commands, tmp_path: Path
) -> None:
    url = f"sqlite:///{tmp_path}/store.db"
    good, bad = 2000, 30_000
    with (
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker,
        fleet(commands, tmp_path, broker, url) as listeners,
    ):
        listener = listeners.start()
        process = psutil.Process(listener.pid)
        with Publisher(broker.port) as plant:
            for n in range(good):
                mess = (garbage(k) for k in range(n * bad // good, (n + 1) * bad // good))
                plant.send([message(n), *mess])
            plant.publish([])
        with open_store(url) as store:
            most = 0
            while stored(store) < good or sum(r.count for r in store.rejects()) < bad:
                most = max(most, process.memory_info().rss)
                assert listener.is_there, listener.said
                time.sleep(0.2)
            listener.stop()
            for point, expected in readings(good).items():
                assert store.read(point).time.tolist() == expected.time.tolist()
            rejects = store.rejects()
        assert len(rejects) <= 1001
        assert sum(reject.count for reject in rejects) == bad
        assert most < MOST_MEMORY
        assert "Traceback" not in listener.said
        assert len(listener.said) < 100_000


def garbage(number: int) -> tuple[str, bytes]:
    """Return one of many faults, on one of more topics than are remembered."""
    known = f"bondtrail/{SITE_ID}/{POINTS[number % 20].replace('.', '/')}"
    topic = known if number % 2 else f"bondtrail/{SITE_ID}/nowhere-{number % 3001}/flow"
    return topic, GARBAGE[number % len(GARBAGE)]
