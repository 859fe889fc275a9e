"""Failed hookups by station and suspected cause."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.core.shares import Share, wilson
from analytics.reports import words
from analytics.reports.ranks import RANK, Ranked, ranked
from analytics.reports.source import Source
from analytics.reports.tables import Column, Table, figure, frame
from bondtrail.results import Kind

ALL = "all causes"
UNTOLD = "no readings to tell by"

_MEANING = (
    "Marginal: the lowest reading came near the limit. Unsteady: readings kept jumping. Falling: "
    "they fell, but not far enough. Layer: a steady high resistance, as of paint, rust, lining or "
    "product in the path. A suspicion from the readings, not a diagnosis."
)


@dataclass(frozen=True, slots=True)
class _Failed:
    station: str
    cause: str
    share: Share
    place: int | None = None
    note: str = ""
    words: str = ""


_COLUMNS: Sequence[Column[_Failed]] = (
    Column("station", "Station", attrgetter("station")),
    Column("cause", "Suspected cause", attrgetter("cause")),
    *figure("share", "Share of its hookups", attrgetter("share")),
    *RANK,
)


def table(source: Source) -> Table:
    """Return the failed hookups of each station that has any, the worst by its interval first."""
    return Table(
        "failed_hookups",
        "Failed hookups by station and suspected cause",
        _COLUMNS,
        frame(_COLUMNS, _rows(source), source.site.zone),
        note=(
            f"{_MEANING} Intervals are Wilson's, 95 %. Ranked by the cautious end of that of all "
            "causes, here the lower one, highest first. Fewer than five hookups are too few to "
            "rank."
        ),
        empty="No failed hookup in this period.",
    )


def _rows(source: Source) -> list[_Failed]:
    causes: dict[str, Counter[str]] = {}
    for finding in source.begun(source.store.findings, kind=Kind.FAILED_HOOKUP):
        cause = str(finding.evidence.get("cause") or UNTOLD)
        causes.setdefault(finding.station, Counter())[cause] += 1
    failed = [row for row in source.by_station if row.sums.failed_hookups]
    return [
        row
        for place in ranked(failed, "failed_hookup_share")
        for row in _of(place, causes.get(place.row.group, {}))
    ]


def _of(whole: Ranked, causes: Mapping[str, int]) -> list[_Failed]:
    station, share = whole.row.group, whole.row.merits.failed_hookup_share
    parts = [
        _Failed(station, words.plain(cause), wilson(count, share.of))
        for cause, count in sorted(causes.items(), key=lambda item: -item[1])
    ]
    return [_Failed(station, ALL, share, whole.place, whole.note, whole.words), *parts]
