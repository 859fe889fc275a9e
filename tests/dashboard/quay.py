"""A tiny invented site with results written by hand, so that the board is tested by itself."""

from __future__ import annotations

import dataclasses
import datetime as dt
import math

import numpy as np

from bondtrail.results import (
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
from bondtrail.samples import Samples
from bondtrail.site import Site
from bondtrail.times import parse_time, stamp
from store import Store

S = 1_000_000_000
EARLIEST = dt.date(1970, 1, 1)

SITE = """
schema = 1
[site]
id = "quay"
name = "Test Quay (invented)"
timezone = "Europe/Lisbon"

[[shift]]
name = "early"
from = "06:00"
to = "14:00"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
area = "Rails"
unit = "M1"
channel = 1
limit_ohm = 12.0
[station.points]
resistance = { unit = "ohm" }
permissive = { stale_after_s = 7200 }
flow = { unit = "L/min" }
bypass = { stale_after_s = 7200 }

[[station]]
id = "drum-1"
name = "Drum filler 1"
kind = "drum"
[station.points]
status = {}

[[station]]
id = "bowl"
name = "Dryer bowl"
kind = "fixed_item"
[station.points]
resistance = { unit = "ohm" }
running = { stale_after_s = 7200 }

[[station]]
id = "bay-9"
name = "Road bay 9"
kind = "road_tanker"
[station.points]
resistance = { unit = "ohm" }
"""


def at(text: str) -> int:
    return parse_time(f"2026-03-{text}Z")


BAD_START = at("02T10:00:00")
GOOD_START = at("03T10:00:00")
BAD_ID = f"rail-1/{stamp(BAD_START)}"
GOOD_ID = f"rail-1/{stamp(GOOD_START)}"
RUN_ID = f"bowl/{stamp(at('02T08:00:00'))}"


def transfer(start: int, station: str = "rail-1", **other: object) -> Transfer:
    told: dict[str, object] = {
        "station": station,
        "start": start,
        "end": start + 300 * S,
        "flow_s": 300.0,
        "volume": 4000.0,
        "unit": "L",
        "batch": "B-17",
        "product": "toluene",
        "operator": "J. Invented",
        "compliant": True,
        "not_bonded_s": 0.0,
        "no_data_s": 0.0,
        "bypassed_s": 0.0,
        "not_bonded_volume": 0.0,
        "no_data_volume": 0.0,
        "bypassed_volume": 0.0,
        "trips": 0,
        "time_to_bond_s": 1.2,
        "bond_lead_s": 30.0,
    }
    return Transfer(**(told | other))  # type: ignore[arg-type]


def finding(
    kind: Kind,
    severity: Severity,
    start: int,
    seconds: float,
    *,
    station: str = "rail-1",
    of: str | None = BAD_ID,
) -> Finding:
    end = start + round(seconds * S)
    said = f"Something like {kind.replace('_', ' ')} for {seconds:g} s."
    evidence = {"not_bonded_s": seconds, "marginal": False, "cause": None}
    return Finding(kind, severity, station, of, start, end, said, evidence, {"limit_ohm": 12.0})


RAIL = StationResults(
    station="rail-1",
    transfers=(
        transfer(
            BAD_START,
            compliant=False,
            not_bonded_s=20.0,
            not_bonded_volume=260.0,
            trips=1,
            findings=(f"rail-1/bond_lost_in_flow/{stamp(BAD_START + 100 * S)}",),
        ),
        transfer(GOOD_START, batch=None, operator=None),
    ),
    hookups=(
        Hookup("rail-1", BAD_START - 200 * S, BAD_START - 150 * S, Outcome.FAILED, None, 410.0,
               520.0, HookupCause.LAYER),
        Hookup("rail-1", BAD_START - 60 * S, BAD_START + 100 * S, Outcome.VERIFIED, 1.2, 3.0, 4.0,
               None),
        Hookup("rail-1", GOOD_START - 60 * S, GOOD_START + 400 * S, Outcome.VERIFIED, 1.0, 3.1,
               4.1, None),
    ),
    trips=(
        Trip("rail-1", BAD_START + 110 * S, BAD_ID, TripClass.GENUINE, TripCause.CLAMP_OFF, False,
             60.0, 20.0),
    ),
    findings=(
        finding(Kind.FAILED_HOOKUP, Severity.MINOR, BAD_START - 200 * S, 50, of=None),
        finding(Kind.BOND_LOST_IN_FLOW, Severity.CRITICAL, BAD_START + 100 * S, 20),
        finding(Kind.UNVERIFIABLE_FLOW, Severity.MAJOR, BAD_START + 200 * S, 30),
    ),
    days=(
        DaySums("rail-1", dt.date(2026, 3, 1), known_s=86_400.0, open_s=86_400.0),
        DaySums("rail-1", dt.date(2026, 3, 2), transfers=1, flow_s=300, not_bonded_s=20.0,
                hookups=2, failed_hookups=1, touches=3, known_s=86_000.0, unknown_s=400.0),
        DaySums("rail-1", dt.date(2026, 3, 3), transfers=1, compliant_transfers=1, flow_s=300,
                hookups=1, known_s=86_400.0),
    ),
    shifts=(
        DaySums("rail-1", dt.date(2026, 3, 2), "early", transfers=1, flow_s=300, not_bonded_s=20.0,
                known_s=28_400.0, unknown_s=400.0),
        DaySums("rail-1", dt.date(2026, 3, 3), "", known_s=57_600.0),
        DaySums("rail-1", dt.date(2026, 3, 3), "early", transfers=1, compliant_transfers=1,
                flow_s=300, known_s=28_800.0),
    ),
)  # fmt: skip

DRUM = StationResults(
    station="drum-1",
    trips=tuple(
        Trip("drum-1", at(f"02T0{n}:00:00"), "", TripClass.NUISANCE, cause, False, 0.4, 1.0)
        for n, cause in enumerate([TripCause.BRIEF_CONTACT_LOSS] * 2 + [TripCause.MONITOR_FAULT])
    ),
    findings=(
        finding(Kind.CHATTERING, Severity.MINOR, at("02T00:00:00"), 40, station="drum-1", of=None),
    ),
    days=(
        DaySums(
            "drum-1",
            dt.date(2026, 3, 2),
            known_s=40_000.0,
            unknown_s=46_400.0,
            trips={"nuisance/brief_contact_loss": 2, "nuisance/monitor_fault": 1},
        ),
        DaySums("drum-1", dt.date(2026, 3, 3), unknown_s=86_400.0),
    ),
)

BOWL = StationResults(
    station="bowl",
    transfers=(transfer(at("02T08:00:00"), "bowl", volume=None, unit=None, batch=None),),
    findings=(
        finding(Kind.ITEM_ISOLATED, Severity.CRITICAL, at("01T12:00:00"), 7200, station="bowl",
                of=None),
    ),
    days=(
        DaySums("bowl", dt.date(2026, 3, 1), low_s=50_000.0, known_s=80_000.0, unknown_s=6_400.0),
        DaySums("bowl", dt.date(2026, 3, 2), transfers=1, compliant_transfers=1, flow_s=300.0,
                low_s=49_840.0, known_s=86_400.0),
    ),
)  # fmt: skip


LASTING = dataclasses.replace(
    BOWL,
    findings=(
        finding(Kind.ITEM_ISOLATED, Severity.CRITICAL, at("01T12:00:00"), 38 * 3600, station="bowl",
                of=None),
        finding(Kind.CHATTERING, Severity.MINOR, at("02T12:00:00"), 40, station="bowl", of=None),
    ),
)  # fmt: skip
"""The bowl isolated until 3 March, 02:00."""


def readings() -> dict[str, Samples]:
    """Return ten minutes around the bad transfer: bond lost at 100 s, silence from 200 to 230 s."""
    second = np.arange(-300, 400)
    ohm = np.full(second.size, 4.0)
    ohm[second < -60] = math.inf
    ohm[(second >= -200) & (second < -150)] = 500.0
    ohm[(second >= 100) & (second < 160)] = math.inf
    ohm[second >= 340] = math.inf
    heard = (second < 200) | (second >= 230)
    time = BAD_START + second.astype(np.int64) * S
    flow = np.where((second >= 0) & (second < 300), 800.0, 0.0)
    flow[(second >= 120) & (second < 160)] = 0.0
    contact = [BAD_START - 300 * S, BAD_START - 58 * S, BAD_START + 110 * S, BAD_START + 162 * S]
    return {
        "rail-1.resistance": Samples.of(time[heard], ohm[heard]),
        "rail-1.flow": Samples.of(time, flow),
        "rail-1.permissive": Samples.of(contact, [0, 1, 0, 1]),
        "rail-1.bypass": Samples.of([BAD_START - 300 * S, BAD_START + 250 * S], [0, 1]),
        "bowl.resistance": Samples.of([at("02T08:00:00")], [2.0]),
        "bowl.running": Samples.of([at("02T08:00:00")], [1.0]),
    }


def fill(store: Store, site: Site) -> None:
    store.put_site(site, at("01T00:00:00"))
    store.write(readings())
    for results in (RAIL, DRUM, BOWL):
        store.save_results(results, since=0, since_day=EARLIEST)
