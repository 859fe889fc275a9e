"""Signals as a collector records them: on change, with a heartbeat, and not while it is cut off."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache
from random import Random
from typing import NamedTuple

OPEN = "OL"
GOOD, BAD = 0, 2


class Reading(NamedTuple):
    """One row: UTC milliseconds since 1970, the text of the value, and its quality."""

    ms: int
    value: str
    quality: int = GOOD


class Span(NamedTuple):
    """A half-open pair of UTC milliseconds."""

    start: int
    end: int

    def holds(self, ms: int) -> bool:
        """Return whether the moment lies inside."""
        return self.start <= ms < self.end


@dataclass
class Signal:
    """What one tag does: its changes in order of time.

    ``heartbeat_ms`` is how long the collector waits before it repeats a value; ``wobble`` the
    relative spread of a repeated number, inside the deadband.
    """

    tag: str
    rng: Random
    heartbeat_ms: int
    wobble: float = 0.0
    changes: list[Reading] = field(default_factory=list)

    def set(self, ms: int, value: str, quality: int = GOOD) -> None:
        """Record a change.

        Raises
        ------
        ValueError
            If the moment is not after the last one: a script told its story out of order.
        """
        if self.changes and ms <= self.changes[-1].ms:
            raise ValueError(f"{self.tag}: {ms} is not after {self.changes[-1]}")
        self.changes.append(Reading(ms, value, quality))

    def moved(self, value: float, deadband: float) -> bool:
        """Return whether ``value`` is further from the last one than a relative deadband."""
        last = float(self.changes[-1].value)
        return abs(value - last) > deadband * last

    def recorded(self, end: int, outages: Sequence[Span]) -> Iterator[Reading]:
        """Yield what the collector writes down until ``end``, in order of time."""
        seen = [reading for reading in self._without(outages) if reading.ms < end]
        ends = [*(reading.ms for reading in seen[1:]), end]
        for reading, until in zip(seen, ends, strict=True):
            yield reading
            yield from self._heartbeats(reading, until, outages)

    def _without(self, outages: Sequence[Span]) -> Iterator[Reading]:
        """Yield the changes; those of an outage are lost but for the last, sent when it ends."""
        left = list(self.changes)
        for outage in outages:
            lost = [reading for reading in left if reading.ms < outage.end]
            left = left[len(lost) :]
            yield from (reading for reading in lost if reading.ms < outage.start)
            back = outage.end + self.rng.randint(20, 600)
            if lost and not (left and left[0].ms <= back):
                yield lost[-1]._replace(ms=back)
        yield from left

    def _heartbeats(
        self, reading: Reading, until: int, outages: Sequence[Span]
    ) -> Iterator[Reading]:
        ms = reading.ms + self._wait()
        while ms < until:
            if not any(outage.holds(ms) for outage in outages):
                yield reading._replace(ms=ms, value=self._wobbled(reading.value))
            ms += self._wait()

    def _wait(self) -> int:
        return self.heartbeat_ms + self.rng.randint(-7, 8)

    def _wobbled(self, value: str) -> str:
        if not self.wobble or value == OPEN:
            return value
        return number(float(value) * (1 + self.rng.uniform(-self.wobble, self.wobble)))


def number(value: float) -> str:
    """Return a reading as a monitor shows it: three figures or so."""
    if value >= 1000:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 100 else f"{value:.2f}"


def moment(ms: int) -> str:
    """Return UTC milliseconds as ISO 8601 with ``Z``."""
    minute, rest = divmod(ms, 60_000)
    return f"{_minute(minute)}:{rest // 1000:02d}.{rest % 1000:03d}Z"


@lru_cache(maxsize=8)
def _minute(minute: int) -> str:
    return f"{datetime.fromtimestamp(minute * 60, UTC):%Y-%m-%dT%H:%M}"


def rows(signals: Iterable[tuple[Signal, Sequence[Span]]], end: int) -> Iterator[tuple[int, str]]:
    """Yield (milliseconds, CSV row) of all signals in order of time; each with its outages."""
    streams = [_tagged(signal, end, outages) for signal, outages in signals]
    for reading, tag in heapq.merge(*streams):
        quality = str(reading.quality) if reading.quality else ""
        yield reading.ms, f"{moment(reading.ms)},{tag},{reading.value},{quality}\n"


def _tagged(signal: Signal, end: int, outages: Sequence[Span]) -> Iterator[tuple[Reading, str]]:
    for reading in signal.recorded(end, outages):
        yield reading, signal.tag
