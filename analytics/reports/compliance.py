"""Compliance: by station, area, shift and week, each with what stands behind it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter
from zoneinfo import ZoneInfo

import pandas as pd

from analytics.core.charts import PChart, p_chart
from analytics.kpis import NO_AREA, KpiRow
from analytics.reports import words
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
    "Ranked by the cautious end of the 95 % interval, here the upper one, lowest first. Fewer than "
    "five transfers are too few to rank."
)
_ROUNDING_S = 1e-3

NotAnalysed = Callable[[KpiRow], float]
"""How much time of a row is loaded and not analysed. [s]"""


def _figures(source: Source, not_analysed: NotAnalysed) -> Sequence[Column[KpiRow]]:
    def no_record(row: KpiRow) -> float:
        return max(0.0, row.no_record_s - not_analysed(row))

    told = Place.EVERYWHERE if source.waiting else Place.DATA
    return (
        *figure("compliance", "Compliant", attrgetter("merits.compliance")),
        _in_flow(source, "not_bonded_s", "Not bonded in flow"),
        _in_flow(source, "no_data_s", "Bond unknown in flow"),
        Column(
            "bypassed_s",
            "Bypassed in flow",
            lambda row: bypassed_s(source, row),
            Sort.SECONDS,
            missing=words.NOT_RECORDED,
        ),
        _seconds("bypass_unknown_s", "Bypass unknown in flow", Place.DATA),
        _in_flow(source, "flow_s", "Flow"),
        _seconds("flow_unknown_s", "Flow unknown", Place.DATA),
        _seconds("known_s", "Bond state known", Place.DATA),
        _seconds("unknown_s", "Bond state unknown"),
        Column("no_record_s", "No record", no_record, Sort.SECONDS),
        Column("not_analysed_s", "Not analysed", not_analysed, Sort.SECONDS, place=told),
    )


def _seconds(name: str, head: str, place: Place = Place.EVERYWHERE) -> Column[KpiRow]:
    return Column(name, head, attrgetter(f"sums.{name}"), Sort.SECONDS, place=place)


def _in_flow(source: Source, name: str, head: str) -> Column[KpiRow]:
    def read(row: KpiRow) -> float | None:
        seconds: float = getattr(row.sums, name)
        return None if not seconds and row.group in source.without_flow else seconds

    return Column(name, head, read, Sort.SECONDS, missing=words.NOT_RECORDED)


def bypassed_s(source: Source, row: KpiRow) -> float | None:
    """Return the flow of a row with the interlock bypassed; None where that is not recorded. [s]"""
    sums = row.sums
    if sums.bypassed_s:
        return sums.bypassed_s
    if not sums.flow_s:
        is_station = row.group in source.covered
        return 0.0 if not is_station or source.records_bypass(row.group) else None
    return None if sums.bypass_unknown_s >= sums.flow_s - _ROUNDING_S else 0.0


def _ranked_table(
    source: Source, group: str, head: str, rows: Iterable[KpiRow], not_analysed: NotAnalysed
) -> tuple[Sequence[Column[Ranked]], pd.DataFrame]:
    columns: list[Column[Ranked]] = [
        Column(group, head, attrgetter("row.group")),
        *within(_figures(source, not_analysed), attrgetter("row")),
        *RANK,
    ]
    ordered = ranked(rows, "compliance", more_is_better=True)
    return columns, frame(columns, ordered, source.site.zone)


def section(source: Source) -> Section:
    """Return all that is told of compliance."""
    return Section(
        "Compliance",
        (
            "A transfer is compliant when it has no finding of: no bond, begun without a bond, "
            "bond lost in flow, bond unknown in flow, flow with the interlock bypassed; each "
            "beyond its allowance in the site file. Intervals are Wilson's, 95 %. Where no bypass "
            "is recorded none can speak against a transfer.",
        ),
        (stations(source), weeks(source), areas(source), shifts(source), periods(source)),
    )


def stations(source: Source) -> Table:
    """Return the compliance of each station, worst first."""
    found = _ranked_table(source, "station", "Station", source.by_station, source.not_analysed_s)
    return Table(
        "stations",
        "By station",
        *found,
        note=RANKED,
        empty="The site file names no stations.",
        chart="station_intervals",
    )


def areas(source: Source) -> Table:
    """Return the compliance of each area; nothing where the site file names none."""
    named = any(station.area for station in source.site.stations)
    rows = source.kpis(per="area") if named else []
    areas_of = {row.id: row.area or NO_AREA for row in source.site.stations}

    def not_analysed(row: KpiRow) -> float:
        return sum(
            each.not_analysed_s
            for name, each in source.covered.items()
            if areas_of.get(name, NO_AREA) == row.group
        )

    return Table("areas", "By area", *_ranked_table(source, "area", "Area", rows, not_analysed))


def shifts(source: Source) -> Table:
    """Return the compliance of each shift; nothing where the site file names none."""
    rows = source.kpis(per="site", split_shifts=True) if source.site.shifts else []
    waiting_s = sum(each.not_analysed_s for each in source.covered.values())
    columns: list[Column[KpiRow]] = [
        Column("shift", "Shift", lambda row: row.shift or OUTSIDE_SHIFTS),
        *_figures(source, lambda row: min(row.no_record_s, waiting_s)),
    ]
    return Table(
        "shifts",
        "By shift",
        columns,
        frame(columns, rows, source.site.zone),
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
        *_figures(source, source.not_analysed_s),
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
