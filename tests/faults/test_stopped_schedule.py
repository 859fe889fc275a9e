"""The schedule stopped in the middle of an analysis: the next run ends where none was disturbed.

Each round brings late readings to every station, starts the schedule, and ends it when some
stations are judged and others are not: by kill -9, or by SIGTERM, which it must obey.
"""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from analytics.runs import analyse
from bondtrail.samples import Samples
from store import Store, open_store
from tests.analytics.core.build import OPEN, held, ns
from tests.analytics.workdays import DAY, HOUR, MINUTE, MONDAY, Results, site, told, workdays

ROOT = Path(__file__).parents[2]
STATIONS = [f"spot-{n:02}" for n in range(12)]
LATER = ns(MONDAY + 90 * DAY)
WAIT_S = 60.0
Keeper = subprocess.Popen[str]


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
    ("kind", "rounds"), [("sqlite", 4), ("postgresql", 3)], ids=["sqlite", "postgresql"]
)
def test_stopped_at_any_moment_it_ends_as_one_that_was_not(
    kind: str, rounds: int, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    url = (
        f"sqlite:///{tmp_path}/store.db"
        if kind == "sqlite"
        else str(request.getfixturevalue("postgres_url"))
    )
    moments = random.Random(5)
    with open_store(url) as store, keeper(url) as running:
        store.put_site(site(*STATIONS), 0)
        store.write(first_readings())
        half_way = 0
        for number in range(rounds):
            store.write(late_readings(number))
            deadly = number % 2 == 0
            left = stop_half_way(running, store, moments, deadly=deadly)
            half_way += 0 < left < len(STATIONS)
        assert half_way > 0, "every stop came before the first station or after the last"
        finish(running, store)
        found = told(store)
        assert store.check() == []
    assert found.findings
    assert repr(found) == repr(undisturbed(tmp_path, rounds))


@contextmanager
def keeper(url: str) -> Iterator[Keeper]:
    with subprocess.Popen(
        # By its path: an installed library may have a package named "tests" too.
        [sys.executable, str(Path(__file__).with_name("scheduling.py")), url],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        yield running


def stop_half_way(running: Keeper, store: Store, moments: random.Random, *, deadly: bool) -> int:
    """Start the schedule, end it at a moment of its work; return how many stations are left."""
    pid = started(running)
    enough = moments.randrange(1, len(STATIONS) - 3)
    until(lambda: len(store.waiting()) <= len(STATIONS) - enough, pid)
    time.sleep(moments.uniform(0, 0.01))
    os.kill(pid, signal.SIGKILL if deadly else signal.SIGTERM)
    assert ended(running) == (-signal.SIGKILL if deadly else 0)
    return len(store.waiting())


def finish(running: Keeper, store: Store) -> None:
    """Let the schedule come to the end of what is left."""
    pid = started(running)
    until(lambda: not store.waiting(), pid)
    os.kill(pid, signal.SIGTERM)
    assert ended(running) == 0


def started(running: Keeper) -> int:
    assert running.stdin is not None
    running.stdin.write("go\n")
    running.stdin.flush()
    return said(running, "pid")


def ended(running: Keeper) -> int:
    return said(running, "gone")


def said(running: Keeper, word: str) -> int:
    assert running.stdout is not None
    line = running.stdout.readline()
    assert line.startswith(word), line or "the schedule ended by itself"
    return int(line.split()[1])


def until(reached: Callable[[], bool], pid: int) -> None:
    give_up = time.monotonic() + WAIT_S
    while not reached():
        os.kill(pid, 0)  # raises if the schedule has ended by itself
        assert time.monotonic() < give_up, "the schedule does not get on"
        time.sleep(0.01)


def undisturbed(tmp_path: Path, rounds: int) -> Results:
    """What one analysis says of the same readings, none of them late."""
    with open_store(f"sqlite:///{tmp_path}/undisturbed.db") as store:
        store.put_site(site(*STATIONS), 0)
        store.write(first_readings())
        for number in range(rounds):
            store.write(late_readings(number))
        analyse(store, now=LATER)
        return told(store)
