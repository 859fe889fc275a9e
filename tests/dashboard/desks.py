"""A tiny invented site with two operator positions and alarms written by hand."""

from __future__ import annotations

import datetime as dt

from bondtrail.results import Alarm, AlarmKind, DaySums, StationResults
from bondtrail.samples import Samples
from bondtrail.site import Site, parse_site
from bondtrail.times import parse_time
from store import Store
from tests.analytics.core.test_alarm_floods import TWO_HOURS

S = 1_000_000_000
MIN, HOUR = 60 * S, 3600 * S

SITE = """
schema = 1
[site]
id = "desks"
name = "Test Desks (invented)"
timezone = "Europe/Lisbon"

[[station]]
id = "rail-1"
name = "Rail spot 1"
kind = "rail_tank_car"
position = "Loading desk"
[station.points]
bypass = { stale_after_s = 7200 }

[[station]]
id = "bay-1"
name = "Road bay 1"
kind = "road_tanker"
position = "Bay desk"
[station.points]
bypass = { stale_after_s = 7200 }

[[station]]
id = "drum-1"
name = "Drum filler 1"
kind = "drum"
[station.points]
bypass = { stale_after_s = 7200 }
"""


def at(text: str) -> int:
    return parse_time(f"2026-03-{text}Z")


LATEST = at("03T20:00:00")
STREAM = at("02T06:00:00")
"""When the worked stream begins at the loading desk."""
STALE = at("01T06:00:00")
"""Since when the bypass of the road bay is on, to the end."""
DAYS = [dt.date(2026, 3, 1) + dt.timedelta(days=n) for n in range(3)]

ALARMS = {
    "rail-1": [
        Alarm("rail-1", AlarmKind.BOND_LOST, STREAM + round(m * MIN), STREAM + round(m * MIN) + S)
        for m in TWO_HOURS
    ],
    "bay-1": [
        Alarm("bay-1", AlarmKind.BYPASS_ON, STALE, LATEST + HOUR),
        Alarm("bay-1", AlarmKind.MONITOR_FAULT, at("01T09:00:00"), at("01T09:05:00")),
    ],
    "old-7": [Alarm("old-7", AlarmKind.MONITOR_FAULT, at("03T09:00:00"), at("03T09:05:00"))],
}


def desks() -> Site:
    return parse_site(SITE)


def fill(store: Store, alarms: dict[str, list[Alarm]] = ALARMS) -> None:
    """Put three days of results into a store, with readings until the last evening."""
    store.put_site(desks(), 0)
    store.write({"rail-1.bypass": Samples.of([at("01T00:00:00"), LATEST], [0.0, 0.0])})
    for station in ("rail-1", "bay-1", "drum-1", "old-7"):
        days = tuple(DaySums(station, day, known_s=86_400.0) for day in DAYS)
        found = StationResults(station, alarms=tuple(alarms.get(station, ())), days=days)
        store.save_results(found, since=0, since_day=dt.date(1970, 1, 1))
