"""A tiny invented road bay whose clamp came off in flow, with good transfers to compare with."""

from __future__ import annotations

import math

import numpy as np

from analytics.runs import analyse
from bondtrail.results import Ticket
from bondtrail.samples import Samples
from bondtrail.site import parse_site
from bondtrail.times import parse_time, stamp
from store import Store

S = 1_000_000_000
DAY = 86_400 * S

SITE = """
schema = 1
[site]
id = "bay"
name = "Test Bay (invented)"
timezone = "Europe/Lisbon"

[product.solvent]
phase = "liquid"
conductivity_pS_m = 1.0
relative_permittivity = 2.4
mie_mJ = 0.24
source = "invented for a test"

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
product = "solvent"
pipe_diameter_m = 0.1
capacitance_pF = 1000.0
[station.points]
resistance = { unit = "ohm" }
permissive = { stale_after_s = 7200 }
flow = { unit = "L/min" }
bypass = { stale_after_s = 7200 }
"""

FLOW_ON = parse_time("2026-03-12T06:15:00Z")
"""First flow of the transfer whose clamp came off, a minute later, for twenty seconds."""
ID = f"bay-1/{stamp(FLOW_ON)}"
LOST = FLOW_ON + 60 * S
GOOD = 6
NOW = FLOW_ON + DAY


def readings(flow_on: int, *, lost: bool) -> dict[str, Samples]:
    """Return a transfer of two minutes: clamp on 40 s before it, off 20 s after it."""
    second = np.arange(-80, 200)
    ohm = 4.0 + 0.1 * (second % 5)
    ohm[(second < -40) | (second >= 140)] = math.inf
    if lost:
        ohm[(second >= 60) & (second < 80)] = math.inf
    time = flow_on + second.astype(np.int64) * S
    flow = np.where((second >= 0) & (second < 120), 600.0, 0.0)
    contact = [flow_on - 80 * S, flow_on - 38 * S, flow_on + 140 * S]
    return {
        "bay-1.resistance": Samples.of(time, ohm),
        "bay-1.flow": Samples.of(time, flow),
        "bay-1.permissive": Samples.of(contact, [0, 1, 0]),
        "bay-1.bypass": Samples.of([flow_on - 80 * S], [0]),
    }


def fill(store: Store) -> None:
    """Put a week of transfers into a store, the last of them not good, and judge them."""
    store.put_site(parse_site(SITE), FLOW_ON - 30 * DAY)
    for days in range(GOOD, -1, -1):
        store.write(readings(FLOW_ON - days * DAY, lost=days == 0))
    store.put_tickets(
        [Ticket("bay-1", FLOW_ON - 60 * S, FLOW_ON + 180 * S, "B-1", "solvent", "J. Invented")]
    )
    analyse(store, now=NOW)
