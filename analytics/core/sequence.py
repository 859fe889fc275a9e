"""The sequence of events of a span: what changed at a station, moment by moment."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from analytics.core.bond import Bond
from analytics.core.bond_events import bond_events
from analytics.core.drafts import Draft, Scene
from analytics.core.events import TOLD_AS, Basis, Event, What
from analytics.core.flow_events import contact_events, flow_events, silence_events
from analytics.core.in_force import flowed
from analytics.core.metering import Metering
from analytics.core.paper_events import Papers, limits_words, paper_events
from analytics.core.resolution import Seen, order_certain
from analytics.core.runs import Contact
from analytics.core.situation import Signals, Situation, situation
from analytics.core.spans import Moments
from analytics.core.volumes import FlowMeter
from bondtrail.results import Finding, Ticket, Trip, WorkWindow
from bondtrail.samples import Samples, ValueArray
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds


def sequence(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    *,
    trips: Sequence[Trip] = (),
    findings: Sequence[Finding] = (),
    work: Sequence[WorkWindow] = (),
    tickets: Sequence[Ticket] = (),
    changes: Sequence[tuple[int, Station, Station]] = (),
    counted_from: int | None = None,
    clock_error_s: float = 0.0,
    now: Situation | None = None,
) -> list[Event]:
    """Return what happened at a station in a span, in order.

    Parameters
    ----------
    station : Station
        Its points and limits.
    signals : mapping of Role to Samples
        Samples that hold into the span; a role without samples is unknown throughout.
    span : tuple of int
        Start and end. [ns]
    trips, findings, work, tickets : sequence
        Those of the station; the ones that begin inside the span are told, and what is going on
        at its start.
    changes : sequence of (int, Station, Station)
        Where the site file changed: when, and the station before and after. [ns]
    counted_from : int, optional
        From when on volumes are counted; left out, from the start of the span. [ns]
    clock_error_s : float, optional
        How far the clocks of two devices may differ. [s]
    now : Situation, optional
        The states over the span, where they are known already.

    Returns
    -------
    list of Event
        By time; first how things stood at the start and which limits held. Empty for an empty
        span.
    """
    if span[1] <= span[0]:
        return []
    scene = Scene.of(station, signals, span, now or situation(station, signals, span))
    papers = Papers(trips, findings, work, tickets, changes)
    drafts = [
        *_at_start(scene, changes[0][1] if changes else station),
        *bond_events(scene),
        *silence_events(scene),
        *contact_events(scene),
        *flow_events(scene),
        *paper_events(scene, papers),
    ]
    inside = [_graded(scene, draft) for draft in drafts if span[0] <= draft.time < span[1]]
    inside.sort(key=lambda draft: (draft.time, TOLD_AS[draft.what]))
    certain = order_certain(
        [Seen(draft.time, draft.role, draft.since) for draft in inside], nanoseconds(clock_error_s)
    )
    counted = span[0] if counted_from is None else counted_from
    return _completed(scene, inside, certain.tolist(), counted)


def _at_start(scene: Scene, station: Station) -> list[Draft]:
    """Return how things stood, and the limits of the station as it was then."""
    unknown = scene.now.bond.state[0] == Bond.UNKNOWN and scene.now.flow.state[0] == Contact.UNKNOWN
    basis = Basis.MISSING if unknown else Basis.KNOWN
    return [
        Draft(scene.span[0], What.AT_START, _standing(scene.now), basis=basis),
        Draft(scene.span[0], What.LIMITS, limits_words(station.limits)),
    ]


def _standing(now: Situation) -> str:
    """Return how things stood at the start, in words."""
    bond = Bond(int(now.bond.state[0])).name.lower()
    said = [f"bond {'verified' if now.is_verified[0] else bond}"]
    contacts = [("permissive", now.permissive, "closed", "open"), ("flow", now.flow, "on", "off")]
    for name, line, on, off in contacts:
        if line is not None:
            said.append(f"{name} {(off, on, 'unknown')[int(line.state[0])]}")
    if now.bypass.state[0] == Contact.ON:
        said.append("bypass on")
    return ", ".join(said)


def _graded(scene: Scene, draft: Draft) -> Draft:
    """Return an event with a word where a reading that it rests on is uncertain."""
    if draft.role is None or draft.basis is Basis.MISSING:
        return draft
    served = nanoseconds(scene.station.limits.hold_s) if draft.what is What.VERIFIED else 0
    if not scene.uncertain(draft.role, draft.time - served, draft.time):
        return draft
    return draft._replace(detail=f"{draft.detail}, uncertain".removeprefix(", "))


def _completed(
    scene: Scene, drafts: Sequence[Draft], certain: Sequence[bool], counted_from: int
) -> list[Event]:
    """Return the events with the figures in force and whether their order is certain."""
    moments = np.array([draft.time for draft in drafts], np.int64)
    ohm = _or_none(scene.values(Role.RESISTANCE, moments))
    flow = _or_none(scene.values(Role.FLOW, moments))
    bond = scene.now.bond.sample(moments).tolist()
    metering = Metering.of(scene.station, scene.signals, scene.now, scene.span)
    volume, is_least = _volumes(scene, metering, moments, counted_from)
    return [
        Event(
            draft.time,
            draft.what,
            _with_volume(scene, metering, draft, volume[k], counted_from),
            draft.finding,
            draft.basis,
            draft.role,
            draft.since,
            certain[k],
            ohm[k],
            flow[k],
            volume[k],
            is_least[k],
            Bond(bond[k]).name.lower(),
        )
        for k, draft in enumerate(drafts)
    ]


def _volumes(
    scene: Scene, metering: Metering | None, moments: Moments, counted_from: int
) -> tuple[list[float | None], list[bool]]:
    """Return what has flowed up to each moment while flow was on, and whether that is the least.

    None where nothing of it is measured.
    """
    point = scene.station.points.get(Role.FLOW)
    if point is None or metering is None:
        return [None] * moments.size, [False] * moments.size
    flow = scene.signals.get(Role.FLOW, Samples.empty())
    meter = FlowMeter.of(flow, nanoseconds(point.stale_after_s))
    runs = scene.now.flow.where(Contact.ON)
    before = flowed(meter, runs, np.array([counted_from]))[0]
    amounts = np.maximum(flowed(meter, runs, moments) - before, 0.0)
    not_all, nothing = metering.so_far(counted_from, moments)
    told = zip(amounts.tolist(), nothing.tolist(), strict=True)
    volumes = [None if none else round(amount, 6) for amount, none in told]
    return volumes, (not_all & ~nothing).tolist()


def _with_volume(
    scene: Scene, metering: Metering | None, draft: Draft, volume: float | None, counted_from: int
) -> str:
    """Return the detail of an event; where flow goes off, with what has flowed so far."""
    if draft.what is not What.FLOW_OFF or metering is None:
        return draft.detail
    unit, untold = scene.station.volume_unit, metering.part(counted_from, draft.time).words
    if volume is None:
        so_far = f"volume not known: {untold}"
    elif untold:
        so_far = f"at least {_at_least(volume)} {unit} so far: {untold}"
    else:
        so_far = f"{_amount(volume)} {unit} so far"
    return f"{draft.detail}, {so_far}".removeprefix(", ")


def _amount(volume: float) -> str:
    return f"{volume:,.4g}" if volume < 1000 else f"{volume:,.0f}"


def _at_least(volume: float) -> str:
    """Return an amount in no more digits than `_amount`, rounded down."""
    if volume >= 1000:
        return _amount(math.floor(volume))
    digits = 3 - math.floor(math.log10(volume)) if volume > 0 else 0
    return _amount(math.floor(volume * 10**digits) / 10**digits)


def _or_none(values: ValueArray) -> list[float | None]:
    return [None if np.isnan(value) else value for value in values.tolist()]
