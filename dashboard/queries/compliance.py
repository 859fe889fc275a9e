"""What the compliance page asks: who signs a figure wants its count, its limits and its holes."""

from __future__ import annotations

import datetime as dt
import time
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from analytics.core.charts import PChart, p_chart
from analytics.core.merits import NUISANCE_TRIPS, Figure, nuisance_trips
from analytics.core.ranking import Ranked, worst_first
from analytics.core.rates import Rate
from analytics.core.shares import Share, wilson
from analytics.core.shifts import Cells
from analytics.core.worst import Worst, worst_of
from analytics.holes import Coverage, Waiting, waiting
from analytics.kpis import NO_AREA, period_edges
from bondtrail.results import NON_COMPLIANT, DaySums, Finding, Review, Transfer
from bondtrail.site import Role, Site, Station
from bondtrail.times import NS_PER_S, seconds
from dashboard.period import Period, parse_period
from dashboard.queries.holes import NamedHole, largest_holes
from dashboard.queries.rates import rates
from dashboard.queries.sites import shift_cells, site_in_force, whole_period
from store import Allowed, FailingTransfer, Store

LISTED = 200
"""Transfers of the list: the latest are shown, and how many there are is said."""
WEEKS = 92
"""So many weeks fit side by side; longer periods are charted by months."""


class ChoiceError(ValueError):
    """An area or a shift that the site does not have, in words for the person who asked."""


@dataclass(frozen=True, slots=True)
class Scope:
    """Whose transfers are meant: of an area and a shift, or all where it is None."""

    area: str | None = None
    shift: str | None = None


@dataclass(frozen=True, slots=True)
class Group:
    """A station, an area, a shift or the whole over the period, and what it comes to."""

    name: str
    station: Station | None
    compliance: Share
    not_bonded_s: float = 0.0
    no_data_s: float = 0.0
    bypassed_s: float = 0.0
    flow_s: float = 0.0
    known_s: float = 0.0
    unknown_s: float = 0.0
    no_record_s: float = 0.0
    not_analysed_s: float = 0.0
    flow_unknown_s: float = 0.0

    @property
    def coverage(self) -> Coverage:
        """How much of its time is known."""
        times = self.known_s, self.unknown_s, self.no_record_s
        return Coverage(*times, self.not_analysed_s, self.flow_unknown_s)


@dataclass(frozen=True, slots=True)
class Place:
    """A group and its place among others: in words, as ``3`` or too few to rank."""

    rank: str
    group: Group


@dataclass(frozen=True, slots=True)
class Nuisance:
    """The nuisance trips of a station: how many of each cause, how often, and its place."""

    station: str
    name: str
    causes: Mapping[str, int]
    per_100_transfers: Rate
    per_1000_flow_h: Rate
    rank: str

    @property
    def count(self) -> int:
        """All of them."""
        return self.per_100_transfers.count


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """The share that is not compliant, stretch by stretch, with its limits.

    Attributes
    ----------
    unit : str
        What a stretch is: week or month.
    edges : sequence of date
        First days, and the day after the last stretch.
    bad, of : sequence of int
    chart : PChart
    """

    unit: str
    edges: Sequence[dt.date]
    bad: Sequence[int]
    of: Sequence[int]
    chart: PChart


@dataclass(frozen=True, slots=True)
class Failed:
    """A transfer that is not compliant, and the findings that say so."""

    transfer: Transfer
    worst: Worst
    findings: Sequence[Finding]
    reviews: Sequence[Review | None]
    """The latest review of each of the findings."""


@dataclass(frozen=True, eq=False)
class ComplianceView:
    """What the compliance page shows.

    ``failed`` holds the latest, ``worst`` counts all of them; ``areas`` and ``shifts`` are empty
    where the site file names none, or one is chosen. ``allowed`` is what the compliant transfers
    ran within the allowances, None where a shift is chosen: it is counted for all of the time.
    ``without_bypass`` are the stations with flow that record no bypass, and all with flow.
    """

    site: Site
    whole: Period
    period: Period
    scope: Scope
    total: Group
    worst: Counter[Worst]
    allowed: Allowed | None
    without_bypass: tuple[int, int]
    holes: Sequence[NamedHole]
    with_holes: int
    course: Course
    stations: Sequence[Place]
    areas: Sequence[Place]
    shifts: Sequence[Group]
    failed: Sequence[Failed]
    nuisances: Sequence[Nuisance]

    @cached_property
    def area_names(self) -> list[str]:
        """The areas that the site file names, in its order."""
        return area_names(self.site)

    @cached_property
    def shift_names(self) -> list[str]:
        """The shifts that the site file names, and the time outside them."""
        return [*(shift.name for shift in self.site.shifts), ""] if self.site.shifts else []


def area_names(site: Site) -> list[str]:
    """Return the areas of a site in its order; last what belongs to none, if there are any."""
    named = dict.fromkeys(station.area for station in site.stations if station.area)
    rest = [NO_AREA] if named and any(not station.area for station in site.stations) else []
    return [*named, *rest]


def compliance_view(
    store: Store,
    first: str | None,
    last: str | None,
    scope: Scope,
    *,
    now: int | None = None,
) -> ComplianceView | None:
    """Return what the compliance page shows, or None while there is nothing.

    Nothing is missed after ``now`` (ns), by default that of the clock.

    Raises
    ------
    PeriodError
        If the dates cannot be understood.
    ChoiceError
        If the site has no such area or shift.
    """
    site, whole = site_in_force(store), whole_period(store)
    if site is None or whole is None:
        return None
    period = parse_period(first, last, whole)
    check(site, scope)
    with store.snapshot():  # every number is of one state of the store
        moment = time.time_ns() if now is None else now
        return _Asking(store, site, whole, period, scope, moment).view()


def check(site: Site, scope: Scope) -> None:
    """Raise ChoiceError if a site has no such area or shift."""
    if scope.area is not None and scope.area not in area_names(site):
        raise ChoiceError(f"The site file in force names no area {scope.area!r}.")
    if scope.shift and scope.shift not in {shift.name for shift in site.shifts}:
        raise ChoiceError(f"The site file in force names no shift {scope.shift!r}.")


def members(site: Site, area: str | None) -> list[str] | None:
    """Return the ids of the stations of an area; None stands for all."""
    if area is None:
        return None
    return [station.id for station in site.stations if (station.area or NO_AREA) == area]


@dataclass(frozen=True, eq=False)
class _Asking:
    """One look at the store: each question is asked once."""

    store: Store
    site: Site
    whole: Period
    period: Period
    scope: Scope
    now: int

    def view(self) -> ComplianceView:
        groups, failing = self.groups, self.failing
        covered = {group.name: group.coverage for group in groups}
        holes = {name: each for name, each in covered.items() if not each.is_whole}
        return ComplianceView(
            self.site,
            self.whole,
            self.period,
            self.scope,
            _total("", groups),
            _by_worst(failing),
            self.allowed(),
            self.without_bypass(),
            largest_holes(self.store, self.site, self.period, self.now, holes),
            len(holes),
            self.course(),
            ranked(groups),
            self.areas(),
            self.shifts(),
            self.failed(),
            self.nuisances(),
        )

    @cached_property
    def members(self) -> list[str] | None:
        return members(self.site, self.scope.area)

    @cached_property
    def until(self) -> int:
        """Nothing is missed beyond now. [ns]"""
        return min(self.period.bounds(self.site.zone)[1], self.now)

    @cached_property
    def waiting(self) -> Mapping[str, Waiting]:
        return waiting(self.store, self.period.bounds(self.site.zone)[1])

    def not_analysed_s(self, name: str, sums: DaySums) -> float:
        """Return the time of a station in which it has readings and no results yet. [s]"""
        waits = self.waiting.get(name)
        missing_s = _missing_s(sums, self.length_s)
        start = self.period.bounds(self.site.zone)[0]
        if waits is None or self.until <= start:
            return 0.0
        if self.scope.shift is None:
            return waits.not_analysed_s(missing_s, start, self.until)
        at_most = waits.not_analysed_s(seconds(self.until - start), start, self.until)
        return min(missing_s, at_most)

    def allowed(self) -> Allowed | None:
        if self.scope.shift is not None:
            return None
        return self.store.compliances.allowed(*self.period.bounds(self.site.zone), self.members)

    def without_bypass(self) -> tuple[int, int]:
        stations = [group.station for group in self.groups if group.station]
        flowing = [station for station in stations if station.tells_flow]
        return sum(Role.BYPASS not in station.points for station in flowing), len(flowing)

    @cached_property
    def cells(self) -> Cells:
        return shift_cells(self.store, self.period.first, self.period.last, self.site.zone)

    @cached_property
    def length_s(self) -> float:
        """How long a station could have been heard in the period, and in the shift. [s]"""
        start, end = self.period.bounds(self.site.zone)
        if self.scope.shift is None:
            return max(0.0, seconds(min(end, self.until) - start))
        mine = np.array([shift == self.scope.shift for shift in self.cells.shifts])
        lengths = np.diff(np.minimum(self.cells.edges, self.until))
        return float(lengths[mine].sum()) / NS_PER_S

    @cached_property
    def sums(self) -> dict[str, DaySums]:
        """The sums of each station, those without any among them."""
        days = self.period.first, self.period.last
        shift = self.scope.shift
        found = self.store.compliances.sums(*days, self.members, shifts=shift is not None)
        told = {row.station: row for row in found if row.shift == shift}
        ids = [row.id for row in self.site.stations] if self.members is None else self.members
        every = [*ids, *sorted(told.keys() - set(ids))]
        return {name: told.get(name, DaySums(name, days[0], shift)) for name in every}

    @cached_property
    def groups(self) -> list[Group]:
        known = {station.id: station for station in self.site.stations}
        return [
            _group(name, known.get(name), sums, self.length_s, self.not_analysed_s(name, sums))
            for name, sums in self.sums.items()
        ]

    @cached_property
    def failing(self) -> list[FailingTransfer]:
        start, end = self.period.bounds(self.site.zone)
        found = self.store.compliances.failing(start, end, self.members)
        if self.scope.shift is None:
            return found
        moments = np.array([row.start for row in found], np.int64)
        cell = self.cells.edges.searchsorted(moments, side="right") - 1
        shifts = self.cells.shifts
        return [r for r, n in zip(found, cell, strict=True) if shifts[n] == self.scope.shift]

    def failed(self) -> list[Failed]:
        latest = [row.id for row in self.failing[-LISTED:]]
        findings: dict[str, list[Finding]] = defaultdict(list)
        for finding in self.store.compliances.findings(latest):
            if finding.kind in NON_COMPLIANT:
                findings[finding.transfer or ""].append(finding)
        told = self.store.reviews.current(each for some in findings.values() for each in some)
        return [
            Failed(
                row,
                worst_of(each.kind for each in findings[row.id]),
                findings[row.id],
                [told.get(each.id) for each in findings[row.id]],
            )
            for row in reversed(self.store.compliances.transfers(latest))
        ]

    def course(self) -> Course:
        unit, edges = stretches(self.period)
        found = self.store.compliances.counts(edges, self.members, self.scope.shift)
        bad, of = [r.transfers - r.compliant for r in found], [r.transfers for r in found]
        return Course(unit, edges, bad, of, p_chart(bad, of))

    def areas(self) -> list[Place]:
        if self.scope.area is not None:
            return []
        parts: dict[str, list[Group]] = {name: [] for name in area_names(self.site)}
        for group in self.groups if parts else ():
            area = (group.station.area if group.station else None) or NO_AREA
            parts.setdefault(area, []).append(group)
        return ranked([_total(name, some) for name, some in parts.items()])

    def shifts(self) -> list[Group]:
        if self.scope.shift is not None or not self.site.shifts:
            return []
        days = self.period.first, self.period.last
        found = self.store.compliances.by_shift(*days, self.members)
        names = dict.fromkeys([*(shift.name for shift in self.site.shifts), *sorted(found)])
        rest = [""] if names.pop("", 0) is None else []
        return [
            Group(name, None, wilson(good, of))
            for name in (*names, *rest)
            for of, good in [found.get(name, (0, 0))]
        ]

    def nuisances(self) -> list[Nuisance]:
        names = {group.name: self.label(group) for group in self.groups}
        some = {name: sums for name, sums in self.sums.items() if nuisance_trips(sums)}
        return nuisances(some, names)

    def label(self, group: Group) -> str:
        return group.station.name if group.station else group.name


def _by_worst(failing: Sequence[FailingTransfer]) -> Counter[Worst]:
    worst: Counter[Worst] = Counter()
    for kinds, count in Counter(row.kinds for row in failing).items():
        worst[worst_of(kinds)] += count
    return worst


def stretches(period: Period) -> tuple[str, list[dt.date]]:
    """Return what a period is charted by, and the edges: ISO weeks, or months of a long one."""
    if period.days <= 7 * WEEKS:
        return "week", period_edges(period.first, period.last, "week")
    return "month", period_edges(period.first, period.last, "month")


def ranked(groups: Sequence[Group]) -> list[Place]:
    """Return groups by the cautious end of their compliance, too few and none at the end."""
    by_name = {group.name: group for group in groups}
    figures: dict[str, Figure] = {name: group.compliance for name, group in by_name.items()}
    return [
        Place(_rank(each), by_name[each.name]) for each in worst_first(figures, more_is_better=True)
    ]


def _rank(each: Ranked) -> str:
    return each.words if each.figure.of else "no transfers"


def nuisances(sums: Mapping[str, DaySums], names: Mapping[str, str]) -> list[Nuisance]:
    """Return the nuisance trips of stations, the most first; ranked by the cautious end."""
    counts = [nuisance_trips(row) for row in sums.values()]
    per_100 = rates(counts, [float(row.transfers) for row in sums.values()], 100)
    per_1000 = rates(counts, [row.flow_s / 3600 for row in sums.values()], 1000)
    figures: dict[str, Figure] = dict(zip(sums, per_100, strict=True))
    ranks = {each.name: each.words for each in worst_first(figures)}
    found = [
        Nuisance(
            station,
            names.get(station, station),
            {cause.partition("/")[2]: row.trips.get(cause, 0) for cause in NUISANCE_TRIPS},
            by_transfer,
            by_hour,
            ranks[station],
        )
        for (station, row), by_transfer, by_hour in zip(
            sums.items(), per_100, per_1000, strict=True
        )
    ]
    return sorted(found, key=lambda row: -row.count)


def _missing_s(sums: DaySums, length_s: float) -> float:
    return max(0.0, length_s - sums.known_s - sums.unknown_s)


def _group(
    name: str, station: Station | None, sums: DaySums, length_s: float, not_analysed_s: float
) -> Group:
    return Group(
        name,
        station,
        wilson(sums.compliant_transfers, sums.transfers),
        sums.not_bonded_s,
        sums.no_data_s,
        sums.bypassed_s,
        sums.flow_s,
        sums.known_s,
        sums.unknown_s,
        _missing_s(sums, length_s) - not_analysed_s,
        not_analysed_s,
        sums.flow_unknown_s,
    )


_SECONDS = (
    "not_bonded_s",
    "no_data_s",
    "bypassed_s",
    "flow_s",
    "known_s",
    "unknown_s",
    "no_record_s",
    "not_analysed_s",
    "flow_unknown_s",
)


def _total(name: str, groups: Sequence[Group]) -> Group:
    good = sum(group.compliance.count for group in groups)
    of = sum(group.compliance.of for group in groups)
    times = {each: sum(getattr(group, each) for group in groups) for each in _SECONDS}
    return Group(name, None, wilson(good, of), **times)
