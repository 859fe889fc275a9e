"""A station's situation over time: every signal's state on one common set of intervals."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np

from analytics.core import bond as bonds
from analytics.core.bond import Bond
from analytics.core.runs import (
    BAD_DATA,
    NO_DATA,
    Contact,
    States,
    Timeline,
    joined,
    last_known,
    timeline,
)
from analytics.core.spans import Mask, Moments, Spans, covers, distinct, where
from bondtrail.samples import Samples, Status, ValueArray
from bondtrail.site import Point, Role, Station
from bondtrail.times import nanoseconds

Signals = Mapping[Role, Samples]

_UNKNOWN_CONTACT = {NO_DATA: int(Contact.UNKNOWN), BAD_DATA: int(Contact.UNKNOWN)}
_UNKNOWN_BOND = {NO_DATA: int(Bond.UNKNOWN), BAD_DATA: int(Bond.UNKNOWN)}


@dataclass(frozen=True, slots=True, eq=False)
class Situation:
    """What is known of a station, as n adjoining intervals over which nothing changes.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Of the intervals. [ns]
    bond, flow, bypass : Timeline
        With codes of `Bond` and `Contact`.
    permissive : Timeline or None
        None where the station has no permissive point.
    verified : ndarray of int64, shape (m, 2)
        Where the bond is verified.
    is_verified, bond_known, flowing, bypassed, faulty : ndarray of bool, shape (n,)
        What holds over each interval. ``faulty``: the monitor says fault, or a bad sample of the
        bond or status point is in force.
    """

    edges: Moments
    bond: Timeline
    flow: Timeline
    bypass: Timeline
    permissive: Timeline | None
    verified: Spans
    is_verified: Mask
    bond_known: Mask
    flowing: Mask
    bypassed: Mask
    faulty: Mask

    def where(self, mask: Mask) -> Spans:
        """Return the maximal stretches over which a mask of the intervals holds."""
        return where(self.edges, mask)


def observed_span(station: Station, signals: Signals) -> tuple[int, int] | None:
    """Return the stretch a station's signals speak of, or None when there are none.

    From the first sample to the latest moment at which any sample still holds. [ns]
    """
    heard = {role: line for role, line in signals.items() if len(line) and role in station.points}
    if not heard:
        return None
    start = min(int(line.time[0]) for line in heard.values())
    end = max(
        int(line.time[-1]) + nanoseconds(station.points[role].stale_after_s)
        for role, line in heard.items()
    )
    return start, end


def situation(station: Station, signals: Signals, span: tuple[int, int]) -> Situation:
    """Return the situation of a station over a span.

    Parameters
    ----------
    station : Station
        Its points and limits.
    signals : mapping of Role to Samples
        Samples that hold into the span; a role without samples is unknown throughout.
    span : tuple of int
        Start and end. [ns]
    """
    lines = {
        role: _line(point, station, signals.get(role, Samples.empty()), span)
        for role, point in station.points.items()
    }
    silent = Timeline(np.array(span, np.int64), np.array([NO_DATA], np.uint8))
    bond = _bond(station, lines, silent)
    flow = _flow(lines, silent)
    bypass = lines.get(Role.BYPASS, silent).mapped(_UNKNOWN_CONTACT)
    permissive = lines.get(Role.PERMISSIVE)
    if permissive is not None:
        permissive = permissive.mapped(_UNKNOWN_CONTACT)
    verified = bonds.verified(bond, nanoseconds(station.limits.hold_s))
    faults = _fault_lines(station, lines)
    edges = distinct(
        np.concatenate(
            [verified.ravel(), *(line.edges for line in (bond, flow, bypass, *faults.values()))]
        )
    )
    begins = edges[:-1]
    return Situation(
        edges=edges,
        bond=bond,
        flow=flow,
        bypass=bypass,
        permissive=permissive,
        verified=verified,
        is_verified=covers(verified, begins),
        bond_known=bond.sample(begins) != Bond.UNKNOWN,
        flowing=flow.sample(begins) == Contact.ON,
        bypassed=bypass.sample(begins) == Contact.ON,
        faulty=_faulty(faults, begins),
    )


def openings(permissive: Timeline) -> Moments:
    """Return the moments at which the permissive opened: open, and last known closed. [ns]"""
    opened = permissive.state == Contact.OFF
    opened &= last_known(permissive, Contact.UNKNOWN) == Contact.ON
    moments: Moments = permissive.edges[:-1][opened]
    return moments


def _line(point: Point, station: Station, samples: Samples, span: tuple[int, int]) -> Timeline:
    return timeline(
        samples, _classifier(point.role, station), nanoseconds(point.stale_after_s), span
    )


def _classifier(role: Role, station: Station) -> Callable[[ValueArray], States]:
    limits = station.limits
    if role is Role.RESISTANCE:
        return partial(
            bonds.resistance_states, limit_ohm=limits.limit_ohm, open_ohm=limits.open_ohm
        )
    if role is Role.STATUS:
        return lambda value: value.astype(np.uint8)
    threshold = limits.flow_min if role is Role.FLOW else 0.5
    return lambda value: (value >= threshold).view(np.uint8)


def _bond(station: Station, lines: Mapping[Role, Timeline], silent: Timeline) -> Timeline:
    role = station.bond_role
    if role is None:
        return silent.mapped(_UNKNOWN_BOND)
    if role is Role.RESISTANCE:
        return lines[role].mapped(_UNKNOWN_BOND)
    told = bonds.status_states if role is Role.STATUS else bonds.contact_states
    codes = dict(enumerate(told(np.arange(4.0)).tolist()))
    return lines[role].mapped(codes | _UNKNOWN_BOND)


def _flow(lines: Mapping[Role, Timeline], silent: Timeline) -> Timeline:
    """Return where product flows: by the flow meter or the run contact, on if either says so."""
    told = [
        lines[role].mapped(_UNKNOWN_CONTACT) for role in (Role.FLOW, Role.RUNNING) if role in lines
    ]
    if not told:
        return silent.mapped(_UNKNOWN_CONTACT)
    if len(told) == 1:
        return told[0]
    edges = distinct(np.concatenate([line.edges for line in told]))
    meter, contact = (line.sample(edges[:-1]) for line in told)
    either = (meter == Contact.ON) | (contact == Contact.ON)
    unsure = (meter == Contact.UNKNOWN) | (contact == Contact.UNKNOWN)
    state = np.where(either, Contact.ON, np.where(unsure, Contact.UNKNOWN, Contact.OFF))
    return joined(edges, state.astype(np.uint8))


def _fault_lines(station: Station, lines: Mapping[Role, Timeline]) -> dict[Role, Timeline]:
    roles = {station.bond_role, Role.STATUS}
    return {role: line for role, line in lines.items() if role in roles}


def _faulty(lines: Mapping[Role, Timeline], begins: Moments) -> Mask:
    mask = np.zeros(begins.size, bool)
    for role, line in lines.items():
        state = line.sample(begins)
        mask |= state == BAD_DATA
        if role is Role.STATUS:
            mask |= state == Status.FAULT
    return mask
