"""A rail spot with eight transfers an hour apart: seven good ones, and one that lost its bond."""

from __future__ import annotations

import math

import numpy as np

from analytics.runs import analyse
from bondtrail.results import Ticket, WorkWindow
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from bondtrail.times import parse_time, stamp
from store import Store

S = 1_000_000_000
HOUR = 3600 * S
NOW = parse_time("2026-03-02T20:00:00Z")

SITE = """
schema = 1
[site]
id = "quay"
name = "Test Quay (invented)"
timezone = "Europe/Lisbon"

[limits]
limit_ohm = {limit_ohm}

[product.toluene]
phase = "liquid"
conductivity_pS_m = 1.0
relative_permittivity = 2.4
mie_mJ = 0.24
source = "invented"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
product = "toluene"
pipe_diameter_m = 0.1
pipe_length_m = 30.0
capacitance_pF = 1000.0
[station.points]
resistance = {{ unit = "ohm", interval_s = 1.0 }}
permissive = {{ stale_after_s = 7200, interval_s = 0.1 }}
flow = {{ unit = "L/min" }}

[[station]]
id = "rail-2"
name = "Rail spot 2"
kind = "rail_tank_car"
[station.points]
resistance = {{ unit = "ohm" }}
flow = {{ unit = "L/min" }}
"""

FIRST = parse_time("2026-03-02T08:00:00Z")
FLOWS = [FIRST + n * HOUR for n in range(8)]
"""When each transfer's flow begins; the clamp is on 60 s before."""
IDS = [f"rail-1/{stamp(start)}" for start in FLOWS]
GOOD, BAD = IDS[:7], IDS[7]
LOST = FLOWS[7] + 200 * S
"""When the bad one loses its bond; the permissive opens 2.3 s later, flow is off after 9 s."""


def site(limit_ohm: float = 10.0) -> Site:
    return parse_site(SITE.format(limit_ohm=limit_ohm))


def _clock() -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    return np.arange(FIRST - 1800 * S, FLOWS[-1] + 1800 * S, S)


def readings() -> dict[str, Samples]:
    time = _clock()
    ohm, rate = np.full(time.size, math.inf), np.zeros(time.size)
    contacts = [(int(time[0]), 0.0)]
    for n, start in enumerate(FLOWS):
        end = start + (600 + n) * S if n < 7 else LOST + 9 * S
        off = end + 30 * S if n < 7 else LOST
        ohm[(time >= start - 60 * S) & (time < off)] = 3.0 + n / 10
        ohm[(time >= start - 60 * S) & (time < start - 57 * S)] = 40.0
        rate[(time >= start) & (time < end)] = 800.0 + n
        closed = LOST + round(2.3 * S) if n == 7 else off + round(0.3 * S)
        contacts += [(start - round(55.7 * S), 1.0), (closed, 0.0)]
    return {
        "rail-1.resistance": Samples.of(time, ohm),
        "rail-1.flow": Samples.of(time, rate),
        "rail-1.permissive": Samples.of(*zip(*contacts, strict=True)),
    }


def _ticket(n: int) -> Ticket:
    start, end = FLOWS[n] - 300 * S, FLOWS[n] + 900 * S
    return Ticket("rail-1", start, end, f"B-{n}", "toluene", "J. Invented")


def fill(store: Store, *, now: int = NOW) -> None:
    """Put the spot into a store and analyse it."""
    store.put_site(site(), 0)
    store.write(readings())
    store.put_tickets([_ticket(6), _ticket(7)])
    store.put_work(
        [WorkWindow("rail-1", FLOWS[7] - 40 * S, FLOWS[7] - 10 * S, "clamp jaws cleaned")]
    )
    analyse(store, now=now)
