"""The powder dryer and silo: fixed items, each on its strap."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from random import Random

from bondtrail.site import Role
from replay_data import shifts
from replay_data.bay import DEADBAND_OHM
from replay_data.recording import BAD, GOOD, OPEN, Signal, Span, number
from replay_data.shifts import MINUTE, at, march

STRAP = Span(at(march(21), "13:40"), at(march(24), "11:19:30"))
SIEVE_FOUND = Span(at(march(24), "11:16"), at(march(24), "11:22:30"))
INSPECTION = Span(at(march(12), "10:06"), at(march(12), "10:31"))
WASHED = ("dryer-bowl", "dryer-filter", "dryer-sieve", "dryer-chute")
WASH_DOWN = Span(at(march(30), "14:12"), at(march(30), "14:41"))
"""A hose shakes the straps of the idle dryer: no loss is long, but there are many."""
RATTLES = (
    at(march(11), "08:21:07"),
    at(march(19), "16:40:51"),
    at(march(26), "09:15:30"),
    at(march(31), "17:02:12"),
)


@dataclass(frozen=True)
class Campaign:
    """One batch through the dryer: when the bowl turns and when the sieve runs."""

    bowl: Span
    sieve: Span


def clean_downs() -> list[Span]:
    """Return the Saturday clean-downs."""
    return [Span(at(day, "08:00"), at(day, "14:00")) for day in shifts.days() if day.weekday() == 5]


def campaigns() -> list[Campaign]:
    """Return the batches: two a day from Tuesday to Friday."""
    rng = Random("alder-quay dryer")
    return [campaign for day in shifts.days() for campaign in _day(day, rng)]


def _day(day: date, rng: Random) -> Iterator[Campaign]:
    if shifts.load(day) < 1 or day.weekday() == 0:
        return
    for clock in ("06:20", "13:30"):
        begin = at(day, clock) + rng.randint(0, 25 * MINUTE)
        end = begin + rng.randint(215 * MINUTE, 250 * MINUTE)
        sieve = end + rng.randint(8 * MINUTE, 20 * MINUTE)
        yield Campaign(
            Span(begin, end), Span(sieve, sieve + rng.randint(95 * MINUTE, 125 * MINUTE))
        )


def play(item: str, roles: Mapping[Role, Signal]) -> None:
    """Live through the four weeks of one item."""
    rng = Random(f"alder-quay {item}")
    _strap(item, roles[Role.RESISTANCE], rng)
    running = roles.get(Role.RUNNING)
    if running is not None:
        _runs(item, running, rng)


def _runs(item: str, running: Signal, rng: Random) -> None:
    running.set(shifts.START + rng.randint(50, 900), "0")
    for campaign in campaigns():
        span = campaign.sieve if item == "dryer-sieve" else campaign.bowl
        running.set(span.start, "1")
        if item == "dryer-sieve" and span.holds(SIEVE_FOUND.start):
            running.set(SIEVE_FOUND.start, "0")
            running.set(SIEVE_FOUND.end, "1")
        running.set(span.end, "0")


def _strap(item: str, signal: Signal, rng: Random) -> None:
    """Write the item's resistance: steady, but for what happens to its strap."""
    base = rng.uniform(0.6, 1.9)
    signal.set(shifts.START + rng.randint(50, 900), number(base))
    for ms, until, value, quality in _events(item, rng):
        _steady(signal, ms, base, rng)
        signal.set(ms, signal.changes[-1].value if value is None else value, quality)
        base *= rng.uniform(0.93, 1.07)
        if until is not None:
            signal.set(until, number(base))
    _steady(signal, shifts.END, base, rng)


def _events(item: str, rng: Random) -> Iterator[tuple[int, int | None, str | None, int]]:
    """Yield (from, until, value, quality); a value of None keeps the last one."""
    events: list[tuple[int, int | None, str | None, int]] = []
    if item == "silo-2":
        events.append((INSPECTION.start, INSPECTION.end, OPEN, GOOD))
    if item == "dryer-filter":
        events += [(ms, ms + rng.randint(6000, 28_000), OPEN, GOOD) for ms in RATTLES]
    if item in WASHED:
        events += _shaken(rng)
    for work in clean_downs():
        off, on = work.start + 9 * MINUTE, work.end - 20 * MINUTE
        if item == "dryer-sieve" and on == STRAP.start:
            events += [(off, None, None, BAD), (on, STRAP.end, OPEN, GOOD)]
        else:
            events.append((off, on + rng.randint(0, 900), None, BAD))
    yield from sorted(events)


def _shaken(rng: Random) -> Iterator[tuple[int, int | None, str | None, int]]:
    ms = WASH_DOWN.start + rng.randint(0, 40_000)
    while ms < WASH_DOWN.end:
        yield ms, ms + rng.randint(3000, 16_000), OPEN, GOOD
        ms += rng.randint(50_000, 110_000)


def _steady(signal: Signal, until: int, base: float, rng: Random) -> None:
    """Wander inside the deadband's reach until ``until``."""
    ms = signal.changes[-1].ms
    if signal.changes[-1].quality == BAD:
        return
    while True:
        ms += 20_000 + round(rng.expovariate(1 / (40 * MINUTE)))
        if ms >= until:
            return
        ohm = base * math.exp(rng.gauss(0, 0.035))
        if signal.moved(ohm, DEADBAND_OHM):
            signal.set(ms, number(ohm))
