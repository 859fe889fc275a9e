"""Days at a spot, a sample a minute: clamped at 8, flowing from 8:10 to 8:50, off at 9."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from bondtrail.results import Alarm, DaySums, Finding, Hookup, Transfer, Trip
from bondtrail.samples import Samples
from bondtrail.site import Shift, Site, parse_site
from store import Store
from tests.analytics.core.build import OPEN, Stretch, held
from tests.reference.scripts import shift_tables

MINUTE = 60
HOUR = 60 * MINUTE
DAY = 24 * HOUR
MONDAY = 1_772_409_600
"""2026-03-02 at midnight in Lisbon, which is midnight UTC. [s]"""


class Results(NamedTuple):
    """Everything that the store says was found."""

    transfers: list[Transfer]
    hookups: list[Hookup]
    trips: list[Trip]
    findings: list[Finding]
    alarms: list[Alarm]
    days: list[DaySums]
    shifts: list[DaySums]


NOTHING = Results([], [], [], [], [], [], [])


def site(
    *stations: str,
    name: str = "Spot",
    stale_s: float = MINUTE,
    points: Sequence[str] = ("resistance", "flow"),
    roster: Sequence[Shift] = (),
    **limits: float,
) -> Site:
    """A site file with some spots."""
    lines = ["schema = 1", "[site]", 'id = "pier"', 'name = "Pier (invented)"']
    lines += ['timezone = "Europe/Lisbon"', "[limits]", f"stale_after_s = {stale_s}"]
    lines += [f"{limit} = {value}" for limit, value in limits.items()]
    lines += shift_tables(roster)
    for station in stations:
        lines += ["[[station]]", f'id = "{station}"', f'name = "{name}"']
        lines += ['kind = "rail_tank_car"', "[station.points]"]
        lines += [f"{point} = {{}}" for point in points]
    return parse_site("\n".join(lines))


def clamped(ohm: float) -> list[Stretch]:
    return [(8 * HOUR, OPEN), (HOUR, ohm), (15 * HOUR, OPEN)]


def flowed() -> list[Stretch]:
    return [(8 * HOUR + 10 * MINUTE, 0), (40 * MINUTE, 60), (15 * HOUR + 10 * MINUTE, 0)]


def workdays(*ohms: float, station: str = "spot", start: float = MONDAY) -> dict[str, Samples]:
    """One day after the other, with what the clamp reads on each."""
    return {
        f"{station}.resistance": held(
            *(stretch for ohm in ohms for stretch in clamped(ohm)), start=start, every_s=MINUTE
        ),
        f"{station}.flow": held(*flowed() * len(ohms), start=start, every_s=MINUTE),
    }


def told(store: Store) -> Results:
    """Everything that the store says was found."""
    return Results(
        store.transfers(),
        store.hookups(),
        store.trips(),
        store.findings(),
        store.alarms(),
        store.days(),
        store.shift_days(),
    )


def begins(rows: Sequence[Transfer | Hookup | Finding]) -> list[float]:
    """In hours from Monday midnight."""
    return [(row.start / 1e9 - MONDAY) / HOUR for row in rows]
