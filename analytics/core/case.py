"""One station's case: its signals turned into the spans that every rule asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.core import bond as bonds
from analytics.core.bond import Bond
from analytics.core.exposures import Exposures, exposures
from analytics.core.hookups import Contacts, contacts, hookups
from analytics.core.situation import Signals, Situation, situation
from analytics.core.spans import NOWHERE, Spans, covers, lengths
from analytics.core.transfers import FlowRuns, flow_runs
from analytics.core.volumes import volume
from bondtrail.results import Hookup
from bondtrail.samples import Samples
from bondtrail.site import Limits, Role, Station
from bondtrail.times import nanoseconds, stamp


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """What the rules look at, each part worked out once. Spans are in ns.

    Attributes
    ----------
    now : Situation
        Every signal's state over time.
    low, not_low, losses : ndarray of int64, shape (n, 2)
        Where the bond is low, is known and not low, and those of the latter that are losses.
    transfers : list of FlowRuns
        In time order; ``flowing`` are all their runs, ``flow`` all flow whether or not it makes a
        transfer.
    exposures : Exposures
        Of all transfers.
    clamp : Contacts
        The contacts that are hookups; ``hookups`` are their figures and ``touches`` the rest.
    """

    station: Station
    signals: Signals
    now: Situation
    low: Spans
    not_low: Spans
    losses: Spans
    flow: Spans
    transfers: list[FlowRuns]
    flowing: Spans
    exposures: Exposures
    clamp: Contacts
    hookups: list[Hookup]
    touches: Spans

    @property
    def limits(self) -> Limits:
        """The limits that hold at the station."""
        return self.station.limits

    @property
    def resistance(self) -> Samples:
        """Samples of the resistance point; empty where there is none."""
        return self.signals.get(Role.RESISTANCE, Samples.empty())

    def transfer_id(self, transfer: FlowRuns) -> str:
        """Return the id of a transfer."""
        return f"{self.station.id}/{stamp(transfer.start)}"

    def transfer_at(self, start: int, end: int) -> str | None:
        """Return the id of the earliest transfer that overlaps ``[start, end)``, or None."""
        until = max(end, start + 1)
        overlapping = (item for item in self.transfers if item.end > start and item.start < until)
        first = next(overlapping, None)
        return None if first is None else self.transfer_id(first)

    def volume(self, spans: Spans) -> float | None:
        """Return what flowed during some spans, or None where flow is not measured. [L or kg]"""
        point = self.station.points.get(Role.FLOW)
        if point is None:
            return None
        flow = self.signals.get(Role.FLOW, Samples.empty())
        return volume(flow, spans, nanoseconds(point.stale_after_s))


def build_case(station: Station, signals: Signals, span: tuple[int, int]) -> Case:
    """Return the case of a station over a span of time. [ns]"""
    limits = station.limits
    now = situation(station, signals, span)
    transfers = flow_runs(
        now.flow, nanoseconds(limits.resume_within_s), nanoseconds(limits.transfer_min_s)
    )
    flowing = np.concatenate([NOWHERE, *(transfer.runs for transfer in transfers)])
    clamp, touched = _clamp(station, now)
    resistance = signals.get(Role.RESISTANCE, Samples.empty())
    return Case(
        station=station,
        signals=signals,
        now=now,
        low=now.bond.where(Bond.LOW),
        not_low=bonds.not_low(now.bond),
        losses=bonds.losses(now.bond),
        transfers=transfers,
        flow=now.where(now.flowing),
        flowing=flowing,
        exposures=exposures(now, covers(flowing, now.edges[:-1])),
        clamp=clamp,
        hookups=hookups(station.id, clamp.spans, now.verified, resistance, limits),
        touches=touched,
    )


def _clamp(station: Station, now: Situation) -> tuple[Contacts, Spans]:
    """Return the contacts that are hookups, and the spans of those that are mere touches."""
    if station.is_fixed:
        return Contacts(NOWHERE, np.empty(0, np.int64)), NOWHERE
    every = contacts(now.bond, nanoseconds(station.limits.detach_s))
    brief = lengths(every.spans) < nanoseconds(station.limits.hookup_min_s)
    return Contacts(every.spans[~brief], every.off[~brief]), every.spans[brief]
