"""Findings that no transfer carries, yet are too grave to leave out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from operator import attrgetter

from analytics.reports import reviews, words
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, frame
from bondtrail.results import Finding, Kind, Review, Severity

KINDS = (Kind.ITEM_ISOLATED, Kind.PERMISSIVE_WITHOUT_BOND)


_COLUMNS: Sequence[Column[Finding]] = (
    Column("start", "Begins", attrgetter("start"), Sort.TIME),
    Column("station", "Station", attrgetter("station")),
    Column("kind", "Finding", lambda row: words.plain(row.kind)),
    Column(
        "severity",
        "Severity",
        lambda row: str(row.severity),
        marks={severity: severity for severity in Severity},
    ),
    Column("seconds", "Lasts", attrgetter("seconds"), Sort.SECONDS),
    Column("summary", "Cause", attrgetter("summary"), place=Place.BELOW),
    Column("finding", "Finding id", attrgetter("id"), place=Place.DATA),
)


def table(source: Source) -> Table:
    """Return fixed items without a bond, and permissives closed without one."""
    found = sorted(
        (row for kind in KINDS for row in source.begun(source.store.findings, kind=kind)),
        key=lambda row: (row.start, row.station),
    )
    said = source.store.reviews.current(found)
    columns = [*_COLUMNS, _review(said)]
    return Table(
        "other_findings",
        "Fixed items without a bond, and permissives closed without one",
        columns,
        frame(columns, found, source.site.zone),
        empty="None in this period.",
    )


def _review(said: Mapping[str, Review]) -> Column[Finding]:
    return Column("review", "Review", lambda row: reviews.in_words([row], said), place=Place.BELOW)
