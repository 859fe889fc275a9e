"""What the page of one transfer shows: its replay, the picture of it, and what its cursor reads."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.core.electrostatics.hazard import Hazard, NoEstimate
from analytics.core.runs import Contact
from analytics.core.situation import Situation
from analytics.replay import Replay
from analytics.replay.gather import replay_transfer
from bondtrail.results import Finding, Transfer
from bondtrail.samples import Samples
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds
from dashboard.figures.palette import ORANGE
from dashboard.figures.picture import Lane, Picture, Signal
from dashboard.figures.steps import Clock
from dashboard.queries.charge import closely
from dashboard.queries.record import record
from dashboard.queries.sites import clock_at, site_of_day
from dashboard.tracks import Packed
from store import Store


@dataclass(frozen=True, slots=True, eq=False)
class TransferView:
    """What the page of one transfer shows."""

    replay: Replay
    transfer: Transfer
    picture: Picture
    record: Packed
    """What the cursor reads."""


@dataclass(frozen=True, slots=True)
class ResultsOnly:
    """A transfer of which no readings are left in the store."""

    transfer: Transfer
    station: Station
    clock: Clock
    findings: Sequence[Finding]


def transfer_view(store: Store, transfer_id: str, *, now: int) -> TransferView:
    """Return what the page of a transfer shows.

    Parameters
    ----------
    store : Store
        The history.
    transfer_id : str
        Its id.
    now : int
        The clock. [ns]

    Raises
    ------
    UnknownSpanError
        If there is no transfer of that id, or nothing is recorded of it.
    """
    replay = replay_transfer(store, transfer_id, now=now)
    transfer = replay.transfer
    assert transfer is not None  # as it was asked for by its id
    hazard = closely(replay)
    return TransferView(replay, transfer, picture(replay, transfer, hazard), record(replay, hazard))


def results_only(store: Store, transfer_id: str) -> ResultsOnly | None:
    """Return what the results hold of a transfer that cannot be replayed, or None."""
    transfer = store.transfer(transfer_id)
    site = site_of_day(store, transfer.start) if transfer else None
    if transfer is None or site is None:
        return None
    station = next((each for each in site.stations if each.id == transfer.station), None)
    if station is None:
        return None
    found = store.findings(station.id, transfer.start, transfer.end)
    return ResultsOnly(transfer, station, clock_at(transfer.start, site.zone), found)


def picture(replay: Replay, transfer: Transfer, hazard: Hazard | NoEstimate) -> Picture:
    """Return what the figure of a replayed transfer shows."""
    station, now = replay.station, replay.now
    return Picture(
        start=replay.start,
        end=replay.end,
        transfer=(transfer.start, transfer.end),
        clock=clock_at(transfer.start, replay.site.zone),
        limits=station.limits,
        bond=now.bond,
        exposed=now.where(now.flowing & now.bond_known & ~now.is_verified),
        resistance=_signal(replay, Role.RESISTANCE),
        flow=_signal(replay, Role.FLOW),
        flow_unit=f"{station.volume_unit}/min" if station.volume_unit else "",
        lanes=_lanes(station, now),
        findings=replay.findings,
        trips=replay.trips,
        hazard=hazard,
        typical=replay.typical,
    )


def _signal(replay: Replay, role: Role) -> Signal | None:
    point = replay.station.points.get(role)
    if point is None:
        return None
    samples = replay.signals.get(role, Samples.empty())
    return Signal(samples, nanoseconds(point.stale_after_s))


def _lanes(station: Station, now: Situation) -> list[Lane]:
    """Return the contacts of a station as bars: flow is one where only a run contact tells it."""
    lanes = []
    if now.permissive is not None:
        lanes.append(Lane("Permissive", now.permissive, Contact.ON, Contact.UNKNOWN, "closed"))
    if Role.BYPASS in station.points:
        bypass = Lane("Bypass", now.bypass, Contact.ON, Contact.UNKNOWN, "on", ORANGE)
        lanes.append(bypass)
    if Role.RUNNING in station.points:
        lanes.append(Lane("Flow or running", now.flow, Contact.ON, Contact.UNKNOWN, "on"))
    return lanes
