"""Data holes: where the bond is not known, or nothing is on record at all, and on which days."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import attrgetter

from analytics.kpis import KpiRow
from analytics.reports import words
from analytics.reports.period import ONE_DAY
from analytics.reports.report import Caveat, Coverage
from analytics.reports.source import Source
from analytics.reports.tables import Column, Sort, Table, frame
from bondtrail.times import day_edges, days_from, seconds

LEAST_S = 1.0
"""A shorter hole is a rounding of times, not a hole. [s]"""
MUCH_OF_A_DAY, SHORTEST_DAY_S = 0.1, 23 * 3600.0
MOST_NAMED, MOST_CASES = 8, 5
MOST_RANGES = 4


@dataclass(frozen=True, slots=True)
class Hole:
    """How much of a station's time is not known, and the days of which much is missing."""

    station: str
    coverage: Coverage
    days: str

    @property
    def missing_s(self) -> float:
        """Time without a known bond state. [s]"""
        return self.coverage.unknown_s + self.coverage.no_record_s


def holes(source: Source) -> list[Hole]:
    """Return the stations of which something is not known, the largest hole first."""
    found = {row.group: coverage for row in source.by_station if _is_hole(coverage := _of(row))}
    days = _days(source, [name for name, coverage in found.items() if _may_miss_a_day(coverage)])
    rows = [Hole(name, coverage, days.get(name, "")) for name, coverage in found.items()]
    return sorted(rows, key=lambda row: (-row.missing_s, row.station))


def _of(row: KpiRow) -> Coverage:
    return Coverage(row.sums.known_s, row.sums.unknown_s, row.no_record_s)


def _is_hole(coverage: Coverage) -> bool:
    return coverage.unknown_s + coverage.no_record_s >= LEAST_S


def _may_miss_a_day(coverage: Coverage) -> bool:
    """Return whether so much is missing that it can be much of a day, of 23 hours at least."""
    return coverage.unknown_s + coverage.no_record_s > MUCH_OF_A_DAY * SHORTEST_DAY_S


def _days(source: Source, stations: Sequence[str]) -> Mapping[str, str]:
    """Return the days of which each station misses much, as ranges."""
    if not stations:
        return {}
    days = days_from(source.period.first, source.period.last)
    starts = [min(edge, source.now) for edge in day_edges(days[0], days[-1], source.site.zone)]
    lengths = [seconds(b - a) for a, b in pairwise(starts)]
    known: dict[str, dict[int, float]] = defaultdict(dict)
    for mark in source.store.summaries.day_marks([*days, source.period.end], stations):
        known[mark.station][mark.part] = mark.known_s
    return {
        name: ranges(
            [
                day
                for n, day in enumerate(days)
                if lengths[n] - known[name].get(n, 0.0) > MUCH_OF_A_DAY * lengths[n]
            ]
        )
        for name in stations
    }


def ranges(days: Sequence[dt.date]) -> str:
    """Return rising days in words, such as ``2026-03-02, 2026-03-05 to 2026-03-09``."""
    found: list[list[dt.date]] = []
    for day in days:
        if found and day - found[-1][-1] == ONE_DAY:
            found[-1][1:] = [day]
        else:
            found.append([day])
    named = [" to ".join(map(str, ends)) for ends in found]
    more = len(named) - MOST_RANGES
    return ", ".join(named) if more <= 0 else f"{', '.join(named[:MOST_RANGES])} and {more} more"


def caveat(found: Sequence[Hole]) -> Caveat:
    """Return what the first page says of the holes; stations that miss the same days together."""
    groups: dict[str, list[Hole]] = defaultdict(list)
    for row in found:
        groups[row.days].append(row)
    order = sorted(groups.values(), key=lambda rows: -sum(row.missing_s for row in rows))
    cases = [_case(rows) for rows in order[:MOST_CASES]]
    if len(order) > MOST_CASES:
        rest = [row for rows in order[MOST_CASES:] for row in rows]
        cases.append(_case(rest, f"{words.plural(len(rest), 'more station')}, on other days"))
    text = (
        f"The records have holes at {words.plural(len(found), 'station')}. Nothing is claimed of "
        "these times, neither good nor bad."
    )
    return Caveat(text, cases)


def _case(rows: Sequence[Hole], named: str = "") -> str:
    """Return how much several stations miss; on which days, unless they are ``named`` otherwise."""
    parts = [
        f"{what} for {words.span(length)}"
        for what, length in (
            ("bond unknown", sum(row.coverage.unknown_s for row in rows)),
            ("no record", sum(row.coverage.no_record_s for row in rows)),
        )
        if length >= LEAST_S
    ]
    together = " in all" if len(rows) > 1 else ""
    when = f", mostly {rows[0].days}" if rows[0].days and not named else ""
    who = named or words.listed([row.station for row in rows], MOST_NAMED)
    return f"{who}: {', '.join(parts)}{together}{when}"


_COLUMNS: Sequence[Column[Hole]] = (
    Column("station", "Station", attrgetter("station")),
    Column("known_share", "Bond known", attrgetter("coverage.share"), Sort.SHARE),
    Column("unknown_s", "Bond unknown", attrgetter("coverage.unknown_s"), Sort.SECONDS),
    Column("no_record_s", "No record", attrgetter("coverage.no_record_s"), Sort.SECONDS),
    Column("days", "Days of which much is missing", attrgetter("days")),
)


def table(source: Source, found: Sequence[Hole]) -> Table:
    """Return the holes as a table."""
    return Table(
        "holes",
        "Holes in the records",
        _COLUMNS,
        frame(_COLUMNS, found, source.site.zone),
        note=(
            "Unknown: readings that came too late, or of bad quality. No record: before the first "
            "reading of a station or after its last. Much is missing of a day when the bond is "
            "not known for more than a tenth of it."
        ),
        empty="None: the bond state of every station is known at all times.",
    )
