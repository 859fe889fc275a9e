"""A replay put together by hand: every part holds something, the figures are invented."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from analytics.core.electrostatics.hazard import Figures, Hazard
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.events import Basis, Event, What
from analytics.core.situation import situation
from analytics.core.typical import Comparison, Typical
from analytics.replay import Held, Missing, Replay
from bondtrail.results import (
    Finding,
    Hookup,
    Kind,
    Outcome,
    Severity,
    Ticket,
    Transfer,
    Trip,
    TripCause,
    TripClass,
    WorkWindow,
)
from bondtrail.samples import Samples
from bondtrail.site import Role, Site, parse_site
from bondtrail.times import NS_PER_S, parse_time

SITE = """\
schema = 1

[site]
id = "test-site"
name = "Test site (invented)"
timezone = "Europe/Lisbon"

[product.naphtha]
phase = "liquid"
conductivity_pS_m = 3.0
relative_permittivity = 2.0
source = "a test's own"

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
product = "naphtha"
pipe_diameter_m = 0.08

[station.points]
resistance = { unit = "ohm" }
permissive = {}
flow = {}
"""

START = parse_time("2026-07-01T06:00:00Z")
"""A summer morning: seven o'clock on the site's clock."""


def at(seconds: float) -> int:
    """Return a moment so long after `START`, in ns."""
    return START + round(seconds * NS_PER_S)


def site() -> Site:
    return parse_site(SITE)


TRANSFER = Transfer(
    station="bay-1",
    start=at(20),
    end=at(80),
    flow_s=60.0,
    volume=812.5,
    unit="L",
    batch="B-17",
    product="naphtha",
    operator="A. Reed",
    compliant=False,
    not_bonded_s=12.5,
    no_data_s=0.0,
    bypassed_s=0.0,
    not_bonded_volume=166.0,
    no_data_volume=0.0,
    bypassed_volume=0.0,
    trips=1,
    time_to_bond_s=1.25,
    bond_lead_s=8.75,
    findings=("bay-1/bond_lost_in_flow/20260701T060040.000Z",),
)

FINDING = Finding(
    Kind.BOND_LOST_IN_FLOW,
    Severity.CRITICAL,
    "bay-1",
    TRANSFER.id,
    at(40),
    at(52.5),
    "The bond was lost in flow and flow went on for 12.5 s; the allowance is 5 s.",
    {"flow_s": 12.5},
    {"limit_ohm": 10.0},
)

EVENTS = (
    Event(at(0), What.AT_START, "bond open, permissive open, flow off", ohm=math.inf, flow=0.0),
    Event(
        at(10), What.CONTACT, "3.4 ohm", role=Role.RESISTANCE, since=at(9), ohm=3.4, flow=0.0,
        volume=0.0, bond="low",
    ),
    Event(at(11.25), What.VERIFIED, "for 28.8 s", basis=Basis.INFERRED, ohm=3.4),
    Event(at(20), What.FLOW_ON, "812 L/min", role=Role.FLOW, since=at(19), flow=812.0, volume=0.0),
    Event(at(30), What.FLOW_UNKNOWN, "for 2 s", basis=Basis.MISSING, role=Role.FLOW),
    Event(
        at(40), What.BOND_LOST, "open circuit, for 12.5 s", role=Role.RESISTANCE, since=at(39),
        ohm=math.inf, flow=812.0, volume=270.5,
    ),
    Event(
        at(40.125), What.PERMISSIVE_OPENED, role=Role.PERMISSIVE, since=at(39.125),
        order_certain=False,
    ),
    Event(at(40.125), What.FINDING, FINDING.summary, FINDING, Basis.INFERRED),
    Event(at(92.5), What.CLAMP_OFF, basis=Basis.INFERRED, role=Role.RESISTANCE, ohm=math.inf),
)  # fmt: skip

LATE = Comparison("bond_lead_s", at(20), 8.75, 35.0, 61.5, 90.0, 12, True)
TYPICAL = Typical(
    "naphtha",
    tuple(f"bay-1/2026060{n}T060000.000Z" for n in range(1, 10)),
    (Comparison("time_to_bond_s", at(11.25), 1.25, 1.0, 1.5, 3.0, 12, False), LATE),
    LATE,
)


def figures(**changes: Any) -> Figures:
    made = Figures(
        peak_potential_V=1234.5,
        peak_charge_uC=1.5,
        peak_energy_mJ=0.75,
        mie_ratio=3.125,
        first_over_mie=at(45.5),
        seconds_over_mie=7.0,
        relaxation_time_s=5.9028,
        velocity_m_s=2.7,
        velocity_limit_m_s=6.25,
    )
    return replace(made, **changes)


HAZARD = Hazard(
    inputs={
        "conductivity_pS_m": Spread.of(3.0, "pS/m", "site file: a test's own"),
        "capacitance_pF": Spread(1000.0, 2000.0, 5000.0, "pF", "IEC TS 60079-32-1, from memory"),
        "leakage_ohm": Spread(1e5, 1e9, math.inf, "ohm", "our own assumption"),
    },
    figures={
        Level.LOW: figures(mie_ratio=0.0, first_over_mie=None, seconds_over_mie=0.0),
        Level.TYPICAL: figures(),
        Level.HIGH: figures(peak_potential_V=math.inf),
    },
    courses={},
    conductivity_class="low",
    wait_s=Spread(30.0, 60.0, 120.0, "s", "API RP 2003, from memory"),
    notes=("The vessel held no charge at the start of the span.",),
    unseen=("A good bond at the clamp does not earth a float adrift inside the vessel.",),
)


def a_replay(**changes: Any) -> Replay:
    """Return the replay of the invented transfer; ``changes`` are fields of it."""
    held = site()
    station = held.station("bay-1")
    span = at(0), at(200)
    signals = {Role.RESISTANCE: Samples.of(np.array([at(10)]), np.array([3.4]))}
    made = Replay(
        site=held,
        station=station,
        start=span[0],
        end=span[1],
        transfer=TRANSFER,
        held=[Held(span[0], held, station)],
        product_name="naphtha",
        product=held.products["naphtha"],
        signals=signals,
        now=situation(station, signals, span),
        events=EVENTS,
        findings=[FINDING],
        trips=[
            Trip(
                "bay-1", at(40.125), TRANSFER.id, TripClass.GENUINE, TripCause.CLAMP_OFF, False,
                12.5, 0.5,
            )
        ],
        hookups=[Hookup("bay-1", at(10), at(92.5), Outcome.VERIFIED, 1.25, 3.1, 3.4, None)],
        work=[WorkWindow("bay-1", at(-60), at(5), "clamp changed")],
        tickets=[Ticket("bay-1", at(0), at(100), "B-17", "naphtha", "A. Reed")],
        missing=[Missing("bypass", span[0], span[1], "no point records it")],
        damaged=[],
        waiting=False,
        hazard=HAZARD,
        typical=TYPICAL,
    )  # fmt: skip
    return replace(made, **changes)
