"""The limits in force in the period, and since when."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter
from zoneinfo import ZoneInfo

from analytics.core.wording import resistance
from analytics.epochs import FOREVER, epochs_of
from analytics.reports import words
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from bondtrail.site import Limits, Site
from bondtrail.times import local

BEGINNING = "from the beginning"
FIELDS = tuple(Limits.model_fields)


@dataclass(frozen=True, slots=True)
class Held:
    """A limit of one station over a stretch of the period; None: from the beginning. [ns]"""

    station: str
    limit: str
    value: float
    start: int | None
    end: int | None


def held(source: Source) -> list[Held]:
    """Return every limit of every station that held at some time in the period."""
    return [row for name in _stations(source) for row in _of(name, source.sites, source.span)]


def _stations(source: Source) -> list[str]:
    return [row.id for row in source.site.stations if source.is_wanted(row.id)]


def _of(station: str, sites: Sequence[tuple[int, Site]], span: tuple[int, int]) -> Iterator[Held]:
    epochs = [row for row in epochs_of(station, sites) if row.end > span[0] and row.start < span[1]]
    for name in FIELDS:
        stretches: list[Held] = []
        for epoch in epochs:
            value = float(getattr(epoch.station.limits, name))
            start = None if epoch.start == -FOREVER else epoch.start
            end = None if epoch.end == FOREVER else epoch.end
            last = stretches[-1] if stretches else None
            if last and last.value == value and last.end == start:
                stretches[-1] = Held(station, name, value, last.start, end)
            else:
                stretches.append(Held(station, name, value, start, end))
        yield from stretches


_DATA: Sequence[Column[Held]] = (
    Column("station", "Station", attrgetter("station")),
    Column("limit", "Limit", attrgetter("limit")),
    Column("value", "Value", attrgetter("value"), Sort.NUMBER),
    Column("holds_from", "Holds from", attrgetter("start"), Sort.TIME),
    Column("holds_until", "Holds until", attrgetter("end"), Sort.TIME),
)


@dataclass(frozen=True, slots=True)
class _Shared:
    limit: str
    value: float
    start: int | None
    end: int | None
    stations: str


def _pages(zone: ZoneInfo) -> Sequence[Column[_Shared]]:
    return (
        Column("limit", "Limit", attrgetter("limit")),
        Column("value", "Value", _value, right=True),
        Column("holds", "Holds", lambda row: _holds(row, zone)),
        Column("stations", "Stations", attrgetter("stations")),
    )


def _value(row: _Shared) -> str:
    if row.limit.endswith("_ohm"):
        return resistance(row.value)
    return f"{row.value:g} s" if row.limit.endswith("_s") else f"{row.value:g}"


def _holds(row: _Shared, zone: ZoneInfo) -> str:
    since = BEGINNING if row.start is None else f"from {_written(row.start, zone)}"
    return since if row.end is None else f"{since} until {_written(row.end, zone)}"


def _written(moment: int, zone: ZoneInfo) -> str:
    return words.site_time(local(moment, zone))


def changes(rows: Sequence[Held], start: int) -> list[str]:
    """Return the stations at which a limit changed after ``start`` ns, in their order."""
    found = (row.station for row in rows if row.start is not None and row.start > start)
    return list(dict.fromkeys(found))


def tables(source: Source, rows: Sequence[Held]) -> list[Table]:
    """Return the limits: by station for programs, by value for people."""
    zone = source.site.zone
    note = (
        "As the site file has them; docs/rules.md says how each is read. History is judged by the "
        "limits of its day. No end: they hold still."
    )
    every = Table(
        "limits", "Limits by station", _DATA, frame(_DATA, rows, zone), note, place=Place.DATA
    )
    every_station = _stations(source)
    columns = _pages(zone)
    page = Table(
        "limits_by_value",
        "Limits in force in this period",
        columns,
        frame(columns, _shared(rows, every_station), zone),
        note,
        empty="The site file names no stations.",
        place=Place.PAGE,
    )
    return [page, every]


def _shared(rows: Sequence[Held], every: Sequence[str]) -> list[_Shared]:
    """Return each value of each limit once, with the stations that have it; the most first."""
    groups: dict[tuple[str, float, int | None, int | None], list[str]] = defaultdict(list)
    for row in rows:
        groups[row.limit, row.value, row.start, row.end].append(row.station)
    order = sorted(groups, key=lambda key: (FIELDS.index(key[0]), -len(groups[key]), key[1]))
    return [_Shared(*key, _named(groups[key], every)) for key in order]


def _named(stations: Sequence[str], every: Sequence[str]) -> str:
    held = set(stations)
    others = [name for name in every if name not in held]
    if not others:
        return "all"
    if len(others) < len(stations):
        return f"all but {words.listed(others)}"
    return words.listed(stations)
