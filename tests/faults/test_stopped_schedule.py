"""The schedule stopped in the middle of an analysis: the next run ends where none was disturbed.

Each round brings late readings to every station, starts the schedule, and ends it when some
stations are judged and others are not: by kill -9, or by SIGTERM, which it must obey.
"""

from __future__ import annotations

import random
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from analytics.runs import analyse
from bondtrail.samples import Samples
from store import Store, open_store
from tests.analytics.core.build import OPEN, held, ns
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, Results, site, told, workdays
from tests.commands import Command, Commands
from tests.waiting import LONG_S

STATIONS = [f"spot-{n:02}" for n in range(12)]
LATER = ns(MONDAY + 90 * DAY)
MOST_ROUNDS = 12


def first_readings() -> dict[str, Samples]:
    """Two days at every spot, with a bond that is too high on one of them."""
    batch: dict[str, Samples] = {}
    for number, station in enumerate(STATIONS):
        batch |= workdays(2.0, 12.0 if number % 3 else 4.0, station=station)
    return batch


def late_readings(number: int) -> dict[str, Samples]:
    """A loss of the bond on either day that was not known before, at another time each round."""
    at = MONDAY + (number % 2) * DAY + 8 * HOUR + (12 + 3 * number) * MINUTE + 30
    lost = held((20, OPEN), (5, 3.0), start=at)
    return {f"{station}.resistance": lost for station in STATIONS}


@pytest.mark.parametrize(
    ("kind", "stops"), [("sqlite", 3), ("postgresql", 2)], ids=["sqlite", "postgresql"]
)
def test_stopped_at_any_moment_it_ends_as_one_that_was_not(
    kind: str, stops: int, request: pytest.FixtureRequest, commands: Commands, tmp_path: Path
) -> None:
    url = (
        f"sqlite:///{tmp_path}/store.db"
        if kind == "sqlite"
        else str(request.getfixturevalue("postgres_url"))
    )
    moments = random.Random(5)
    keeper = Keeper(commands, url, tmp_path / "keeper.log")
    with open_store(url) as store:
        store.put_site(site(*STATIONS), 0)
        store.write(first_readings())
        rounds = half_way = 0
        while half_way < stops:
            assert rounds < MOST_ROUNDS, (
                "most stops came before the first station or after the last"
            )
            store.write(late_readings(rounds))
            left = keeper.stop_half_way(store, moments, deadly=half_way % 2 == 0)
            half_way += 0 < left < len(STATIONS)
            rounds += 1
        keeper.finish(store)
        found = told(store)
        assert store.check() == []
    assert found.findings
    assert repr(found) == repr(undisturbed(tmp_path, rounds))


@dataclass
class Keeper:
    """Keeps the schedule of a store, as ``bondtrail analyse --every`` does."""

    commands: Commands
    url: str
    log: Path

    def start(self) -> Command:
        """Judge what is new, and look every second, until it is told to stop."""
        words = ["analyse", "--every", "1s", "--health", "off", "--db", self.url]
        return self.commands.start(words, self.log.parent, out=self.log)

    def stop_half_way(self, store: Store, moments: random.Random, *, deadly: bool) -> int:
        """Start it, end it at a moment of its work; return how many stations are left."""
        running = self.start()
        enough = moments.randrange(1, len(STATIONS) - 3)
        gets_on(running, lambda: len(store.waiting()) <= len(STATIONS) - enough)
        time.sleep(moments.uniform(0, 0.01))
        running.send_signal(signal.SIGKILL if deadly else signal.SIGTERM)
        assert running.wait() == (-signal.SIGKILL if deadly else 0), running.said
        return len(store.waiting())

    def finish(self, store: Store) -> None:
        """Let it come to the end of what is left."""
        running = self.start()
        gets_on(running, lambda: not store.waiting())
        running.send_signal(signal.SIGTERM)
        assert running.wait() == 0, running.said


def gets_on(running: Command, reached: Callable[[], bool]) -> None:
    """Wait until the schedule has come so far."""
    give_up = time.monotonic() + LONG_S
    while not reached():
        assert running.poll() is None, f"it ended by itself:\n{running.said}"
        assert time.monotonic() < give_up, f"it does not get on:\n{running.said}"
        time.sleep(0.005)


def undisturbed(tmp_path: Path, rounds: int) -> Results:
    """What one analysis says of the same readings, none of them late."""
    with open_store(f"sqlite:///{tmp_path}/undisturbed.db") as store:
        store.put_site(site(*STATIONS), 0)
        store.write(first_readings())
        for number in range(rounds):
            store.write(late_readings(number))
        analyse(store, now=LATER)
        return told(store)
