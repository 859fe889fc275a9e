"""A replay as people read it: what was recorded, what is missing, what happened in which order."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from bondtrail.cli import figures, output
from bondtrail.cli.output import (
    Column,
    amount,
    bullets,
    counted,
    length,
    ohms,
    say,
    site_clock,
    site_time,
)
from bondtrail.cli.replay_heading import bond_told, findings_told
from bondtrail.times import NS_PER_S

if TYPE_CHECKING:
    from analytics.core.events import Event
    from analytics.core.typical import Comparison, Typical
    from analytics.replay import Held, Missing, Replay
    from bondtrail.results import Transfer

LABEL = 12
"""Columns that the name of a fact takes."""

MOST_GAPS = 20
"""So many stretches without readings are told one by one."""

SIGNS = (
    "Each event stands at the moment it was seen. Known: a reading or a person says so. "
    "~ inferred: a rule says so, from readings. ? missing: from here on nothing is known. = before "
    "a time: whether this came before or after the one above cannot be told, they lie closer than "
    "their points report or their clocks agree. Uncertain: the time of the reading may be that of "
    "its arrival. ! is what to look at first. + behind what flowed so far: at least so much, not "
    "all of it was measured. CSV and JSON have since when each may have been so."
)


def print_text(replay: Replay) -> None:
    """Print a replay for people, as wide as a report."""
    from bondtrail.cli.hazard_text import print_hazard

    zone = replay.site.zone
    say(*_heading(replay, zone))
    say("", *_missing(replay, zone))
    say("")
    _print_events(replay, zone)
    if replay.transfer is not None:
        say("")
        _print_typical(replay, zone)
    say("")
    print_hazard(replay)


def _fact(label: str, text: str) -> str:
    return output.wrapped(f"{label:<{LABEL}}{text}", hanging=LABEL)


def _heading(replay: Replay, zone: ZoneInfo) -> Iterator[str]:
    transfer, station = replay.transfer, replay.station
    yield f"Replay of {transfer.id if transfer else station.id}"
    yield ""
    kind = str(station.kind).replace("_", " ")
    yield _fact("Station", f"{station.name} ({station.id}), {kind}; {replay.site.name}")
    yield _fact("Replayed", f"{_span(replay.start, replay.end, zone)}. Times are {zone.key}.")
    if transfer is None:
        yield _fact("Transfer", "none: this is a span of the record")
        yield _fact("Product", replay.product_name or "not named")
    else:
        yield from _of_transfer(replay, transfer, zone)
    yield _fact("Findings", findings_told(replay, zone))
    for ticket in replay.tickets:
        says = f"batch {ticket.batch}, {ticket.product}, {ticket.operator}"
        yield _fact("Ticket", f"{says}: {_span(ticket.start, ticket.end, zone)}")
    for window in replay.work:
        yield _fact("Work", f"{window.what}: {_span(window.start, window.end, zone)}")
    yield from _limits(replay.held, zone)


def _of_transfer(replay: Replay, transfer: Transfer, zone: ZoneInfo) -> Iterator[str]:
    from analytics.replay.heading import in_words

    span, product = _span(transfer.start, transfer.end, zone), replay.product_name
    said = in_words(replay, transfer, length)
    flowed = [f"flow for {length(transfer.flow_s)}", said.volume]
    yield _fact("Transfer", f"{span}; {', '.join(filter(None, flowed))}")
    yield _fact(
        "Product",
        f"{product or 'not named'}; batch {transfer.batch or 'not named'}; "
        f"operator {transfer.operator or 'not named'}",
    )
    yield _fact("Bond", bond_told(said, transfer))


def _limits(held: Sequence[Held], zone: ZoneInfo) -> Iterator[str]:
    """Yield the limits that held at the start, and what changed when."""
    before: dict[str, float] = {}
    for each in held:
        limits = dict(each.station.limits)
        changed = [name for name in limits if limits[name] != before.get(name)]
        told = ", ".join(f"{name} {limits[name]:g}" for name in changed)
        if not before:
            yield _fact("Limits", told)
        else:
            since = site_time(each.since, zone, millis=True)
            yield _fact("", f"from {since} on: {told or 'as before'}")
        before = limits


def _span(start: int, end: int, zone: ZoneInfo) -> str:
    """Return a span with its length; the day of its end only where it is another one."""
    begins, ends = site_time(start, zone, millis=True), site_clock(end, start, zone)
    return f"{begins} to {ends} ({length((end - start) / NS_PER_S)})"


def _missing(replay: Replay, zone: ZoneInfo) -> Iterator[str]:
    from analytics.replay.replayed import NOTHING_MISSING

    yield "What is missing"
    if not replay.missing and not replay.damaged:
        yield f"- {NOTHING_MISSING}"
    yield from bullets(_gap(each, replay, zone) for each in replay.missing[:MOST_GAPS])
    further = replay.missing[MOST_GAPS:]
    if further:
        total = sum(each.end - each.start for each in further) / NS_PER_S
        yield f"- and {len(further):,} more, {length(total)} in all: --format json has each of them"


def _gap(missing: Missing, replay: Replay, zone: ZoneInfo) -> str:
    throughout = missing.start <= replay.start and missing.end >= replay.end
    when = "throughout" if throughout else _span(missing.start, missing.end, zone)
    return f"{_words(missing.about)}: {missing.why}, {when}"


def _words(name: str) -> str:
    return name.replace("_", " ")


def _print_events(replay: Replay, zone: ZoneInfo) -> None:
    unit = replay.station.volume_unit
    columns: list[Column[tuple[str, Event]]] = [
        Column("Time", lambda row: row[0]),
        Column("Basis", lambda row: _BASIS[str(row[1].basis)]),
        Column("What happened", lambda row: _what(row[1]), wraps=True),
        Column("ohm", lambda row: ohms(row[1].ohm), right=True),
        Column(f"{unit}/min" if unit else "Flow", lambda row: _figure(row[1].flow), right=True),
        Column(unit or "So far", lambda row: _so_far(row[1]), right=True),
    ]
    events = list(zip(_clocks(replay.events, zone), replay.events, strict=True))
    notes = [output.wrapped(SIGNS), output.wrapped(replay.clocks)]
    output.print_table("What happened", columns, events, notes)


_BASIS = {"known": "known", "inferred": "~ inferred", "missing": "? missing"}


def _clocks(events: Sequence[Event], zone: ZoneInfo) -> Iterator[str]:
    """Yield the time of each event; the day stands above the first of it."""
    told = ""
    for event in events:
        day, _, clock = site_time(event.time, zone, millis=True).partition(" ")
        sign = "  " if event.order_certain else "= "
        yield f"{sign}{clock}" if day == told else f"  {day}\n{sign}{clock}"
        told = day


def _what(event: Event) -> str:
    from analytics.core.events import ABNORMAL

    sign = "! " if event.what in ABNORMAL else ""
    said = f"{sign}{_words(str(event.what))}"
    return f"{said}: {event.detail}" if event.detail else said


def _so_far(event: Event) -> str:
    if event.volume is None or not event.volume_is_least:
        return amount(event.volume)
    return f"{amount(math.floor(event.volume))}+"


def _figure(value: float | None) -> str:
    return "-" if value is None else f"{value:,.1f}"


def _print_typical(replay: Replay, zone: ZoneInfo) -> None:
    title, typical = "Beside the typical transfer", replay.typical
    if typical is None or not typical.transfers:
        say(title, "- There is no earlier good transfer of this product here to compare with.")
        return
    good = counted(len(typical.transfers), "earlier good transfer")
    if typical.product:
        good += f" of {typical.product}"
    columns: list[Column[Comparison]] = [
        Column("Figure", lambda row: figures.named(row.name), wraps=True),
        Column("This one", _this_one, right=True),
        Column("Median", lambda row: _compared(row.median), right=True),
        Column("Range", _range, right=True),
        Column("Of", lambda row: str(row.of), right=True),
        Column("Differs", _differs),
        Column("Settled", lambda row: site_clock(row.moment, replay.start, zone)),
    ]
    notes = [output.wrapped(_first_difference(typical, zone))]
    output.print_table(f"{title}: {good}", columns, typical.comparisons, notes)


def _this_one(row: Comparison) -> str:
    if row.value is None:
        return "never" if row.differs else "not known"
    return _compared(row.value)


def _differs(row: Comparison) -> str:
    from analytics.core.typical import FEW

    if row.differs is None:
        return "too few" if row.of < FEW else "?"
    return "! yes" if row.differs else "-"


def _first_difference(typical: Typical, zone: ZoneInfo) -> str:
    from analytics.core.typical import NONE_DIFFERS, by_chance

    first = typical.first_difference
    if first is None:
        return NONE_DIFFERS
    low, high = _compared(first.low), _compared(first.high)
    return (
        f"It differed first in {figures.named(first.name)}: {_this_one(first)}, and theirs "
        f"{low} to {high}; settled at {site_time(first.moment, zone, millis=True)}. "
        f"{by_chance(first.of)}"
    )


def _compared(value: float | None) -> str:
    if value is None:
        return "none"
    return "open" if math.isinf(value) else figures.rate(value)


def _range(row: Comparison) -> str:
    return f"{_compared(row.low)} to {_compared(row.high)}" if row.of else "-"
