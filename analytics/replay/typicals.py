"""The typical transfer beside one: which are the good ones, read from the store."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analytics.core.comparable import NOT_READ, Comparable, comparable
from analytics.core.courses import Recorded, leaves_range, typical_course
from analytics.core.situation import Signals
from analytics.core.typical import (
    FEW,
    Comparison,
    Typical,
    TypicalCourse,
    compared,
    figures,
    first_difference,
    is_good,
    under,
)
from analytics.replay.spans import DAY_NS, replayed_span
from analytics.signals import load_signals
from analytics.source import Source
from bondtrail.results import Hookup, Transfer, Trip
from bondtrail.site import Role, Station
from bondtrail.times import NS_PER_S, nanoseconds, seconds

MOST = 50
"""So many good transfers at most are looked at, the latest."""
MOST_COURSES = 20
"""Of so many at most the readings are read ..."""
MOST_READ_NS = 48 * 3600 * NS_PER_S
"""... and of so much time in all, but of `FEW` at least: ten readings a second are many."""
REACH_DAYS = (7, 28, 112, 366)
"""How far back the good ones are looked for: further only while there are too few."""
COURSES = (Role.RESISTANCE, Role.FLOW)


@dataclass(frozen=True, slots=True)
class _Read:
    """What is kept of the readings of a good transfer: what they tell, and its courses."""

    told: Comparable
    recorded: Mapping[Role, Recorded]


def typical_of(
    store: Source,
    station: Station,
    transfer: Transfer,
    span: tuple[int, int],
    signals: Signals,
    hookups: Sequence[Hookup],
    trips: Sequence[Trip],
) -> Typical:
    """Return the typical transfer of a station and product beside one of them.

    Parameters
    ----------
    store : Source
        In a snapshot.
    station : Station
        As it was judged when the transfer began.
    transfer : Transfer
        The good ones are earlier than this one.
    span : tuple of int
        In which it is replayed. [ns]
    signals : mapping of Role to Samples
        Its readings.
    hookups, trips : sequence
        Of the span.
    """
    good = _good_before(store, transfer)
    hooked = store.hookups(station.id, good[0].start, transfer.start) if good else []
    mine = [trip for trip in trips if trip.transfer == transfer.id]
    latest = [
        _read(store, station, each, under(hooked, each), courses=len(good) >= FEW)
        for each in _to_read(good)
    ]
    told = [NOT_READ] * (len(good) - len(latest)) + [each.told for each in latest]
    comparisons = list(
        compared(
            figures(
                transfer,
                hookups,
                mine,
                comparable(station, signals, transfer, under(hookups, transfer), span),
            ),
            [figures(each, hooked, told=tells) for each, tells in zip(good, told, strict=True)],
        )
    )
    courses: dict[Role, TypicalCourse] = {}
    if len(good) >= FEW:
        courses, left = _courses(station, transfer, span, signals, latest)
        comparisons += left
    comparisons.sort(key=lambda each: each.moment)
    return Typical(
        product=transfer.product,
        transfers=tuple(each.id for each in good),
        comparisons=tuple(comparisons),
        first_difference=first_difference(comparisons),
        courses=courses,
    )


def _good_before(store: Source, transfer: Transfer) -> list[Transfer]:
    """Return the latest good transfers of the same product in the year before, by start."""
    found: list[Transfer] = []
    until = transfer.start
    for days in REACH_DAYS:
        since = transfer.start - days * DAY_NS
        earlier = store.transfers(transfer.station, since, until, compliant=True)
        found = [
            each
            for each in earlier
            if since <= each.start < until
            and each.end <= transfer.start
            and each.product == transfer.product
            and is_good(each)
        ] + found
        if len(found) >= MOST:
            break
        until = since
    return found[-MOST:]


def _to_read(good: Sequence[Transfer]) -> list[Transfer]:
    """Return the latest of the good transfers, by start, as many as are read."""
    chosen: list[Transfer] = []
    total = 0
    for each in reversed(good[-MOST_COURSES:]):
        total += each.end - each.start
        if total > MOST_READ_NS and len(chosen) >= FEW:
            break
        chosen.append(each)
    return chosen[::-1]


def _read(
    store: Source, station: Station, good: Transfer, hookups: Sequence[Hookup], *, courses: bool
) -> _Read:
    """Return a good transfer as far as its readings are needed, with its ``courses`` or not."""
    span = replayed_span(good, hookups, ())
    roles = {Role.FLOW, Role.BYPASS, station.bond_role, *(COURSES if courses else ())}
    points = {role: point for role, point in station.points.items() if role in roles}
    part = station.model_copy(update={"points": points})
    # What cannot be read is left out here: the replay tells of damage in its span.
    signals = load_signals(store, part, *span, lambda _: None)
    return _Read(
        comparable(station, signals, good, hookups, span),
        {
            role: Recorded(signals[role], nanoseconds(points[role].stale_after_s), good.start, span)
            for role in (COURSES if courses else ())
            if role in points
        },
    )


def _courses(
    station: Station,
    transfer: Transfer,
    span: tuple[int, int],
    signals: Signals,
    latest: Sequence[_Read],
) -> tuple[dict[Role, TypicalCourse], list[Comparison]]:
    """Return the courses of resistance and flow, and where this transfer leaves them."""
    reach = seconds(span[0] - transfer.start), seconds(span[1] - transfer.start)
    courses: dict[Role, TypicalCourse] = {}
    left = []
    for role in COURSES:
        point = station.points.get(role)
        if point is None:
            continue
        courses[role] = typical_course([each.recorded[role] for each in latest], *reach)
        stale = nanoseconds(point.stale_after_s)
        mine = Recorded(signals[role], stale, transfer.start, span)
        name = f"{role}_ohm" if role is Role.RESISTANCE else f"{role}_{station.volume_unit}_min"
        above = role is Role.RESISTANCE
        leaves = leaves_range(name, mine, courses[role], len(latest), only_above=above)
        left += [leaves] if leaves else []
    return courses, left
