"""What happened at stations, scripted as the few readings that their points send.

Every point reports on change and repeats itself once a day, so that files stay small; its
readings hold for longer than that. Nothing here knows how the historian reads them.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum
from itertools import pairwise
from typing import NamedTuple

SECOND = 10**9
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE
DAY = 24 * HOUR

HELD_S = 2 * 86_400
"""How long a reading holds: points repeat themselves after half of it."""
REPEAT = DAY

BONDED_OHM = 2.0
PAINT_OHM = 400.0
OPEN = math.inf
FLOW = 600.0
"""L/min, so 10 L each second."""


class Reading(NamedTuple):
    """One sample of a point as a device sends it; its time in ns since 1970."""

    time: int
    tag: str
    value: float
    quality: int = 0


Readings = list[Reading]


class Flaw(StrEnum):
    """Why a transfer is not compliant."""

    NO_BOND = "never bonded"
    LATE = "bonded only after it began"
    LOST = "bond lost half way, and flow went on"
    UNSEEN = "monitor silent half way"
    BYPASSED = "interlock bypassed half way"


class Cause(StrEnum):
    """What is behind a trip that should not have been."""

    NO_LOSS = "no_loss_seen"
    BRIEF_LOSS = "brief_contact_loss"
    FAULT = "monitor_fault"


class Trip(NamedTuple):
    """Flow stopped for `STOPPED` by the permissive; ``time`` in ns since 1970."""

    time: int
    cause: Cause = Cause.NO_LOSS


STOPPED = 1500 * 10**6
"""From the moment at which a trip stops flow until it is on again. [ns]"""
SHUTTING = 500 * 10**6
"""From the opening of the permissive until flow is off. [ns]"""


def idle(station: str, at: int) -> Readings:
    """A station at rest: clamp off, permissive open, no flow, bypass off."""
    return [
        Reading(at, f"{station}.resistance", OPEN),
        Reading(at, f"{station}.permissive", 0),
        Reading(at, f"{station}.flow", 0),
        Reading(at, f"{station}.bypass", 0),
    ]


def hookup(station: str, start: int, ohm: float, length: int = MINUTE) -> Readings:
    """A clamp on for some time at one resistance, with no flow. [ns, ohm, ns]

    Below the limit it is verified; far above it fails.
    """
    resistance = f"{station}.resistance"
    return [Reading(start, resistance, ohm), Reading(start + length, resistance, OPEN)]


def transfer(
    station: str,
    start: int,
    length: int = MINUTE,
    flaw: Flaw | None = None,
    trips: Iterable[Trip] = (),
) -> Readings:
    """A transfer that flows for ``length``, stops by trips not counted. [ns]

    The clamp goes on 20 s before it and off 10 s after it, unless a flaw says otherwise; it
    should last at least 50 s.
    """
    trips = sorted(trips)
    end = start + length + len(trips) * STOPPED
    flow = f"{station}.flow"
    return [
        Reading(start, flow, FLOW),
        *_bond(station, start, end, flaw),
        *(reading for trip in trips for reading in _tripped(station, trip)),
        Reading(end, flow, 0),
    ]


def _bond(station: str, start: int, end: int, flaw: Flaw | None) -> Readings:
    if flaw is Flaw.NO_BOND:
        return []
    resistance, permissive = f"{station}.resistance", f"{station}.permissive"
    bypass, middle = f"{station}.bypass", (start + end) // 2
    on = start + 5 * SECOND if flaw is Flaw.LATE else start - 20 * SECOND
    clamped = [
        Reading(on, resistance, BONDED_OHM),
        Reading(on + 2 * SECOND, permissive, 1),
        Reading(end + 8 * SECOND, permissive, 0),
        Reading(end + 10 * SECOND, resistance, OPEN),
    ]
    half_way = {
        Flaw.LOST: [Reading(middle, resistance, OPEN), Reading(middle, permissive, 0)],
        Flaw.UNSEEN: [
            Reading(middle, resistance, BONDED_OHM, 2),
            Reading(middle + 12 * SECOND, resistance, BONDED_OHM),
        ],
        Flaw.BYPASSED: [Reading(middle, bypass, 1), Reading(middle + 5 * SECOND, bypass, 0)],
    }
    return [*clamped, *(half_way.get(flaw, []) if flaw else [])]


def _tripped(station: str, trip: Trip) -> Readings:
    resistance, permissive = f"{station}.resistance", f"{station}.permissive"
    stops, flow = trip.time + SHUTTING, f"{station}.flow"
    behind = {
        Cause.NO_LOSS: [],
        Cause.BRIEF_LOSS: bond_loss(station, trip.time, 300 * 10**6),
        Cause.FAULT: [
            Reading(trip.time, resistance, BONDED_OHM, 2),
            Reading(trip.time + SHUTTING, resistance, BONDED_OHM),
        ],
    }
    return [
        Reading(trip.time, permissive, 0),
        *behind[trip.cause],
        Reading(stops, flow, 0),
        Reading(stops + SHUTTING, permissive, 1),
        Reading(stops + STOPPED, flow, FLOW),
    ]


def bond_loss(station: str, at: int, length: int = SECOND) -> Readings:
    """A bonded clamp loses contact for some time. [ns]"""
    resistance = f"{station}.resistance"
    return [Reading(at, resistance, OPEN), Reading(at + length, resistance, BONDED_OHM)]


def repeated(readings: Iterable[Reading], every: int = REPEAT) -> Readings:
    """Return readings in order of time, each repeated until its tag's next one. [ns]

    The last of a tag is repeated until its station's last.
    """
    by_tag: dict[str, Readings] = defaultdict(list)
    for reading in sorted(readings):
        by_tag[reading.tag].append(reading)
    ends: dict[str, int] = defaultdict(int)
    for tag, told in by_tag.items():
        ends[station_of(tag)] = max(ends[station_of(tag)], told[-1].time)
    found = []
    for tag, told in by_tag.items():
        last = told[-1]._replace(time=ends[station_of(tag)])
        for one, following in pairwise([*told, last]):
            times = range(one.time, max(following.time, one.time + 1), every)
            found += [one._replace(time=time) for time in times]
    return sorted(found)


def station_of(tag: str) -> str:
    return tag.rpartition(".")[0]


def moment(text: str) -> int:
    """Return a UTC time such as ``2026-03-02T06:00`` in ns since 1970."""
    return round(dt.datetime.fromisoformat(text).replace(tzinfo=dt.UTC).timestamp()) * SECOND


def iso(at: int) -> str:
    """Return a moment as a command takes it: UTC, to the millisecond."""
    whole, rest = divmod(at, SECOND)
    shown = dt.datetime.fromtimestamp(whole, dt.UTC)
    return f"{shown:%Y-%m-%dT%H:%M:%S}.{rest // 10**6:03}Z"


def csv_text(readings: Iterable[Reading]) -> str:
    """Return the readings as a CSV file in its long form."""
    rows = (
        (iso(row.time), row.tag, "OL" if math.isinf(row.value) else row.value, row.quality)
        for row in readings
    )
    return _csv(("time", "tag", "value", "quality"), rows)


class Work(NamedTuple):
    """A line of the work log; moments in ns since 1970."""

    start: int
    end: int
    station: str
    what: str


def work_text(work: Iterable[Work]) -> str:
    """Return the work log as a CSV file."""
    rows = ((iso(row.start), iso(row.end), row.station, row.what) for row in work)
    return _csv(("start", "end", "station", "what"), rows)


def _csv(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(head)
    writer.writerows(rows)
    return text.getvalue()


def site_text(
    stations: Iterable[str] | Mapping[str, Mapping[str, str]],
    *,
    zone: str = "UTC",
    held_s: float = HELD_S,
    tables: str = "",
) -> str:
    """Return a site file of stations with resistance, permissive, flow and bypass.

    Parameters
    ----------
    stations : iterable of str, or mapping
        Ids, with the further text keys of each where it is a mapping.
    zone : str
        Of the site.
    held_s : float
        How long a reading holds.
    tables : str
        TOML tables to go before the stations.
    """
    keys = stations if isinstance(stations, Mapping) else {name: {} for name in stations}
    return "\n".join(
        [
            _HEAD.format(zone=zone, held_s=held_s),
            tables,
            *map(_station, *zip(*keys.items(), strict=True)),
        ]
    )


_HEAD = """\
schema = 1

[site]
id = "hazel-wharf"
name = "Hazel Wharf (invented)"
timezone = "{zone}"

[limits]
stale_after_s = {held_s}
"""

_STATION = """\
[[station]]
id = "{name}"
name = "Bay {name}"
kind = "road_tanker"
{more}
[station.points]
resistance = {{ unit = "ohm" }}
permissive = {{}}
flow = {{ unit = "L/min" }}
bypass = {{}}
"""


def _station(name: str, more: Mapping[str, str]) -> str:
    lines = "".join(f'{key} = "{value}"\n' for key, value in more.items())
    return _STATION.format(name=name, more=lines)
