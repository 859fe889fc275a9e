"""One station's case: its signals turned into the spans that every rule asks for."""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass

import numpy as np

from analytics.core import bond as bonds
from analytics.core.bond import Bond
from analytics.core.exposures import Exposures, exposures
from analytics.core.hookups import Contacts, contacts, hookups
from analytics.core.situation import Signals, Situation, situation
from analytics.core.spans import NOWHERE, Spans, covers, lengths
from analytics.core.transfers import FlowRuns, flow_runs
from analytics.core.volumes import FlowMeter
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
    low, open, not_low, losses : ndarray of int64, shape (n, 2)
        Where the bond is low, is open, is known and not low, and which of the last are losses.
    transfers : list of FlowRuns
        In time order, with their ``ids`` by start; ``flowing`` are all their runs and
        ``run_volumes`` what each of those moved by the ``meter``; ``flow`` is all flow, whether
        or not it makes a transfer.
    exposures : Exposures
        Of all transfers.
    clamp : Contacts
        The contacts that are hookups; ``hookups`` are their figures and ``touches`` the rest.
    """

    station: Station
    signals: Signals
    now: Situation
    low: Spans
    open: Spans
    not_low: Spans
    losses: Spans
    flow: Spans
    transfers: list[FlowRuns]
    ids: dict[int, str]
    flowing: Spans
    meter: FlowMeter | None
    run_volumes: list[float]
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
        """Return the id of a transfer of this case."""
        return self.ids[transfer.start]

    def transfer_at(self, start: int, end: int) -> str | None:
        """Return the id of the earliest transfer that overlaps ``[start, end)``, or None."""
        until = max(end, start + 1)
        index = bisect_right(self.transfers, start, key=lambda item: item.end)
        if index == len(self.transfers) or self.transfers[index].start >= until:
            return None
        return self.transfer_id(self.transfers[index])

    def volume(self, spans: Spans) -> float | None:
        """Return what flowed during some spans, or None where flow is not measured. [L or kg]

        To a millionth, so that it does not depend on how the sum was cut.
        """
        if self.meter is None:
            return None
        return round(sum(self.meter.amounts(spans), 0.0), 6)


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
    meter = _meter(station, signals)
    return Case(
        station=station,
        signals=signals,
        now=now,
        low=now.bond.where(Bond.LOW),
        open=now.bond.where(Bond.OPEN),
        not_low=bonds.not_low(now.bond),
        losses=bonds.losses(now.bond),
        transfers=transfers,
        ids={item.start: f"{station.id}/{stamp(item.start)}" for item in transfers},
        flow=now.where(now.flowing),
        flowing=flowing,
        meter=meter,
        run_volumes=meter.amounts(flowing) if meter else [],
        exposures=exposures(now, covers(flowing, now.edges[:-1])),
        clamp=clamp,
        hookups=hookups(station.id, clamp.spans, now.verified, resistance, limits),
        touches=touched,
    )


def _meter(station: Station, signals: Signals) -> FlowMeter | None:
    point = station.points.get(Role.FLOW)
    if point is None:
        return None
    flow = signals.get(Role.FLOW, Samples.empty())
    return FlowMeter.of(flow, nanoseconds(point.stale_after_s))


def _clamp(station: Station, now: Situation) -> tuple[Contacts, Spans]:
    """Return the contacts that are hookups, and the spans of those that are mere touches."""
    if station.is_fixed:
        return Contacts(NOWHERE, np.empty(0, np.int64)), NOWHERE
    every = contacts(now.bond, nanoseconds(station.limits.detach_s))
    brief = lengths(every.spans) < nanoseconds(station.limits.hookup_min_s)
    return Contacts(every.spans[~brief], every.off[~brief]), every.spans[brief]
