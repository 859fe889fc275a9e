"""``bondtrail show kpis``: counts, sums and figures of merit over whole days of the site."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import click

from bondtrail.cli import figures, output
from bondtrail.cli.faults import Fault, near
from bondtrail.cli.output import Column, amount, length
from bondtrail.cli.tables import age
from bondtrail.cli.views import SPAN, Query, View
from bondtrail.objects import Fields, iso
from bondtrail.results import DAY_COUNTERS, DAY_HISTOGRAMS, DAY_SUMS, TripClass
from bondtrail.times import local_day

if TYPE_CHECKING:
    from analytics.kpis import KpiRow
    from bondtrail.site import Site
    from store import Store

OUTSIDE = "(outside shifts)"
"""What the time outside any shift is called where people read."""

STEPS = ("day", "week", "month")
GROUPS = ("station", "area", "site")
INTERVALS = {"wilson": "Wilson", "clopper-pearson": "exact Clopper-Pearson"}
"""Of the shares: what each is called."""

LEAST_FOR_MEDIAN, LEAST_FOR_P95 = 5, 20
"""Of fewer times a table tells no such percentile."""
UNKNOWN_FROM_S = 60.0
"""A table tells more than this of unknown flow or bypass."""

FIGURES = (
    "compliance",
    "failed_hookup_share",
    "nuisance_per_100_transfers",
    "nuisance_per_1000_flow_h",
    "bypass_share",
)
"""Figures with a count and an interval."""

NUMBERS = (
    "coverage",
    *(f"{name}_{part}_s" for name in DAY_HISTOGRAMS for part in ("p50", "p95")),
)
"""Figures without."""


def read(store: Store, query: Query) -> list[KpiRow]:
    """Return the rows that were asked for; the range is that of all results unless given."""
    from analytics.kpis import kpi_rows

    _refuse_parts(query)

    first = None if query.start is None else local_day(query.start, query.zone)
    last = None if query.end is None else local_day(query.end - 1, query.zone)
    if first is None or last is None:
        there = store.summaries.day_span()
        if there is None:
            return []
        first, last = first or there[0], last or there[1]
    asked = query.options
    split = bool(asked.get("by_shift")) or asked.get("shift") is not None
    if split and not query.site.shifts:
        raise Fault(
            "the site file names no shifts",
            'Add [[shift]] tables to it, each with name = "night", from = "22:00", to = "06:00".',
        )
    found = kpi_rows(
        store,
        query.site,
        first,
        last,
        by=asked.get("by"),
        per=asked.get("per") or "station",
        stations=_wanted(query.site, query.station, asked.get("area")),
        split_shifts=split,
        now=query.now,
        interval=asked.get("interval") or "wilson",
    )
    return _of_shift(found, asked.get("shift"), query.site)


def _refuse_parts(query: Query) -> None:
    """Refuse a part of a group under the name of the whole.

    Raises
    ------
    UsageError
        If that was asked for.
    """
    per, area = query.options.get("per"), query.options.get("area")
    if per == "site" and area is not None:
        raise click.UsageError("--per site does not go with --area: an area is not the site")
    if per in ("site", "area") and query.station is not None:
        raise click.UsageError(
            f"--per {per} does not go with --station: a station is not the {per}"
        )


def _wanted(site: Site, station: str | None, area: str | None) -> list[str] | None:
    """Return the stations that a row may hold; None for all.

    Raises
    ------
    Fault
        If there is no such area.
    """
    if area is None:
        return None if station is None else [station]
    from analytics.kpis import NO_AREA

    areas = {row.id: row.area or NO_AREA for row in site.stations}
    if area not in areas.values():
        raise Fault(f"no area {area!r}", near(area, areas.values()))
    return [name for name in areas if areas[name] == area and station in (None, name)]


def _of_shift(found: list[KpiRow], shift: str | None, site: Site) -> list[KpiRow]:
    """Return the rows of one shift, or all.

    Raises
    ------
    Fault
        If there is no such shift.
    """
    if shift is None:
        return found
    wanted = "" if shift == OUTSIDE else shift
    known = {"", *(row.name for row in site.shifts), *(row.shift or "" for row in found)}
    if wanted not in known:
        raise Fault(f"no shift {shift!r}", near(shift, {name or OUTSIDE for name in known}))
    return [row for row in found if row.shift == wanted]


def _sum(name: str) -> Callable[[KpiRow], object]:
    """Read a sum without the noise that adding floats leaves behind the microsecond."""
    return lambda row: round(getattr(row.sums, name), 6)


def _volume(row: KpiRow) -> float | None:
    """Read the volume; litres and kilograms together are none."""
    return round(row.sums.volume, 6) if row.unit or not row.sums.volume else None


_SUMS: Fields[KpiRow] = {
    **{name: _sum(name) for name in DAY_SUMS},
    "volume": _volume,
    "no_record_s": attrgetter("no_record_s"),
}


def _bins(name: str) -> Callable[[KpiRow], object]:
    """Read a histogram as its upper edges in s, and how many times each bin counts."""
    from analytics.core.quantiles import upper_edge_s

    def counts(row: KpiRow) -> dict[str, int]:
        return {
            f"{upper_edge_s(index):.6g}": count
            for index, count in sorted(getattr(row.sums, name).items())
        }

    return counts


def _figure(name: str) -> Callable[[KpiRow], object]:
    get = attrgetter(f"merits.{name}")
    return lambda row: figures.as_parts(get(row))


def _count(name: str, kind: str) -> Callable[[KpiRow], int]:
    return lambda row: getattr(row.sums, name).get(kind, 0)


def _head(query: Query) -> Fields[KpiRow]:
    per = query.options.get("per") or "station"
    shift: Fields[KpiRow] = {"shift": attrgetter("shift")} if _is_split(query) else {}
    return {
        per: attrgetter("group"),
        "from": lambda row: iso(row.start),
        "to": lambda row: iso(row.end),
        **shift,
        **_SUMS,
    }


def _is_split(query: Query) -> bool:
    return bool(query.options.get("by_shift")) or query.options.get("shift") is not None


def fields(query: Query) -> Fields[KpiRow]:
    """Return the keys of a row in JSON."""
    return {
        **_head(query),
        **{name: attrgetter(f"sums.{name}") for name in DAY_COUNTERS},
        **{name: _bins(name) for name in DAY_HISTOGRAMS},
        **{name: _figure(name) for name in FIGURES},
        **{name: attrgetter(f"merits.{name}") for name in NUMBERS},
    }


def flat_fields(query: Query) -> Fields[KpiRow]:
    """Return the columns of a row in CSV: one a count, and five a figure."""
    counts = {
        f"{name}.{kind}": _count(name, str(kind))
        for name, kinds in DAY_COUNTERS.items()
        for kind in kinds
    }
    found: dict[str, Callable[[KpiRow], object]] = {**_head(query), **counts}
    found |= {name: _bins(name) for name in DAY_HISTOGRAMS}
    for name in FIGURES:
        found |= figures.flat(name, attrgetter(f"merits.{name}"))
    return {**found, **{name: attrgetter(f"merits.{name}") for name in NUMBERS}}


def columns(query: Query) -> list[Column[KpiRow]]:
    """Return the columns of figures; below each name stand the period's first day and shift."""
    by, split, zone = query.options.get("by"), _is_split(query), query.zone

    def name(row: KpiRow) -> str:
        day = [f"{local_day(row.start, zone)}"] if by else []
        shift = [row.shift or OUTSIDE] if split else []
        return "\n".join([row.group, *day, *shift])

    def share(figure: str) -> Callable[[KpiRow], str]:
        get = attrgetter(f"merits.{figure}")
        return lambda row: figures.share_cell(get(row))

    return [
        Column((query.options.get("per") or "station").capitalize(), name, wraps=True),
        Column("Compliant", share("compliance"), right=True),
        Column("Failed", share("failed_hookup_share"), right=True),
        Column("Nuisance trips", _nuisance, right=True),
        Column("Flow", _flow, right=True),
        Column("Bond, stop", _times, right=True),
        Column("Known of\nrecord", _known, right=True),
    ]


def _nuisance(row: KpiRow) -> str:
    trips = row.count("trips")
    per_transfers = row.merits.nuisance_per_100_transfers
    per_hours = row.merits.nuisance_per_1000_flow_h
    if per_transfers.value is None and per_hours.value is None and not trips:
        return "-"
    lines = [
        f"{row.count('trips', f'{TripClass.NUISANCE}/'):,} of {trips:,} trips",
        figures.rate_cell(per_transfers, "/100"),
        figures.rate_cell(per_hours, "/1000 h"),
        figures.TOO_FEW if per_transfers.is_few else "",
    ]
    return "\n".join(line for line in lines if line)


def _flow(row: KpiRow) -> str:
    if not row.sums.flow_s:
        return "-"
    share = row.merits.bypass_share.value
    bypass = [] if not share else ["bypass", f"{figures.percent(share)} %"]
    return "\n".join([f"{row.sums.flow_s / 3600:,.1f} h", *bypass])


def _times(row: KpiRow) -> str:
    found, sums = row.merits, row.sums
    lines = [
        _percentiles(sums.time_to_bond, found.time_to_bond_p50_s, found.time_to_bond_p95_s),
        _percentiles(sums.time_to_stop, found.time_to_stop_p50_s, found.time_to_stop_p95_s),
    ]
    return "\n".join(lines) if lines != ["-", "-"] else "-"


def _percentiles(histogram: Mapping[int, int], half: float | None, most: float | None) -> str:
    """Return median and 95th percentile, as far as so many tell, and below of how many."""
    count = sum(histogram.values())
    if half is None or most is None:
        return "-"
    if count < LEAST_FOR_MEDIAN:
        return f"too few\nn {count}"
    upper = f"{most:.3g}" if count >= LEAST_FOR_P95 else "-"
    return f"{half:.3g}/{upper}\nn {count:,}"


def _known(row: KpiRow) -> str:
    share, sums = row.merits.coverage, row.sums
    lines = [] if share is None else [f"{figures.percent(share)} %"]
    if row.no_record_s:
        lines.append(f"gap {age(row.no_record_s)}")
    if sums.flow_unknown_s > UNKNOWN_FROM_S:
        lines.append(f"flow ? {age(sums.flow_unknown_s)}")
    if sums.bypass_unknown_s > UNKNOWN_FROM_S:
        some = f" {age(sums.bypass_unknown_s)}" if row.merits.bypass_share.of else ""
        lines.append(f"bypass ?{some}")
    return "\n".join(lines) or "-"


NOTES = (
    "Nuisance trips per 100 transfers and per 1000 h of flow, with exact Poisson 95 % intervals;\n"
    "too few to rank: under 5 of what is counted. Bypass: share of flow with the bypass known.\n"
    "Bond, stop: median/95th percentile of time to bond and, below, of time to stop, in s, within\n"
    "1.2 %, of n times: the median from 5 on, the percentile from 20 on.\n"
    "Known of record: share of the recorded time with the bond known. Gap: time without any\n"
    "record, of all stations. flow ?: recorded time with flow unknown; bypass ?: flow with the\n"
    "bypass unknown, all of it where no time stands."
)


def _interval_note(query: Query, _: Sequence[KpiRow]) -> Sequence[str]:
    name = INTERVALS[query.options.get("interval") or "wilson"]
    return [
        f"Compliant: of all transfers, failed: of all hookups, each with its {name} 95 % interval."
    ]


VIEW: View[Any] = View(
    read,
    fields,
    columns,
    SPAN | {"by", "per", "area", "shift", "by_shift", "interval"},
    flat=flat_fields,
    notes=(NOTES, output.CAUTION),
    remarks=_interval_note,
    title="Figures of merit",
)


def overview_columns() -> list[Column[KpiRow]]:
    """Return the columns of sums per station: counts that need no interval."""
    return [
        Column("Station", lambda row: row.group, wraps=True),
        Column("Compliant", lambda row: _of(row, "compliant_transfers", "transfers"), right=True),
        Column("Flow h", lambda row: _hours(row.sums.flow_s), right=True),
        Column("Unbonded", lambda row: _exposure(row.sums.not_bonded_s), right=True),
        Column("No data", lambda row: _exposure(row.sums.no_data_s), right=True),
        Column("Bypass", _bypass, right=True),
        Column("Failed", lambda row: _of(row, "failed_hookups", "hookups"), right=True),
        Column("Nuisance", _nuisance_of, right=True),
        Column("Findings", lambda row: amount(row.count("findings")), right=True),
    ]


OVERVIEW_NOTE = (
    "Compliant: of all transfers. Failed: of all hookups. Nuisance: of all trips.\n"
    "Unbonded, no data, bypass: time of flow, in s, min:s or h:min:s; ?: bypass unknown in all.\n"
    "With intervals: bondtrail show kpis."
)


def _of(row: KpiRow, part: str, whole: str) -> str:
    number = getattr(row.sums, whole)
    return f"{getattr(row.sums, part)}/{number}" if number else "-"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:,.1f}" if seconds else "-"


def _nuisance_of(row: KpiRow) -> str:
    trips = row.count("trips")
    return f"{row.count('trips', f'{TripClass.NUISANCE}/')}/{trips}" if trips else "-"


def _bypass(row: KpiRow) -> str:
    if row.sums.bypass_unknown_s and not row.merits.bypass_share.of:
        return "?"
    return _exposure(row.sums.bypassed_s)


def _exposure(seconds: float) -> str:
    return length(seconds) if seconds else "-"
