"""What the data page asks: points, stations, sources, jobs and what was not taken."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

from bondtrail.results import DaySums, Reject
from bondtrail.running import Job, Source
from bondtrail.site import Point, Site
from bondtrail.times import nanoseconds, seconds
from bondtrail.watching import (
    DAY_S,
    JobState,
    PointState,
    heard_ago_s,
    is_off,
    is_quiet,
    job_state,
    point_state,
)
from dashboard.period import Period, parse_period
from dashboard.queries.sites import site_in_force, whole_period
from store import PointSummary, Store

REJECTS = 200
"""So many of the newest are listed."""


@dataclass(frozen=True, slots=True)
class PointLine:
    """A point as the site file names it, and what is stored of it; either may be missing."""

    name: str
    state: PointState
    named: Point | None
    held: PointSummary | None
    age_s: float | None

    @property
    def station(self) -> str:
        """The id of its station."""
        return self.name.rpartition(".")[0]

    @property
    def role(self) -> str:
        """What it says of its station."""
        return self.name.rpartition(".")[2]


@dataclass(frozen=True, slots=True)
class StationLine:
    """How much is known of a station over a period, and how its points stand now."""

    station: str
    known_s: float
    unknown_s: float
    states: Counter[PointState]
    last: int | None

    @property
    def coverage(self) -> float | None:
        """Share of the recorded time in which the bond state was known; None without a record."""
        whole = self.known_s + self.unknown_s
        return self.known_s / whole if whole else None


@dataclass(frozen=True, slots=True, eq=False)
class DataView:
    """What the data page shows.

    ``points`` are those of the state that was asked for, if any; ``states`` counts all.
    ``period`` is None while there are no results of any day; ``last`` is the newest reading that is
    not in the future. [ns] ``refused`` is how many stand in rejects of which the last came within a
    day.
    """

    site: Site
    now: int
    whole: Period | None
    period: Period | None
    show: PointState | None
    states: Counter[PointState]
    points: Sequence[PointLine]
    stations: Sequence[StationLine]
    sources: Sequence[Source]
    jobs: Sequence[Job]
    rejects: Sequence[Reject]
    refused: int
    waiting: int
    last: int | None

    @property
    def is_still(self) -> bool:
        """Whether nothing speaks now, and nobody ever published: readings come in files."""
        return not self.states[PointState.HEARD] and not self.sources

    @property
    def is_quiet(self) -> bool:
        """Whether nothing comes in although there are sources."""
        return is_quiet(self.sources, self.now)

    @property
    def heard_ago_s(self) -> float | None:
        """How long ago any source was heard; None where there is none. [s]"""
        return heard_ago_s(self.sources, self.now)

    @property
    def off(self) -> int:
        """How many sources seem to have a wrong clock."""
        return sum(map(is_off, self.sources))

    @property
    def failing(self) -> int:
        """How many jobs fail."""
        return sum(job_state(job, self.now) is JobState.FAILING for job in self.jobs)


def data_view(
    store: Store, now: int, first: str | None, last: str | None, show: str | None
) -> DataView | None:
    """Return what the data page shows, or None while there is neither a site nor a reading.

    Raises
    ------
    PeriodError
        If the dates cannot be understood.
    """
    site, whole = site_in_force(store), whole_period(store)
    if site is None:
        return None
    period = None if whole is None else parse_period(first, last, whole)
    lines = point_lines(site, store.points(), now)
    state = next((each for each in PointState if each.name.lower() == show), None)
    sums = [] if period is None else store.summaries.day_totals(period.first, period.last)
    rejects = store.rejects(limit=REJECTS)
    return DataView(
        site=site,
        now=now,
        whole=whole,
        period=period,
        show=state,
        states=Counter(line.state for line in lines),
        points=[line for line in lines if state in (None, line.state)],
        stations=station_lines(site, lines, sums),
        sources=sorted(store.sources(), key=lambda each: (not is_off(each), each.name)),
        jobs=sorted(store.jobs.all(), key=lambda job: (_gravity(job, now), job.name)),
        rejects=rejects[::-1],
        refused=store.rejected_since(now - nanoseconds(DAY_S)),
        waiting=len(store.waiting()),
        last=max(filter(None, map(_past, lines)), default=None),
    )


def point_lines(site: Site, held: Iterable[PointSummary], now: int) -> list[PointLine]:
    """Return every point of the site file and of the store: what is out of order first.

    Parameters
    ----------
    site : Site
        Whose file is in force.
    held : iterable of PointSummary
        What is stored.
    now : int
        The time it is. [ns]
    """
    stored = {summary.point: summary for summary in held}
    named = {point.name: point for point in site.points()}
    names = [*named, *sorted(stored.keys() - named.keys())]
    lines = [_point_line(name, named.get(name), stored.get(name), now) for name in names]
    order = list(PointState)
    return sorted(lines, key=lambda line: order.index(line.state))


def _point_line(name: str, named: Point | None, held: PointSummary | None, now: int) -> PointLine:
    age_s = None if held is None else seconds(now - held.last)
    state = point_state(age_s, None if named is None else named.stale_after_s)
    return PointLine(name, state, named, held, age_s)


def station_lines(
    site: Site, lines: Iterable[PointLine], sums: Iterable[DaySums]
) -> list[StationLine]:
    """Return how much is known of each station of the site, the least known first."""
    known: Mapping[str, DaySums] = {row.station: row for row in sums}
    states: dict[str, Counter[PointState]] = {station.id: Counter() for station in site.stations}
    last: dict[str, int] = {}
    for line in lines:
        if line.station in states:
            states[line.station][line.state] += 1
            if line.held is not None:
                last[line.station] = max(last.get(line.station, line.held.last), line.held.last)
    found = [
        StationLine(
            station.id,
            known[station.id].known_s if station.id in known else 0.0,
            known[station.id].unknown_s if station.id in known else 0.0,
            states[station.id],
            last.get(station.id),
        )
        for station in sorted(site.stations, key=attrgetter("name"))
    ]
    return sorted(found, key=lambda line: -1.0 if line.coverage is None else line.coverage)


def _past(line: PointLine) -> int | None:
    """Return when a point last spoke, unless that is yet to come. [ns]"""
    is_ahead = line.state is PointState.AHEAD
    return None if line.held is None or is_ahead else line.held.last


def _gravity(job: Job, now: int) -> int:
    return list(JobState).index(job_state(job, now))
