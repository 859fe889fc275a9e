"""The transfer tickets and the work orders of the four weeks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from random import Random
from typing import NamedTuple

from replay_data import dryer, shifts
from replay_data.bays import CABLE, CLAMP, CONTACTS_CHANGED, MODULE, STUCK, WELDED
from replay_data.recording import Span
from replay_data.shifts import MINUTE, at, march
from replay_data.traffic import Done

ITEMS = ("dryer-bowl", "dryer-filter", "dryer-sieve", "dryer-chute", "silo-2")


class Ticket(NamedTuple):
    """One row of ``batch.csv``."""

    span: Span
    station: str
    batch: str
    product: str
    operator: str


def tickets(done: Iterable[Done], products: dict[str, str]) -> list[Ticket]:
    """Return the tickets: one a vehicle or vessel, one a half-day at the drums and bags."""
    rng = Random("alder-quay tickets")
    made: list[Ticket] = []
    batches = dryer.campaigns()
    for station, listed in groupby(done, key=lambda one: one.station):
        spans = [one.filled.contact for one in listed]
        if station.startswith(("drum", "bag")):
            spans = list(_half_days(spans))
        made += _numbered(station, products[station], spans, rng)
    made += _numbered("dryer-bowl", products["dryer-bowl"], [c.bowl for c in batches], rng)
    made += _numbered("dryer-sieve", products["dryer-sieve"], [c.sieve for c in batches], rng)
    return sorted(made)


def _half_days(spans: Sequence[Span]) -> Iterator[Span]:
    for _, group in groupby(
        spans, key=lambda span: (span.start - at(march(9), "06:00")) // (8 * shifts.HOUR)
    ):
        listed = list(group)
        yield Span(listed[0].start, listed[-1].end)


def _numbered(station: str, product: str, spans: Sequence[Span], rng: Random) -> Iterator[Ticket]:
    letters = "".join(part[0].upper() for part in station.split("-"))
    for number, span in enumerate(spans, 1):
        if rng.random() < 0.02:
            continue  # a ticket that nobody wrote
        whole = Span(span.start - 2 * MINUTE, span.end + MINUTE)
        who = shifts.operator(span.start, rng)
        if station.startswith("road"):
            who = f"driver {rng.randint(11, 58)}"
        yield Ticket(whole, station, f"{letters}-{number:04d}", product, who)


def batch_csv(rows: Iterable[Ticket]) -> str:
    """Return ``batch.csv``, on the site's clock."""
    lines = [
        f"{_span(row.span)},{row.station},{row.batch},{row.product},{row.operator}" for row in rows
    ]
    return "\n".join(["start,end,station,batch,product,operator", *lines, ""])


def work_csv() -> str:
    """Return ``work.csv``, on the site's clock."""
    lines = [f"{_span(span)},{station},{what}" for span, station, what in sorted(_work())]
    return "\n".join(["start,end,station,what", *lines, ""])


def _work() -> Iterator[tuple[Span, str, str]]:
    for span in dryer.clean_downs():
        yield from ((span, item, "clean-down; monitor unit M5 switched off") for item in ITEMS)
    wash = Span(dryer.WASH_DOWN.start - 7 * MINUTE, dryer.WASH_DOWN.end + 14 * MINUTE)
    yield from ((wash, item, "floor and housings hosed down") for item in dryer.WASHED)
    inspection = dryer.INSPECTION
    yield Span(inspection.start - 6 * MINUTE, inspection.end), "silo-2", "inlet inspection"
    yield Span(STUCK.end - 30 * MINUTE, STUCK.end), "drum-1", "interlock contact found stuck; freed"
    yield _before(CONTACTS_CHANGED), "road-4", "clamp contacts changed to another pattern"
    yield _before(CLAMP.end), "drum-1", "clamp replaced: spring worn"
    yield _before(MODULE.end), "rail-3", "monitor module replaced"
    yield _before(WELDED.start), "road-2", "interlock relay replaced"
    yield (
        _before(WELDED.end),
        "road-2",
        "relay wiring put right: contact was closed since the repair",
    )
    yield _before(CABLE.end), "drum-2", "clamp cable replaced"
    fitted = Span(dryer.STRAP.end - 3 * MINUTE, dryer.STRAP.end + 3 * MINUTE)
    yield fitted, "dryer-sieve", "bonding strap found off; refitted"


def _before(ms: int) -> Span:
    return Span(ms - 65 * MINUTE, ms)


def _span(span: Span) -> str:
    return f"{shifts.local_text(span.start)},{shifts.local_text(span.end)}"
