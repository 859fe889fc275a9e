"""PostgreSQL killed by -9, and away for twenty seconds, under a steady stream.

The listener makes the pauses here that it makes anywhere.
"""

from __future__ import annotations

import time
from pathlib import Path

import psutil

from tests import waiting
from tests.commands import Commands
from tests.faults.listeners import PATIENT, fleet, statuses, until
from tests.faults.plant import hold_to, publishing, wait_until_stored
from tests.services import KEEPS_ALL_IN_MEMORY, mosquitto, postgres_server

OUTAGE_S = 20.0
MOST_GROWTH = 50 << 20


def test_killed_and_away_for_twenty_seconds(commands: Commands, tmp_path: Path) -> None:
    with (
        postgres_server() as database,
        mosquitto(lines=KEEPS_ALL_IN_MEMORY) as broker,
        fleet(commands, tmp_path, broker, database.new_database(), settings=PATIENT) as listeners,
        statuses(broker) as heard,
    ):
        listener = listeners.start()
        process = psutil.Process(listener.pid)
        with publishing(broker.port, 1000) as plant:
            wait_until_stored(listeners.store_url, 500)
            database.kill()
            time.sleep(1.0)
            database.start()
            wait_until_stored(listeners.store_url, plant.acknowledged)
            database.stop()
            before = process.memory_info().rss
            time.sleep(OUTAGE_S)
            waited_with = process.memory_info().rss
            database.start()
            count = plant.finish()
        wait_until_stored(listeners.store_url, count)
        until(lambda: heard and heard[-1] == "listening", "it to say that it listens", listener)
        listener.stop()
        waiting.until(lambda: heard[-1] == "stopped", "its last word")
        hold_to(listeners.store_url, count)
        assert waited_with - before < MOST_GROWTH
    assert "waiting for the store" in heard
    assert "waiting for the store: postgresql://bondtrail@127.0.0.1" in listener.said
    assert "the database does not answer" in listener.said
