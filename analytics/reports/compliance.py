"""Compliance: by station, area, shift and week, each with what stands behind it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter
from zoneinfo import ZoneInfo

from analytics.core.charts import PChart, p_chart
from analytics.kpis import KpiRow
from analytics.reports.period import ONE_DAY, Period, week_of
from analytics.reports.ranks import RANK, Ranked, ranked
from analytics.reports.report import Section
from analytics.reports.source import Source
from analytics.reports.tables import Column, Place, Sort, Table, figure, frame, within
from bondtrail.results import Severity
from bondtrail.times import local_day

OUTSIDE_SHIFTS = "(outside shifts)"
"""The time outside any shift."""

RANKED = (
    "Ranked by the upper end of the interval, lowest first: what is surely at least so bad comes "
    "first. Fewer than five transfers are too few to rank."
)


_FIGURES: Sequence[Column[KpiRow]] = (
    *figure("compliance", "Compliant", attrgetter("merits.compliance")),
    Column("not_bonded_s", "Not bonded in flow", attrgetter("sums.not_bonded_s"), Sort.SECONDS),
    Column("no_data_s", "Bond unknown in flow", attrgetter("sums.no_data_s"), Sort.SECONDS),
    Column("bypassed_s", "Bypassed in flow", attrgetter("sums.bypassed_s"), Sort.SECONDS),
    Column("flow_s", "Flow", attrgetter("sums.flow_s"), Sort.SECONDS),
    Column("known_s", "Bond known", attrgetter("sums.known_s"), Sort.SECONDS, place=Place.DATA),
    Column("unknown_s", "Bond unknown", attrgetter("sums.unknown_s"), Sort.SECONDS),
    Column("no_record_s", "No record", attrgetter("no_record_s"), Sort.SECONDS),
)


def _ranked_columns(group: str, head: str) -> list[Column[Ranked]]:
    return [
        Column(group, head, attrgetter("row.group")),
        *within(_FIGURES, attrgetter("row")),
        *RANK,
    ]


_BY_STATION = _ranked_columns("station", "Station")
_BY_AREA = _ranked_columns("area", "Area")
_BY_SHIFT: Sequence[Column[KpiRow]] = (
    Column("shift", "Shift", lambda row: row.shift or OUTSIDE_SHIFTS),
    *_FIGURES,
)


def section(source: Source) -> Section:
    """Return all that is told of compliance."""
    return Section(
        "Compliance",
        (
            "A transfer is compliant when it has no finding of: no bond, begun without a bond, "
            "bond lost in flow, bond unknown in flow, flow with the interlock bypassed; each "
            "beyond its allowance in the site file. Intervals are Wilson's, 95 %.",
        ),
        (stations(source), weeks(source), areas(source), shifts(source), periods(source)),
    )


def stations(source: Source) -> Table:
    """Return the compliance of each station, worst first."""
    return Table(
        "stations",
        "By station",
        _BY_STATION,
        frame(_BY_STATION, _ranked(source.by_station), source.site.zone),
        note=RANKED,
        empty="The site file names no stations.",
        chart="station_intervals",
    )


def _ranked(rows: Iterable[KpiRow]) -> list[Ranked]:
    return ranked(rows, "compliance", more_is_better=True)


def areas(source: Source) -> Table:
    """Return the compliance of each area; nothing where the site file names none."""
    named = any(station.area for station in source.site.stations)
    rows = source.kpis(per="area") if named else []
    return Table("areas", "By area", _BY_AREA, frame(_BY_AREA, _ranked(rows), source.site.zone))


def shifts(source: Source) -> Table:
    """Return the compliance of each shift; nothing where the site file names none."""
    rows = source.kpis(per="site", split_shifts=True) if source.site.shifts else []
    return Table(
        "shifts",
        "By shift",
        _BY_SHIFT,
        frame(_BY_SHIFT, rows, source.site.zone),
        note="A transfer counts in the shift in which it began; seconds are split between shifts.",
    )


def _first_day(row: KpiRow, zone: ZoneInfo) -> dt.date:
    return local_day(row.start, zone)


def periods(source: Source) -> Table:
    """Return the compliance of each station in each day, week or month, where that is asked for."""
    zone = source.site.zone
    columns: list[Column[KpiRow]] = [
        Column("station", "Station", attrgetter("group")),
        Column("first", "From", lambda row: _first_day(row, zone), Sort.DAY),
        Column("last", "To", lambda row: local_day(row.end - 1, zone), Sort.DAY, place=Place.DATA),
        *_FIGURES,
    ]
    rows = source.kpis(by=source.by) if source.by else []
    return Table(
        "periods",
        f"By station and {source.by or 'period'}",
        columns,
        frame(columns, rows, source.site.zone),
    )


@dataclass(frozen=True, slots=True)
class _Week:
    period: Period
    transfers: int
    not_compliant: int
    share: float
    centre: float | None
    lower: float
    upper: float
    outside: str


ABOVE, BELOW = "above its limit", "below its limit"
ROUGH = ", few expected: a weak sign"
"""Where fewer than five are expected on one side, a normal limit is only a rough guide."""

_WEEKS: Sequence[Column[_Week]] = (
    Column("week", "Week", lambda row: week_of(row.period.first).label),
    Column("first", "From", lambda row: row.period.first, Sort.DAY),
    Column("last", "To", lambda row: row.period.last, Sort.DAY),
    Column("transfers", "Transfers", attrgetter("transfers"), Sort.COUNT),
    Column("not_compliant", "Not compliant", attrgetter("not_compliant"), Sort.COUNT),
    Column("share", "Share", attrgetter("share"), Sort.SHARE),
    Column("centre", "Centre line", attrgetter("centre"), Sort.SHARE),
    Column("lower", "Lower limit", attrgetter("lower"), Sort.SHARE),
    Column("upper", "Upper limit", attrgetter("upper"), Sort.SHARE),
    Column(
        "outside",
        "Against its limits",
        attrgetter("outside"),
        marks={ABOVE: Severity.MAJOR, f"{ABOVE}{ROUGH}": Severity.MINOR},
    ),
)


def weeks(source: Source) -> Table:
    """Return the share of transfers that is not compliant in each week, with control limits."""
    return Table(
        "weeks",
        "Not compliant by week",
        _WEEKS,
        frame(_WEEKS, _charted(source), source.site.zone),
        note=(
            "A p-chart: the centre line is the share of the whole period, the limits lie three "
            "standard deviations from it for the number of transfers of that week. A week inside "
            "its limits gives no reason to look for a cause of its own; one above them does. "
            "Weeks are ISO weeks, cut where the period is; one without any record is left out."
        ),
        empty="No transfers in this period.",
        chart="weekly_shares",
    )


def _charted(source: Source) -> list[_Week]:
    rows = source.kpis(by="week", per="site")
    transfers = [row.sums.transfers for row in rows]
    if not any(transfers):
        return []
    bad = [row.sums.transfers - row.sums.compliant_transfers for row in rows]
    chart = p_chart(bad, transfers)
    zone = source.site.zone
    return [
        _Week(
            Period(local_day(row.start, zone), local_day(row.end - 1, zone) + ONE_DAY),
            transfers[n],
            bad[n],
            float(chart.share[n]),
            chart.centre,
            float(chart.lower[n]),
            float(chart.upper[n]),
            _against(chart, n),
        )
        for n, row in enumerate(rows)
    ]


def _against(chart: PChart, n: int) -> str:
    if not chart.outside[n]:
        return ""
    side = ABOVE if chart.share[n] > chart.upper[n] else BELOW
    return f"{side}{ROUGH}" if chart.is_rough[n] else side
