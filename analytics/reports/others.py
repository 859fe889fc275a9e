"""Findings that no transfer carries, yet are too grave to leave out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.reports import words
from analytics.reports.reviews import Told, reviews_of
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from bondtrail.results import Finding, Kind, Severity

KINDS = (Kind.ITEM_ISOLATED, Kind.PERMISSIVE_WITHOUT_BOND)


@dataclass(frozen=True, slots=True)
class _Found:
    finding: Finding
    review: Told


_COLUMNS: Sequence[Column[_Found]] = (
    Column("start", "Begins", attrgetter("finding.start"), Sort.TIME),
    Column("station", "Station", attrgetter("finding.station")),
    Column("kind", "Finding", lambda row: words.plain(row.finding.kind)),
    Column(
        "severity",
        "Severity",
        lambda row: str(row.finding.severity),
        marks={severity: severity for severity in Severity},
    ),
    Column("seconds", "Lasts", attrgetter("finding.seconds"), Sort.SECONDS),
    Column("summary", "Cause", attrgetter("finding.summary"), place=Place.BELOW),
    Column("review", "Review", lambda row: str(row.review), place=Place.BELOW),
    Column("finding", "Finding id", attrgetter("finding.id"), place=Place.DATA),
)


def table(source: Source) -> Table:
    """Return fixed items without a bond, and permissives closed without one."""
    found = sorted(
        (row for kind in KINDS for row in source.findings(kind)),
        key=lambda row: (row.start, row.station),
    )
    told = reviews_of(source, found)
    rows = [_Found(row, told[row.id]) for row in found]
    return Table(
        "other_findings",
        "Fixed items without a bond, and permissives closed without one",
        _COLUMNS,
        frame(_COLUMNS, rows, source.site.zone),
        empty="None in this period.",
    )
