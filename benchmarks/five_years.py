"""Five years of results of 400 invented stations: what questions about them are timed on.

A few stations are made up day by day and saved as an analysis saves them; the others are copies,
made by the database, because saving each of them would take longer than all that is timed.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from sqlalchemy import BigInteger, Integer, Table, func, insert, literal, select, update

from analytics.core.quantiles import histogram
from bondtrail.results import (
    CLASS_OF,
    DAY_COUNTERS,
    DAY_HISTOGRAMS,
    DAY_SUMS,
    Alarm,
    AlarmKind,
    DaySums,
    Finding,
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    Severity,
    StationResults,
    Transfer,
    Trip,
    TripCause,
    TripClass,
)
from bondtrail.site import Site, parse_site
from bondtrail.times import NS_PER_S, day_start, days_from
from store import Store, schema

STATIONS = 400
FIRST, LAST = dt.date(2021, 1, 1), dt.date(2025, 12, 31)
QUARTER = dt.date(2025, 10, 1)
"""From here on there are episodes too, not just sums."""

AREAS, POSITIONS = 10, 4
SHIFTS = {"early": (6, 14), "late": (14, 22), "night": (22, 6)}
TEMPLATES = 4
_SEED = 11


def five_years_site(stations: int = STATIONS) -> Site:
    """Return the invented site: its stations in areas and positions, and three shifts."""
    head = """
    schema = 1
    [site]
    id = "bench"
    name = "Bench (invented)"
    timezone = "Europe/Lisbon"
    """
    shifts = [
        f'[[shift]]\nname = "{name}"\nfrom = "{begin:02}:00"\nto = "{end:02}:00"'
        for name, (begin, end) in SHIFTS.items()
    ]
    bays = [
        f'[[station]]\nid = "{name}"\nname = "Bay {n}"\nkind = "road_tanker"\n'
        f'area = "Area {n % AREAS}"\nposition = "Desk {n % POSITIONS}"\n'
        '[station.points]\nresistance = { unit = "ohm" }\nflow = { unit = "L/min" }'
        for n, name in enumerate(station_ids(stations))
    ]
    return parse_site("\n".join([head, *shifts, *bays]))


def station_ids(stations: int = STATIONS) -> list[str]:
    """Return the ids, all of one length."""
    return [f"bay-{n:03}" for n in range(stations)]


def fill(store: Store, stations: int = STATIONS, *, shifts: bool = True) -> Site:
    """Put the site and its results into an empty store, and return the site.

    Without ``shifts`` there are the sums of days, but not those of their parts, which are three
    times as many.
    """
    site = five_years_site(stations)
    store.put_site(site, 0)
    names = station_ids(stations)
    made, copied = names[:TEMPLATES], names[TEMPLATES:]
    rng = np.random.default_rng(_SEED)
    for name in made:
        found = _results(site, name, rng)
        found = found if shifts else replace(found, shifts=())
        store.save_results(found, since=-(2**63), since_day=dt.date.min)
    with store._db.writing() as tx:  # to copy results is no business of the store's face
        for table in _with_results():
            for index in table.indexes:  # made anew at the end, in order, in a tenth of the time
                index.drop(tx.conn)
            for n, name in enumerate(copied):
                tx.conn.execute(_copy(table, made[n % TEMPLATES], name))
            for index in table.indexes:
                index.create(tx.conn)
        tx.conn.execute(update(schema.touched).values(since_ns=None))
        if tx.conn.dialect.name == "sqlite":
            tx.conn.exec_driver_sql("analyze")
    return site


def _with_results() -> list[Table]:
    inputs = {"point", "touched", "work", "ticket", "review"}
    return [
        table
        for name, table in schema.METADATA.tables.items()
        if "station" in table.c and name not in inputs
    ]


def _copy(table: Table, template: str, station: str) -> Any:
    """Return the statement that gives a station what the template has in a table."""
    named = {"id", "transfer", "findings"}  # their text holds the id of the station
    taken: dict[str, Any] = {
        column.name: func.replace(column, template, station) if column.name in named else column
        for column in table.c
        if not (column.name == "id" and isinstance(column.type, BigInteger | Integer))
        and not (column.name == "findings" and table.name != "transfer")
    }
    taken["station"] = literal(station)
    return insert(table).from_select(
        list(taken), select(*taken.values()).where(table.c.station == template)
    )


def _results(site: Site, station: str, rng: np.random.Generator) -> StationResults:
    parts = [_part(station, day, shift, rng) for day in days_from(FIRST, LAST) for shift in SHIFTS]
    whole = [_sum(parts[n : n + len(SHIFTS)]) for n in range(0, len(parts), len(SHIFTS))]
    return StationResults(
        station, days=tuple(whole), shifts=tuple(parts), **_episodes(site, whole, rng)
    )


def _part(station: str, day: dt.date, shift: str, rng: np.random.Generator) -> DaySums:
    """Return what a shift has of a day: about one transfer, and now and then a trouble."""
    transfers = int(rng.poisson(1.2))
    hookups = transfers + int(rng.poisson(0.1))
    failed = int(rng.binomial(hookups, 0.04))
    lost = int(rng.binomial(transfers, 0.02))
    brief, genuine = int(rng.binomial(transfers, 0.05)), int(rng.binomial(transfers, 0.01))
    flow_s = transfers * float(rng.normal(3300, 60))
    unknown_s = float(rng.exponential(30.0))
    low_s = hookups * 4200.0
    return DaySums(
        station,
        day,
        shift,
        transfers=transfers,
        compliant_transfers=transfers - lost,
        flow_s=flow_s,
        flow_unknown_s=unknown_s,
        not_bonded_s=20.0 * lost,
        no_data_s=float(rng.exponential(2.0)) if transfers else 0.0,
        bypass_unknown_s=flow_s,  # the stations have no bypass point
        volume=flow_s * 13.5,
        hookups=hookups,
        failed_hookups=failed,
        touches=int(rng.poisson(0.2)),
        low_s=low_s,
        high_s=30.0 * hookups,
        open_s=28_800.0 - low_s - 30.0 * hookups - unknown_s,
        known_s=28_800.0 - unknown_s,
        unknown_s=unknown_s,
        trips=_some({_of(TripCause.BRIEF_CONTACT_LOSS): brief, _of(TripCause.CLAMP_OFF): genuine}),
        findings=_some(
            {
                str(Kind.BOND_LOST_IN_FLOW): lost,
                str(Kind.FAILED_HOOKUP): failed,
                str(Kind.NUISANCE_TRIP): brief,
            }
        ),
        alarms=_some({str(AlarmKind.BOND_LOST): lost + brief + genuine}),
        time_to_bond=histogram(rng.lognormal(1.0, 0.5, hookups - failed).tolist()),
        time_to_stop=histogram(rng.lognormal(0.8, 0.3, brief + genuine).tolist()),
    )


def _of(cause: TripCause) -> str:
    return f"{CLASS_OF[cause]}/{cause}"


def _some(counts: dict[str, int]) -> dict[str, int]:
    return {name: count for name, count in counts.items() if count}


def _sum(parts: Sequence[DaySums]) -> DaySums:
    """Return the day that the parts make up."""
    total: dict[str, Any] = {name: sum(getattr(part, name) for part in parts) for name in DAY_SUMS}
    for name in (*DAY_COUNTERS, *DAY_HISTOGRAMS):
        counts: Counter[Any] = Counter()
        for part in parts:
            counts.update(getattr(part, name))
        total[name] = dict(sorted(counts.items()))
    return DaySums(parts[0].station, parts[0].day, **total)


def _episodes(
    site: Site, days: Sequence[DaySums], rng: np.random.Generator
) -> dict[str, tuple[Any, ...]]:
    """Return the episodes of the last quarter, as many as its days count."""
    found: dict[str, list[Any]] = {
        name: [] for name in ("transfers", "hookups", "trips", "findings", "alarms")
    }
    for day in days:
        if day.day < QUARTER:
            continue
        midnight = day_start(day.day, site.zone)
        _add_hookups(day, midnight, rng, found)
        _add_transfers(day, midnight, rng, found)
    return {name: tuple(rows) for name, rows in found.items()}


def _times(midnight: int, count: int, length_s: float) -> Iterator[tuple[int, int]]:
    """Yield the spans of so many things a day, one after the other. [ns]"""
    step = 86_400 / max(count, 1)
    for n in range(count):
        start = midnight + int(n * step) * NS_PER_S
        yield start, start + int(min(length_s, 0.9 * step)) * NS_PER_S


def _add_hookups(
    day: DaySums, midnight: int, rng: np.random.Generator, found: dict[str, list[Any]]
) -> None:
    for n, (start, end) in enumerate(_times(midnight, day.hookups, 4200.0)):
        failed = n < day.failed_hookups
        found["hookups"].append(
            Hookup(
                day.station,
                start,
                end,
                Outcome.FAILED if failed else Outcome.VERIFIED,
                None if failed else 2.5,
                25.0 if failed else 2.1,
                30.0 if failed else round(float(rng.normal(3.0, 0.2)), 3),
                HookupCause.LAYER if failed else None,
            )
        )
        if failed:
            told = f"The hookup of {(end - start) / NS_PER_S:.1f} s never achieved ground."
            found["findings"].append(_finding(Kind.FAILED_HOOKUP, day, None, start, end, told))


def _add_transfers(
    day: DaySums, midnight: int, rng: np.random.Generator, found: dict[str, list[Any]]
) -> None:
    lost = day.transfers - day.compliant_transfers
    causes = [name for name, count in day.trips.items() for _ in range(count)]
    for n, (start, end) in enumerate(_times(midnight, day.transfers, 3300.0)):
        flow_s = (end - start) / NS_PER_S
        row = Transfer(
            day.station,
            start,
            end,
            flow_s,
            flow_s * 13.5,
            "L",
            f"B-{start // NS_PER_S % 100_000}",
            "product",
            "",
            n >= lost,
            20.0 if n < lost else 0.0,
            0.0,
            0.0,
            270.0 if n < lost else 0.0,
            0.0,
            0.0,
            int(n < len(causes)),
            2.5,
            float(rng.exponential(60.0)),
        )
        middle = (start + end) // 2
        if n < len(causes):
            cause = TripCause(causes[n].partition("/")[2])
            found["trips"].append(
                Trip(day.station, middle, row.id, CLASS_OF[cause], cause, False, 0.6, 2.2)
            )
            found["alarms"].append(Alarm(day.station, AlarmKind.BOND_LOST, middle, end))
            if CLASS_OF[cause] is TripClass.NUISANCE:
                told = "Flow stopped on a loss of contact of 0.6 s."
                finding = _finding(Kind.NUISANCE_TRIP, day, row.id, middle, middle, told)
                found["findings"].append(finding)
        if n < lost:
            until = start + 20 * NS_PER_S
            told = "Flow went on for 20.0 s after the bond was lost."
            finding = _finding(Kind.BOND_LOST_IN_FLOW, day, row.id, start, until, told)
            found["findings"].append(finding)
            found["alarms"].append(Alarm(day.station, AlarmKind.BOND_LOST, start, until))
            row = replace(row, findings=(finding.id,))
        found["transfers"].append(row)


def _finding(
    kind: Kind, day: DaySums, transfer: str | None, start: int, end: int, summary: str
) -> Finding:
    severity = Severity.CRITICAL if kind is Kind.BOND_LOST_IN_FLOW else Severity.MINOR
    evidence = {"seconds": (end - start) / NS_PER_S}
    limits = {"limit_ohm": 10.0, "stop_allowance_s": 5.0}
    return Finding(kind, severity, day.station, transfer, start, end, summary, evidence, limits)
