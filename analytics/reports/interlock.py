"""Bypass use and nuisance trips: where the interlock is defeated, and what makes people do so."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from operator import attrgetter

from analytics.core.charts import ParetoRow, pareto
from analytics.holes import LEAST_S
from analytics.kpis import KpiRow
from analytics.reports import holes, words
from analytics.reports.ranks import RANK, Ranked, ranked
from analytics.reports.source import Source
from analytics.reports.tables import Column, Sort, Table, figure, frame
from bondtrail.results import Kind, TripClass

_BYPASS: Sequence[Column[KpiRow]] = (
    Column("station", "Station", attrgetter("group")),
    Column("bypassed_s", "Bypassed in flow", attrgetter("sums.bypassed_s"), Sort.SECONDS),
    Column(
        "bypass_unknown_s", "Unknown in flow", attrgetter("sums.bypass_unknown_s"), Sort.SECONDS
    ),
    Column("flow_s", "Flow", attrgetter("sums.flow_s"), Sort.SECONDS),
    Column("bypass_share", "Share of flow", attrgetter("merits.bypass_share.value"), Sort.SHARE),
    Column(
        "findings", "Findings", lambda row: row.count("findings", Kind.BYPASSED_FLOW), Sort.COUNT
    ),
)


def bypass(source: Source) -> Table:
    """Return the use of the bypass, the longest first."""
    used = [row for row in source.by_station if row.sums.bypassed_s]
    rows = sorted(used, key=lambda row: -row.sums.bypassed_s)
    return Table(
        "bypass",
        "Bypass use by station",
        _BYPASS,
        frame(_BYPASS, rows, source.site.zone),
        empty="No flow with a bypass on is on record.",
    )


def unseen(source: Source) -> Sequence[str]:
    """Return what is said of bypass that is not recorded or unknown: none seen means nothing."""
    blind, of = holes.without_bypass(source)
    lines = []
    if blind:
        lines.append(
            f"Not recorded at {len(blind):,} of {words.plural(of, 'station')} with flow, so that "
            f"no bypass can be seen there: {words.listed(blind)}."
        )
    unknown = {
        row.group: row.sums.bypass_unknown_s
        for row in source.by_station
        if row.group not in blind and row.sums.bypass_unknown_s >= LEAST_S
    }
    if unknown:
        lines.append(
            f"Unknown for {words.span(sum(unknown.values()))} of flow in all at "
            f"{words.listed(list(unknown))}: a bypass may have been on then."
        )
    return lines


@dataclass(frozen=True, slots=True)
class _Cause:
    station: str
    cause: str
    row: ParetoRow


_PARETO: Sequence[Column[_Cause]] = (
    Column("station", "Station", attrgetter("station")),
    Column("cause", "Cause", attrgetter("cause")),
    Column("count", "Nuisance trips", attrgetter("row.count"), Sort.COUNT),
    Column("share", "Share of all", attrgetter("row.share"), Sort.SHARE),
    Column("cumulative", "Share so far", attrgetter("row.cumulative"), Sort.SHARE),
)


def causes(source: Source) -> Table:
    """Return nuisance trips by station and cause, the largest count first."""
    prefix = f"{TripClass.NUISANCE}/"
    counts = {
        (row.group, words.plain(name.removeprefix(prefix))): count
        for row in source.by_station
        for name, count in row.sums.trips.items()
        if name.startswith(prefix) and count
    }
    named = {f"{station}: {cause}": (station, cause) for station, cause in counts}
    rows = pareto({f"{station}: {cause}": n for (station, cause), n in counts.items()})
    told = [_Cause(*named[row.name], row) for row in rows]
    return Table(
        "nuisance_causes",
        "Nuisance trips by station and cause",
        _PARETO,
        frame(_PARETO, told, source.site.zone),
        note=(
            "Counts, for what to look at first. Where a station trips often because it is used "
            "often, the rates below tell."
        ),
        empty="No nuisance trip in this period.",
        chart="pareto_bars",
    )


_RATES: Sequence[Column[Ranked]] = (
    Column("station", "Station", attrgetter("row.group")),
    *figure(
        "nuisance_per_100_transfers",
        "Per 100 transfers",
        attrgetter("row.merits.nuisance_per_100_transfers"),
        Sort.NUMBER,
    ),
    *figure(
        "nuisance_per_1000_flow_h",
        "Per 1000 flow hours",
        attrgetter("row.merits.nuisance_per_1000_flow_h"),
        Sort.NUMBER,
        of=Sort.NUMBER,
    ),
    *RANK,
)


def rates(source: Source) -> Table:
    """Return the rates of nuisance trips, ranked by the cautious end of the interval."""
    rows = [row for row in source.by_station if row.sums.transfers or row.count("trips")]
    return Table(
        "nuisance_rates",
        "Rates of nuisance trips",
        _RATES,
        frame(_RATES, ranked(rows, "nuisance_per_100_transfers"), source.site.zone),
        note=(
            "Below each rate: trips of transfers or of flow hours, and the exact Poisson 95 % "
            "interval. Ranked by the cautious end of that per 100 transfers, here the lower one, "
            "highest first. Fewer than five trips are too few to rank."
        ),
        empty="No transfers in this period.",
    )
