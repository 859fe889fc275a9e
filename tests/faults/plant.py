"""An invented plant that publishes, and what the broker told it is safe.

That is the truth a store is held to: every reading that the broker has acknowledged, once.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np

from bondtrail.samples import Samples
from store import Store, StoreError, open_store
from tests.publishing import Publisher, RefusedError

STATIONS = [f"spot-{n:02}" for n in range(20)]
POINTS = [f"{station}.resistance" for station in STATIONS]
SITE_ID = "quay"
SITE = f"""
schema = 1
[site]
id = "{SITE_ID}"
name = "A quay (invented)"
timezone = "UTC"
""" + "".join(
    f"""
[[station]]
id = "{station}"
name = "{station}"
kind = "road_tanker"
points = {{ resistance = {{ unit = "ohm" }} }}
"""
    for station in STATIONS
)

BEGIN_MS = 1_772_431_200_000
"""2026-03-02T06:00:00Z."""
_WINDOW = 5_000
_AT_ONCE = 100
_LONGEST_STANDSTILL_S = 90.0


def message(number: int) -> tuple[str, bytes]:
    """Return the topic and payload of a reading; no two readings are at the same time."""
    station = STATIONS[number % len(STATIONS)]
    payload = b'{"t":%d,"v":%d.25,"q":0}' % (BEGIN_MS + number, number % 1000)
    return f"bondtrail/{SITE_ID}/{station}/resistance", payload


def readings(count: int) -> dict[str, Samples]:
    """Return the readings of the first ``count`` messages, by point."""
    found = {}
    for first, point in enumerate(POINTS):
        numbers = np.arange(first, count, len(POINTS))
        found[point] = Samples.of((BEGIN_MS + numbers) * 1_000_000, numbers % 1000 + 0.25)
    return found


class Plant(threading.Thread):
    """Publishes one reading after the other, and again what a broken connection left open.

    Attributes
    ----------
    acknowledged : int
        How many readings the broker has taken: the first so many.
    trouble : list of str
        What broke its connections.
    """

    def __init__(
        self, port: int, rate: int, *, most: int, repeats: int = 0, **options: Any
    ) -> None:
        super().__init__(name="plant", daemon=True)
        self.acknowledged = 0
        self.trouble: list[str] = []
        self._port = port
        self._rate = rate
        self._repeats = repeats
        self._most = most
        self._options = options
        self._begun = time.monotonic()
        self._last: int | None = None

    def run(self) -> None:
        while True:
            try:
                self._talk()
                return
            except (OSError, RefusedError) as exc:
                self.trouble.append(repr(exc))
                self.acknowledged = max(self.acknowledged - self._repeats, 0)
                time.sleep(0.05)

    def finish(self) -> int:
        """Publish no more; return how many readings there were once all are acknowledged."""
        self._last = self._due()
        self.join(60.0)
        assert not self.is_alive(), "the plant waits for acknowledgements"
        return self.acknowledged

    def _due(self) -> int:
        return min(int((time.monotonic() - self._begun) * self._rate), self._most)

    def _talk(self) -> None:
        before = self.acknowledged
        with Publisher(self._port, "plant", **self._options) as publisher:
            while self.acknowledged != self._last:
                due = self._due() if self._last is None else self._last
                due = min(due, self.acknowledged + _WINDOW)
                sent = before + publisher.sent
                publisher.send(message(n) for n in range(sent, min(due, sent + _AT_ONCE)))
                if sent >= due:
                    publisher.take_acknowledgements(0.01)
                    self.acknowledged = before + publisher.acknowledged


@contextmanager
def publishing(
    port: int, rate: int, *, most: int = 1_000_000, repeats: int = 0, **options: Any
) -> Iterator[Plant]:
    """Publish so many readings a second for as long as the block lasts, or until finished.

    Parameters
    ----------
    port : int
        Of the broker.
    rate : int
        Readings a second.
    most : int
        Publish no more than that, however long it takes.
    repeats : int
        So many that were acknowledged are published again after a connection has broken.
    **options
        Of `Publisher`.
    """
    plant = Plant(port, rate, most=most, repeats=repeats, **options)
    plant.start()
    try:
        yield plant
    finally:
        if plant.is_alive():
            plant._last = plant.acknowledged  # it may still have to end with an error
            plant.join(5.0)


def stored(store: Store) -> int:
    return sum(point.samples for point in store.points())


def wait_until_stored(url: str, count: int) -> None:
    """Wait for as long as readings keep coming."""
    with open_store(url) as store:
        seen, since = -1, time.monotonic()
        while True:
            try:
                found = stored(store)
            except StoreError:
                found = seen
            if found >= count:
                return
            if found > seen:
                seen, since = found, time.monotonic()
            assert time.monotonic() - since < _LONGEST_STANDSTILL_S, f"{found} of {count} stored"
            time.sleep(0.05)


def hold_to(url: str, count: int) -> None:
    """Every reading of the first ``count`` is stored once and as it was; there is nothing else."""
    with open_store(url) as store:
        for point, expected in readings(count).items():
            found = store.read(point)
            lost = np.setdiff1d(expected.time, found.time)
            assert lost.size == 0, f"{point}: {lost.size} lost, first number {number_of(lost[0])}"
            assert np.array_equal(found.time, expected.time), f"{point}: more than was published"
            assert np.array_equal(found.value, expected.value)
            assert not found.quality.any()
        assert stored(store) == count
        assert store.rejects() == []
        assert store.check() == []


def number_of(moment: int) -> int:
    return int(moment) // 1_000_000 - BEGIN_MS
