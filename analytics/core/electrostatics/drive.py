"""What drove the charge: flow and bond resistance over time, each at three levels.

What is not known is never taken for good: the low level supposes the best that fits the record,
the high level the worst.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.core.bond import Bond
from analytics.core.electrostatics.beside_flow import Heard, beside_flow
from analytics.core.electrostatics.held import Held, held
from analytics.core.electrostatics.spread import Level, Spread
from analytics.core.runs import Contact, Timeline
from analytics.core.situation import Signals, Situation
from analytics.core.spans import Mask, Moments, covers, distinct
from bondtrail.samples import Samples, ValueArray
from bondtrail.site import Role, Station
from bondtrail.times import NS_PER_S, nanoseconds

Levels = Mapping[Level, ValueArray]
"""An array of shape (n,) for each level, nowhere falling from low to high."""


@dataclass(frozen=True, slots=True, eq=False)
class Drive:
    """Flow and resistance on n adjoining steps over which neither changes.

    Attributes
    ----------
    edges : ndarray of int64, shape (n + 1,)
        Of the steps: all of the span. [ns]
    flow : mapping of Level to ndarray of float64, shape (n,)
        0 or more. [L/min or kg/min]
    resistance_ohm : mapping of Level to ndarray of float64, shape (n,)
        Of the bond, or of what leaks without one: 0 or more, ``inf`` for no leak at all. [ohm]
    recorded_ohm : ndarray of float64, shape (n,)
        As measured; NaN where it is not known, or not measured at all. [ohm]
    bond_open, bond_unknown : ndarray of bool, shape (n,)
        What holds on each step.
    flow_unknown : ndarray of bool, shape (n,)
        Where it is not known whether anything flowed, and it may have: beside flow on record.
    flow_apart : ndarray of bool, shape (n,)
        Where it is not known either, but no flow on record is near: counted at no level.
    flow_unread : ndarray of bool, shape (n,)
        Where flow was on, at a rate that is not known.
    by_rating : bool
        Whether the flow is the rated one, for want of a meter or of anything that it says.
    """

    edges: Moments
    flow: Levels
    resistance_ohm: Levels
    recorded_ohm: ValueArray
    bond_open: Mask
    bond_unknown: Mask
    flow_unknown: Mask
    flow_apart: Mask
    flow_unread: Mask
    by_rating: bool

    @property
    def step_s(self) -> ValueArray:
        """How long each step lasts, shape (n,). [s]"""
        return np.diff(self.edges) / NS_PER_S

    @property
    def flowing(self) -> Mask:
        """Where something flowed, or may have beside flow on record, shape (n,)."""
        return self.flow[Level.HIGH] > 0

    def seconds(self, mask: Mask) -> float:
        """Return for how long a mask of the steps holds. [s]"""
        return float(self.step_s[mask].sum())

    def opening(self, flow_min: float, lasts_s: float) -> float | None:
        """Return the greatest flow in the time after it began; None if that was not seen.

        Parameters
        ----------
        flow_min : float
            From which flow counts. [L/min or kg/min]
        lasts_s : float
            How long after. [s]
        """
        known = ~(self.flow_unknown | self.flow_apart | self.flow_unread)
        flow = self.flow[Level.LOW]
        begins = np.flatnonzero(known & (flow >= flow_min))
        if not begins.size or begins[0] == 0 or not known[begins[0] - 1]:
            return None
        first = int(begins[0])
        until = int(self.edges.searchsorted(self.edges[first] + nanoseconds(lasts_s)))
        return float(flow[first:until].max())


def flow_unit(station: Station) -> str | None:
    """Return what flow adds up to at a station: L, kg, or None where nothing tells."""
    return station.volume_unit if Role.FLOW in station.points else station.rated_unit


def drive(
    station: Station,
    signals: Signals,
    now: Situation,
    span: tuple[int, int],
    leakage: Spread,
    heard: Heard | None = None,
) -> Drive | None:
    """Return what drove the charge over a span, or None if flow is known nowhere.

    Parameters
    ----------
    station : Station
        Its points, limits and rated flow.
    signals : mapping of Role to Samples
        Samples that hold into the span.
    now : Situation
        Of these signals, over at least the span.
    span : tuple of int
        Start and end, start before end. [ns]
    leakage : Spread
        Resistance of what leaks where the bond is open. [ohm]
    heard : mapping of Role to tuple of int, optional
        The first and the last reading of each point that are on record at all; left out, those of
        ``signals``. [ns]

    Notes
    -----
    Resistance: as recorded while it is known and below ``open_ohm``. Open: at least what was read,
    or ``open_ohm`` where that is no number, at the low level; the leakage at the others where that
    is more. Unknown: a perfect bond at the low level, as open at the others. Where only a status or
    a permissive tells of the bond, bonded is anything up to the limit.

    Flow: as recorded while it is known. On by the run contact, at a rate that no meter tells: the
    least that counts as flow, ``flow_min``, at the low level; the last known rate of flow before,
    else the first after, at the typical one; at the high level the greatest in the span, or the
    rated flow if that is more. Unknown altogether: where it can belong to flow on record
    (`beside_flow`) the same, but none at the low level, and at the typical one what was last known
    even if that is nothing; elsewhere none at any level. A reading below zero counts by its size.
    Without a meter, or with one that says nothing in the whole span: the rated flow while it runs.
    """
    metered = _metered(station, signals, span)
    rate = metered or _rated_while_running(station, now, span)
    if rate is None:
        return None
    ohm = _ohm(station, signals, now, span)
    near = beside_flow(station, signals, now.flow, span, heard)
    turns = _turns(rate, near.ravel(), now.flow.edges)
    edges = distinct(np.concatenate((rate.edges, ohm.edges, turns)))
    flow, recorded = rate.at(edges[:-1]), ohm.at(edges[:-1])
    untold, on = np.isnan(flow), now.flow.sample(edges[:-1]) == Contact.ON
    may_flow = covers(near, edges[:-1])
    greatest = np.nanmax(np.append(rate.value, _rated(station) or 0.0))
    measured = station.bond_role is Role.RESISTANCE
    return Drive(
        edges=edges,
        flow=_flows(flow, on, may_flow, greatest, station.limits.flow_min),
        resistance_ohm=_resistances(recorded, measured, station.limits.open_ohm, leakage),
        recorded_ohm=recorded if measured else np.full(recorded.size, np.nan),
        bond_open=recorded >= station.limits.open_ohm,
        bond_unknown=np.isnan(recorded),
        flow_unknown=untold & ~on & may_flow,
        flow_apart=untold & ~on & ~may_flow,
        flow_unread=untold & on,
        by_rating=metered is None,
    )


def _turns(rate: Held, near: Moments, flow: Moments) -> Moments:
    """Return in order the moments at which what is supposed of an unknown rate may turn."""
    moments = distinct(np.concatenate((near, flow)))
    inside = moments[(moments > rate.edges[0]) & (moments < rate.edges[-1])]
    turns: Moments = inside[np.isnan(rate.at(inside))]
    return turns


def _metered(station: Station, signals: Signals, span: tuple[int, int]) -> Held | None:
    """Return the measured rate of flow, or None if it is known nowhere. [L/min or kg/min]"""
    if Role.FLOW not in station.points:
        return None
    read = _recorded(station, signals, Role.FLOW, span)
    rate = np.where(np.isinf(read.value), np.nan, np.abs(read.value))
    return None if np.isnan(rate).all() else Held(read.edges, rate)


def _rated_while_running(station: Station, now: Situation, span: tuple[int, int]) -> Held | None:
    """Return the rated flow while it runs, or None if there is none. [L/min or kg/min]"""
    rated = _rated(station)
    if Role.RUNNING not in station.points or rated is None:
        return None
    return _told(now.flow, {Contact.OFF: 0.0, Contact.ON: rated}, span)


def _rated(station: Station) -> float | None:
    """Return the rated flow, unless it is in another unit than the measured one."""
    return station.rated_flow if station.rated_unit == flow_unit(station) else None


def _ohm(station: Station, signals: Signals, now: Situation, span: tuple[int, int]) -> Held:
    if station.bond_role is Role.RESISTANCE:
        return _recorded(station, signals, Role.RESISTANCE, span)
    return _told(now.bond, {Bond.LOW: station.limits.limit_ohm, Bond.OPEN: np.inf}, span)


def _recorded(station: Station, signals: Signals, role: Role, span: tuple[int, int]) -> Held:
    stale_ns = nanoseconds(station.points[role].stale_after_s)
    return held(signals.get(role, Samples.empty()), stale_ns, span)


def _told(line: Timeline, values: Mapping[int, float], span: tuple[int, int]) -> Held:
    """Return the values that states stand for; NaN for any other state."""
    table = np.full(256, np.nan)
    table[list(values)] = list(values.values())
    inside = line.edges[(line.edges > span[0]) & (line.edges < span[1])]
    edges = np.concatenate(([span[0]], inside, [span[1]]))
    return Held(edges, table[line.sample(edges[:-1])])


def _flows(flow: ValueArray, on: Mask, may_flow: Mask, greatest: float, flow_min: float) -> Levels:
    """Return flow at each level: NaN in ``flow`` is a rate that is not known."""
    unknown = np.isnan(flow)
    least = np.where(on, flow_min, 0.0)
    flowed = np.where(flow >= flow_min, flow, np.nan)
    usual = np.where(on, _nearest_known(flowed, greatest), _nearest_known(flow, greatest))
    typical, high = np.maximum(usual, least), np.maximum(greatest, least)
    lost = unknown & ~on & ~may_flow
    return {
        level: np.where(lost, 0.0, np.where(unknown, supposed, flow))
        for level, supposed in zip(Level, (least, typical, high), strict=True)
    }


def _nearest_known(values: ValueArray, otherwise: float) -> ValueArray:
    """Return values with each unknown as the last known before, else the first after."""
    known = np.flatnonzero(~np.isnan(values))
    if known.size == 0:
        return np.full(values.size, otherwise)
    before = np.searchsorted(known, np.arange(values.size), side="right") - 1
    nearest: ValueArray = values[known[np.maximum(before, 0)]]
    return nearest


def _resistances(recorded: ValueArray, measured: bool, open_ohm: float, leakage: Spread) -> Levels:
    unknown, is_open = np.isnan(recorded), recorded >= open_ohm
    at_least = np.where(unknown | ~np.isfinite(recorded), open_ohm, recorded)
    loose = unknown | is_open
    low = np.where(unknown, 0.0, at_least)
    if not measured:
        low[~loose] = 0.0
    return {
        Level.LOW: low,
        Level.TYPICAL: np.where(loose, np.maximum(at_least, leakage.typical), recorded),
        Level.HIGH: np.where(loose, np.maximum(at_least, leakage.high), recorded),
    }
