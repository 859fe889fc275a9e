"""What the stations cannot be judged on, so that an absent finding is not taken for a good sign."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.reports import words
from analytics.reports.source import Source
from analytics.reports.tables import Column, Table, frame
from bondtrail.coverage import Reach, judgement


@dataclass(frozen=True, slots=True)
class _Gap:
    about: str
    reach: str
    reason: str
    stations: str


_COLUMNS: Sequence[Column[_Gap]] = (
    Column("about", "About", attrgetter("about")),
    Column("judged", "Judged", attrgetter("reach")),
    Column("reason", "Why not in full", attrgetter("reason")),
    Column("stations", "Stations", attrgetter("stations")),
)


def table(source: Source) -> Table:
    """Return what cannot be judged, or only in part, with the stations it is so at."""
    groups: dict[tuple[str, Reach, str], list[str]] = defaultdict(list)
    for station in source.site.stations:
        if source.is_wanted(station.id):
            for item in judgement(station):
                if item.reach is not Reach.FULL:
                    groups[item.about, item.reach, item.reason].append(station.id)
    rows = [
        _Gap(about, str(reach), reason, words.listed(stations))
        for (about, reach, reason), stations in groups.items()
    ]
    return Table(
        "not_judged",
        "What cannot be judged with the points the site file names",
        _COLUMNS,
        frame(_COLUMNS, rows, source.site.zone),
        empty="Every station has the points to be judged on everything.",
    )
