"""A made-up quay with a month of results, every number of which the tests can count on."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

from analytics.core.quantiles import histogram
from analytics.core.wording import finding
from bondtrail.results import (
    Alarm,
    AlarmKind,
    DaySums,
    Finding,
    Hookup,
    HookupCause,
    Kind,
    Outcome,
    StationResults,
    Transfer,
    Trip,
    TripCause,
    TripClass,
)
from bondtrail.samples import Samples
from bondtrail.site import Limits, Site, parse_site
from bondtrail.times import NS_PER_S, day_start, parse_time
from store import Store

SITE = """
schema = 1
[site]
id = "quay"
name = "Quay <b>& sons</b> (invented)"
timezone = "Europe/Lisbon"

[[report]]
every = "weekly"
folder = "weekly"

[[report]]
every = "monthly"
folder = "monthly"
format = "csv"
by = "week"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
area = "Rail"
[station.points]
resistance = { unit = "ohm" }
flow = { unit = "L/min" }
bypass = {}

[[station]]
id = "tote"
name = "Tote filler"
kind = "ibc"
[station.points]
resistance = { unit = "ohm" }
flow = { unit = "L/min" }

[[station]]
id = "bowl"
name = "Bowl"
kind = "fixed_item"
[station.points]
resistance = { unit = "ohm" }
"""

MARCH, APRIL = dt.date(2026, 3, 1), dt.date(2026, 4, 1)
NOW = parse_time("2026-04-02T09:30:00Z")
S = NS_PER_S
HOUR = 3600 * S

FORMULA = '=HYPERLINK("http://example.invalid")'
SCRIPT = "<script>alert(1)</script>"

HOLE_DAYS = range(16, 19)
"""Days of March of which nothing of rail-1 is on record."""


def quay() -> Site:
    return parse_site(SITE)


def at(day: int, hour: float = 6.0) -> int:
    """Return a moment in March, after so many hours of the day on the site's clock."""
    return day_start(dt.date(2026, 3, day), quay().zone) + round(hour * HOUR)


def transfer(
    station: str = "rail-1", start: int | None = None, *, compliant: bool = True
) -> Transfer:
    start = at(2) if start is None else start
    return Transfer(
        station, start, start + HOUR, 3600.0, 48_000.0, "L", "B-1", "toluene", "A. Rower",
        compliant, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0, 2.5, 60.0,
    )  # fmt: skip


def of_transfer(row: Transfer, kind: Kind, **evidence: float | str | None) -> Finding:
    told = {"not_bonded_s": 8.0, "no_data_s": 40.0, "bypassed_s": 30.0, "volume": None, **evidence}
    span = row.start + 60 * S, row.start + 90 * S
    return finding(kind, row.station, span, Limits(), told, transfer=row.id)


LOST = replace(
    transfer(start=at(10), compliant=False), not_bonded_s=8.0, batch=FORMULA, operator=SCRIPT
)
BYPASSED = replace(transfer(start=at(11), compliant=False), bypassed_s=30.0)
UNSEEN = replace(transfer("tote", at(12), compliant=False), no_data_s=40.0)
BOTH = replace(transfer(start=at(13), compliant=False), not_bonded_s=8.0, bypassed_s=30.0)
BRIEFLY = replace(transfer(start=at(3)), not_bonded_s=1.0)
BOTH_BRIEFLY = replace(transfer(start=at(4)), not_bonded_s=2.0, no_data_s=9.0)
FAILING = (LOST, BYPASSED, UNSEEN, BOTH)

FINDINGS = (
    of_transfer(LOST, Kind.BOND_LOST_IN_FLOW),
    of_transfer(BYPASSED, Kind.BYPASSED_FLOW),
    of_transfer(UNSEEN, Kind.UNVERIFIABLE_FLOW),
    of_transfer(BOTH, Kind.UNBONDED_START),
    of_transfer(BOTH, Kind.BYPASSED_FLOW),
)

FAILED = Hookup(
    "rail-1", at(14), at(14) + 60 * S, Outcome.FAILED, None, 25.0, 30.0, HookupCause.LAYER
)
ISOLATED = finding(
    Kind.ITEM_ISOLATED,
    "bowl",
    (at(20), at(20, 8)),
    Limits(),
    {"running_s": 0.0, "after_work": True},
    transfer=None,
)
NUISANCE = Trip(
    "rail-1", at(15), "rail-1/x", TripClass.NUISANCE, TripCause.BRIEF_CONTACT_LOSS, False, 0.4, 2.0
)


def _days(station: str) -> tuple[DaySums, ...]:
    """Return two compliant transfers a day, those of `FAILING`, and a hole at rail-1."""
    found = []
    for day in range(1, 32):
        length_s = 82_800.0 if day == 29 else 86_400.0
        hole = station == "rail-1" and day in HOLE_DAYS
        bad = [row for row in FAILING if row.station == station and at(day, 0) <= row.start]
        bad = [row for row in bad if row.start < at(day, 0) + length_s * S]
        good = 0 if hole or station == "bowl" else 2
        sums = DaySums(
            station,
            dt.date(2026, 3, day),
            transfers=good + len(bad),
            compliant_transfers=good,
            flow_s=3600.0 * (good + len(bad)),
            flow_unknown_s=7200.0 if station == "tote" and day == 5 else 0.0,
            bypass_unknown_s=_bypass_unknown_s(station, day, good + len(bad)),
            not_bonded_s=sum(row.not_bonded_s for row in bad),
            no_data_s=sum(row.no_data_s for row in bad),
            bypassed_s=sum(row.bypassed_s for row in bad),
            hookups=good + len(bad),
            known_s=0.0 if hole else length_s - 40.0 * (station == "tote" and day == 12),
            unknown_s=40.0 if station == "tote" and day == 12 else 0.0,
            findings=_kinds(station, day),
            time_to_bond=histogram([2.5] * good),
        )
        found.append(sums)
    if station == "rail-1":
        found[13] = replace(
            found[13], hookups=3, failed_hookups=1, findings={str(Kind.FAILED_HOOKUP): 1}
        )
        found[14] = replace(
            found[14],
            trips={f"{TripClass.NUISANCE}/{TripCause.BRIEF_CONTACT_LOSS}": 6},
            findings={str(Kind.NUISANCE_TRIP): 6},
        )
    return tuple(found)


def _bypass_unknown_s(station: str, day: int, transfers: int) -> float:
    """Return all flow of a station that records no bypass, and an hour of one that does. [s]"""
    return 3600.0 * (transfers if station == "tote" else day == 6 and station == "rail-1")


def _kinds(station: str, day: int) -> dict[str, int]:
    here = [row for row in FINDINGS if row.station == station]
    kinds = [str(row.kind) for row in here if at(day, 0) <= row.start < at(day, 24)]
    return {kind: kinds.count(kind) for kind in sorted(set(kinds))}


def fill(store: Store) -> Site:
    """Put the quay and its month into a store; its last reading is of the end of March."""
    site = quay()
    store.put_site(site, 0)
    for station in ("rail-1", "tote", "bowl"):
        first, last = at(1, 0), at(31, 23.9)
        store.write({f"{station}.resistance": Samples.of([first, last], [3.0, 3.0])})
        store.save_results(_results(station), since=-(2**63), since_day=dt.date.min)
    for station, touch in store.touched().items():
        store.save_results(
            StationResults(station), since=2**62, since_day=dt.date(2300, 1, 1), touch=touch
        )
    return site


def _results(station: str) -> StationResults:
    failed = finding(
        Kind.FAILED_HOOKUP,
        FAILED.station,
        (FAILED.start, FAILED.end),
        Limits(),
        {"lowest_ohm": 25.0, "cause": "layer", "flow_s": 0.0},
        transfer=None,
    )
    findings = sorted((*FINDINGS, failed, ISOLATED), key=lambda row: row.start)
    return StationResults(
        station,
        transfers=tuple(row for row in (BRIEFLY, BOTH_BRIEFLY, *FAILING) if row.station == station),
        hookups=(FAILED,) if station == "rail-1" else (),
        trips=(NUISANCE,) if station == "rail-1" else (),
        findings=tuple(row for row in findings if row.station == station),
        alarms=(Alarm("rail-1", AlarmKind.BOND_LOST, at(10), at(10) + 30 * S),)
        if station == "rail-1"
        else (),
        days=_days(station),
    )
