"""What the page of one station asks: its sums, and the latest of its lists."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bondtrail.results import DaySums, Finding, Hookup, Kind, Review, Severity, Transfer
from bondtrail.site import Site, Station
from dashboard.figures.calendar import Calendar
from dashboard.figures.wear import Resistance
from dashboard.period import Period, parse_period
from dashboard.queries.sites import site_in_force, whole_period
from dashboard.queries.stations import StationRow, calendar_of
from dashboard.queries.wear import TripsCourse, resistance_of, trips_course_of
from store import Store, TripCount

LISTED = 1000
"""Rows of a list: the latest are shown, and how many there are is said."""


@dataclass(frozen=True, slots=True, eq=False)
class StationView:
    """What the page of one station shows. Lists hold the latest, ``row`` says of how many.

    ``findings`` begins with those that go on from before the period; ``kinds`` counts them too.
    """

    site: Site
    station: Station
    whole: Period
    period: Period
    row: StationRow
    calendar: Calendar
    column_days: str
    kinds: Counter[tuple[Kind, Severity]]
    trips: Sequence[TripCount]
    findings: Sequence[Finding]
    transfers: Sequence[Transfer]
    hookups: Sequence[Hookup]
    trips_course: TripsCourse
    resistance: Resistance | None
    reviews: Mapping[str, Review]
    """The latest review of each finding that is listed, by the finding's id."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which findings are listed: of these kinds and severities, or all where none is named."""

    kinds: frozenset[Kind] = frozenset()
    severities: frozenset[Severity] = frozenset()

    def includes(self, finding: Finding) -> bool:
        """Tell whether a finding is of what is chosen."""
        return finding.kind in (self.kinds or {finding.kind}) and finding.severity in (
            self.severities or {finding.severity}
        )


def parse_choice(kinds: str | None, severities: str | None) -> Choice:
    """Return the choice that an address makes; names that stand for nothing are left out."""
    return Choice(
        frozenset(Kind(name) for name in (kinds or "").split(",") if name in set(Kind)),
        frozenset(Severity(n) for n in (severities or "").split(",") if n in set(Severity)),
    )


def station_view(
    store: Store, station_id: str, first: str | None, last: str | None, choice: Choice
) -> StationView | None:
    """Return what the page of a station shows, or None if there is no such station or no data.

    Raises
    ------
    PeriodError
        If the dates cannot be understood.
    """
    site, whole = site_in_force(store), whole_period(store)
    if site is None or whole is None or station_id not in {s.id for s in site.stations}:
        return None
    period = parse_period(first, last, whole)
    start, end = period.bounds(site.zone)
    station = site.station(station_id)
    asked = store.summaries
    totals = asked.day_totals(period.first, period.last, station_id)
    row = StationRow(station, totals[0] if totals else DaySums(station_id, period.first))
    before = asked.ongoing_findings(station_id, start)
    kinds = Counter((finding.kind, finding.severity) for finding in before)
    row.from_before.update(finding.severity for finding in before)
    row.severities.update(row.from_before)
    for found in asked.finding_counts(station_id, start, end):
        kinds[found.kind, found.severity] += found.count
        row.severities[found.severity] += found.count
    trips = asked.trip_counts(station_id, start, end)
    for trip in trips:
        row.trips[trip.trip_class] += trip.count
    calendar, columns = calendar_of(store, site, period, [station])
    findings = [finding for finding in before if choice.includes(finding)]
    findings += asked.latest_findings(
        station_id, start, end, LISTED, kinds=choice.kinds, severities=choice.severities
    )
    return StationView(
        site,
        station,
        whole,
        period,
        row,
        calendar,
        columns,
        kinds,
        trips,
        findings,
        asked.latest_transfers(station_id, start, end, LISTED),
        asked.latest_hookups(station_id, start, end, LISTED),
        trips_course_of(store, site, station_id, start, end),
        resistance_of(store, station, (start, end)),
        store.reviews.current(findings),
    )
