"""A bay on the bench: told what happens, recorded without heartbeats, judged by the rules."""

from __future__ import annotations

from random import Random
from zoneinfo import ZoneInfo

from analytics.core.station import judge
from bondtrail.results import StationResults
from bondtrail.samples import Samples
from bondtrail.site import Role, Station, parse_site
from replay_data.bay import Bay, Trade, Wires
from replay_data.recording import OPEN, Signal

START = 1_773_014_400_000
TRADE = Trade((196, 203), (60, 100), 60, 30, 6, (3, 9), (3, 10))
LONG = 10**9
SITE = """
schema = 1
[site]
id = "bench"
name = "Bench (invented)"
timezone = "UTC"
[limits]
stale_after_s = 100000.0
resume_within_s = 60.0
[[station]]
id = "bay"
name = "Bay"
kind = "drum"
[station.points]
resistance = {}
status = {}
permissive = {}
flow = {}
bypass = {}
"""


def bench(seed: int = 7) -> Bay:
    """Return a bay with every signal, idle since `START`."""
    made = {role: Signal(role, Random(seed), LONG) for role in Role}
    wires = Wires(
        made[Role.RESISTANCE],
        made[Role.STATUS],
        made[Role.PERMISSIVE],
        made[Role.FLOW],
        made[Role.BYPASS],
    )
    return Bay(TRADE, wires, Random(seed), START)


def judged(bay: Bay, end: int) -> StationResults:
    """Return what the rules say of all that happened until ``end``."""
    bay.finish(end)
    (station,) = parse_site(SITE).stations
    signals = {role: _samples(_wire(bay, role)) for role in station.points}
    return _judge(station, signals)


def _judge(station: Station, signals: dict[Role, Samples]) -> StationResults:
    return judge(station, signals, zone=ZoneInfo("UTC"))


def _wire(bay: Bay, role: Role) -> Signal:
    signal = getattr(bay.wires, role)
    assert isinstance(signal, Signal)
    return signal


def _samples(signal: Signal) -> Samples:
    return Samples.of(
        [reading.ms * 1_000_000 for reading in signal.changes],
        [float("inf") if r.value == OPEN else float(r.value) for r in signal.changes],
        [reading.quality for reading in signal.changes],
    )
