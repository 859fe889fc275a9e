"""What the page of one transfer asks: its readings and a margin, and what was found in them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analytics.core.runs import Contact
from analytics.core.sequence import Event, sequence
from analytics.core.situation import Signals, Situation, situation
from analytics.signals import load_signals
from bondtrail.results import Finding, Transfer, Trip
from bondtrail.site import Role, Site, Station
from bondtrail.times import NS_PER_S, nanoseconds
from dashboard.figures.palette import ORANGE
from dashboard.figures.picture import Lane, Picture, Signal
from dashboard.queries.sites import clock_at, site_of_day
from store import DamageError, Store


@dataclass(frozen=True, slots=True, eq=False)
class TransferView:
    """What the page of one transfer shows."""

    site: Site
    station: Station
    transfer: Transfer
    findings: Sequence[Finding]
    trips: Sequence[Trip]
    picture: Picture
    events: Sequence[Event]
    damaged: Sequence[str]
    """What of the readings cannot be read, in words."""


def transfer_view(store: Store, transfer_id: str) -> TransferView | None:
    """Return what the page of a transfer shows, or None if there is none of that id."""
    transfer = store.transfer(transfer_id)
    if transfer is None:
        return None
    site = site_of_day(store, transfer.start)
    if site is None or transfer.station not in {s.id for s in site.stations}:
        return None
    station = site.station(transfer.station)
    span = shown_span(transfer)
    signals, damaged = _signals(store, station, span)
    findings = [
        finding
        for finding in store.findings(station.id, *span)
        if finding.transfer in (transfer.id, None) or _meet(finding, transfer)
    ]
    trips = [t for t in store.trips(station.id, *span) if t.transfer == transfer.id]
    events = sequence(station, signals, span, trips=trips, findings=findings)
    now = situation(station, signals, span)
    picture = Picture(
        start=span[0],
        end=span[1],
        transfer=(transfer.start, transfer.end),
        clock=clock_at(transfer.start, site.zone),
        limits=station.limits,
        bond=now.bond,
        exposed=now.where(now.flowing & now.bond_known & ~now.is_verified),
        resistance=_signal(station, signals, Role.RESISTANCE),
        flow=_signal(station, signals, Role.FLOW),
        flow_unit=f"{station.volume_unit}/min" if station.volume_unit else "",
        lanes=_lanes(station, now),
        findings=findings,
        trips=trips,
    )
    return TransferView(site, station, transfer, findings, trips, picture, events, damaged)


def _meet(finding: Finding, transfer: Transfer) -> bool:
    """Tell whether a finding goes on in a transfer, though an earlier one has its name."""
    return finding.start < transfer.end and finding.end > transfer.start


def shown_span(transfer: Transfer) -> tuple[int, int]:
    """Return the span around a transfer that its page shows (ns): a tenth more, 20 s to 5 min."""
    margin = min(max((transfer.end - transfer.start) // 10, 20 * NS_PER_S), 300 * NS_PER_S)
    lead = nanoseconds(max(transfer.bond_lead_s or 0.0, 0.0)) + 10 * NS_PER_S
    return transfer.start - max(margin, min(lead, 600 * NS_PER_S)), transfer.end + margin


def _signals(store: Store, station: Station, span: tuple[int, int]) -> tuple[Signals, list[str]]:
    """Return the readings of a span, and what of them is damaged."""
    damaged: list[DamageError] = []
    signals = load_signals(store, station, *span, on_damage=damaged.append)
    return signals, sorted({str(error) for error in damaged})


def _signal(station: Station, signals: Signals, role: Role) -> Signal | None:
    point = station.points.get(role)
    return None if point is None else Signal(signals[role], nanoseconds(point.stale_after_s))


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
