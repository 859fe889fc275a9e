"""The sequence of events of a span: what changed at a station, moment by moment."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analytics.core.bond import Bond
from analytics.core.runs import Contact, Timeline, last_known
from analytics.core.situation import Signals, Situation, situation
from analytics.core.wording import duration
from bondtrail.results import Finding, Trip
from bondtrail.samples import Samples
from bondtrail.site import Role, Station


class What(StrEnum):
    """What an event says, in the order in which events of one moment are told."""

    AT_START = "at_start"
    GOING_ON = "finding_going_on"
    BOND_UNKNOWN = "bond_unknown"
    BOND_KNOWN = "bond_known_again"
    BOND_LOST = "bond_lost"
    CIRCUIT_OPEN = "circuit_open"
    CONTACT = "contact_made"
    BOND_LOW = "bond_low"
    VERIFIED = "bond_verified"
    FAULT_ON = "monitor_fault"
    FAULT_OFF = "monitor_fault_cleared"
    BYPASS_ON = "bypass_on"
    BYPASS_OFF = "bypass_off"
    BYPASS_UNKNOWN = "bypass_unknown"
    PERMISSIVE_CLOSED = "permissive_closed"
    PERMISSIVE_OPENED = "permissive_opened"
    PERMISSIVE_UNKNOWN = "permissive_unknown"
    TRIP = "trip"
    FLOW_ON = "flow_on"
    FLOW_OFF = "flow_off"
    FLOW_UNKNOWN = "flow_unknown"
    FINDING = "finding"


_ORDER = {what: number for number, what in enumerate(What)}

ABNORMAL = frozenset(
    {
        What.BOND_UNKNOWN,
        What.BOND_LOST,
        What.CIRCUIT_OPEN,
        What.FAULT_ON,
        What.BYPASS_ON,
        What.TRIP,
        What.FLOW_UNKNOWN,
        What.FINDING,
        What.GOING_ON,
    }
)
"""Events that a reader should not miss."""


class Basis(StrEnum):
    """What an event rests on."""

    KNOWN = "known"
    """A reading says so, or a person wrote it down."""
    INFERRED = "inferred"
    """A rule says so, from readings: a verified bond, a trip, a finding."""
    MISSING = "missing"
    """Nothing is known from here on."""


@dataclass(frozen=True, slots=True)
class Event:
    """One change: when, what, and the figures beside it.

    Attributes
    ----------
    time : int
        When it was seen. [ns]
    detail : str
        The figures, in words.
    finding : Finding or None
        The finding that begins, where it is of one.
    basis : Basis
        What it rests on.
    role : Role or None
        The point whose reading shows it; None where it is of no one point.
    since : int or None
        The change may have come at any moment after this one: the reading before, but no longer
        than the point's reporting interval. None where no reading tells. [ns]
    order_certain : bool
        Whether it surely came after the event told before it: else the two lie closer than their
        points report.
    ohm, flow, volume : float or None
        Resistance and rate in force then, and what had flowed since the start of the span or
        transfer. [ohm, L/min or kg/min, L or kg]
    """

    time: int
    what: What
    detail: str = ""
    finding: Finding | None = None
    basis: Basis = Basis.KNOWN
    role: Role | None = None
    since: int | None = None
    order_certain: bool = True
    ohm: float | None = None
    flow: float | None = None
    volume: float | None = None


def sequence(
    station: Station,
    signals: Signals,
    span: tuple[int, int],
    *,
    trips: Sequence[Trip] = (),
    findings: Sequence[Finding] = (),
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
    trips, findings : sequence
        Those of the station; the ones that begin inside the span are told, and the findings that
        are going on at its start.

    Returns
    -------
    list of Event
        By time; first how things stood at the start. Empty for an empty span.
    """
    start, end = span
    if end <= start:
        return []
    now = situation(station, signals, span)
    events = [
        Event(start, What.AT_START, _standing(now)),
        *_bond_events(now.bond, signals.get(Role.RESISTANCE)),
        *_verified_events(now, span),
        *_fault_events(now, span),
        *_contact_events(now.bypass, What.BYPASS_ON, What.BYPASS_OFF, What.BYPASS_UNKNOWN),
        *_permissive_events(now),
        *_flow_events(station, now, signals.get(Role.FLOW)),
        *(Event(trip.time, What.TRIP, _trip_words(trip)) for trip in trips),
        *(_finding_event(f, start) for f in findings if max(f.end, f.start + 1) > start),
    ]
    inside = (event for event in events if start <= event.time < end)
    return sorted(inside, key=lambda event: (event.time, _ORDER[event.what]))


def _standing(now: Situation) -> str:
    """Return how things stood at the start, in words."""
    said = [f"bond {Bond(int(now.bond.state[0])).name.lower()}"]
    contacts = [("permissive", now.permissive, "closed", "open"), ("flow", now.flow, "on", "off")]
    for name, line, on, off in contacts:
        if line is not None:
            said.append(f"{name} {(off, on, 'unknown')[int(line.state[0])]}")
    if now.bypass.state[0] == Contact.ON:
        said.append("bypass on")
    return ", ".join(said)


def _bond_events(bond: Timeline, resistance: Samples | None) -> Iterator[Event]:
    told = last_known(bond, Bond.UNKNOWN)
    for k in range(1, bond.state.size):
        moment, state = int(bond.edges[k]), Bond(int(bond.state[k]))
        before, known = Bond(int(bond.state[k - 1])), Bond(int(told[k]))
        reading = _reading(resistance, moment)
        if state is Bond.UNKNOWN:
            yield Event(moment, What.BOND_UNKNOWN, f"for {_lasting(bond, k)}")
            continue
        if before is Bond.UNKNOWN:
            yield Event(moment, What.BOND_KNOWN, f"{state.name.lower()}{_beside(reading)}")
        yield from _bond_change(moment, known, state, reading, _lasting(bond, k))


def _bond_change(
    moment: int, known: Bond, state: Bond, reading: str, lasting: str
) -> Iterator[Event]:
    """Yield what a change from the last known state to another says."""
    if known is Bond.LOW and state is not Bond.LOW:
        yield Event(moment, What.BOND_LOST, f"{reading or state.name.lower()}, for {lasting}")
    if known is Bond.HIGH and state is Bond.OPEN:
        yield Event(moment, What.CIRCUIT_OPEN, f"for {lasting}")
    if known is Bond.OPEN and state is not Bond.OPEN:
        yield Event(moment, What.CONTACT, reading)
    if known in (Bond.HIGH, Bond.OPEN) and state is Bond.LOW:
        yield Event(moment, What.BOND_LOW, reading)


def _verified_events(now: Situation, span: tuple[int, int]) -> Iterator[Event]:
    for begin, end in now.verified:
        if begin > span[0]:
            yield Event(int(begin), What.VERIFIED, f"for {duration((end - begin) / 1e9)}")


def _fault_events(now: Situation, span: tuple[int, int]) -> Iterator[Event]:
    for begin, end in now.where(now.faulty):
        yield Event(int(begin), What.FAULT_ON, f"for {duration((end - begin) / 1e9)}")
        if end < span[1]:
            yield Event(int(end), What.FAULT_OFF)


def _permissive_events(now: Situation) -> Iterable[Event]:
    if now.permissive is None:
        return ()
    return _contact_events(
        now.permissive, What.PERMISSIVE_CLOSED, What.PERMISSIVE_OPENED, What.PERMISSIVE_UNKNOWN
    )


def _flow_events(station: Station, now: Situation, flow: Samples | None) -> Iterable[Event]:
    def measured(moment: int) -> str:
        value = _in_force(flow, moment)
        return "" if value is None else f"{value:.4g} {station.volume_unit or ''}/min"

    return _contact_events(now.flow, What.FLOW_ON, What.FLOW_OFF, What.FLOW_UNKNOWN, measured)


def _contact_events(
    line: Timeline, on: What, off: What, unknown: What, detail: Callable[[int], str] | None = None
) -> Iterator[Event]:
    """Yield the changes of a signal; one that comes back as it was is told as such."""
    told = last_known(line, Contact.UNKNOWN)
    for k in range(1, line.state.size):
        moment, state = int(line.edges[k]), int(line.state[k])
        if state == Contact.UNKNOWN:
            yield Event(moment, unknown, f"for {_lasting(line, k)}")
            continue
        beside = detail(moment) if detail else ""
        if state == told[k]:
            beside = f"{beside}, as before".removeprefix(", ")
        yield Event(moment, on if state == Contact.ON else off, beside)


def _lasting(line: Timeline, run: int) -> str:
    return duration(float(line.edges[run + 1] - line.edges[run]) / 1e9)


def _in_force(samples: Samples | None, moment: int) -> float | None:
    """Return the value of the latest sample at a moment, or None before the first."""
    if samples is None:
        return None
    index = int(np.searchsorted(samples.time, moment, side="right")) - 1
    return float(samples.value[index]) if index >= 0 else None


def _reading(resistance: Samples | None, moment: int) -> str:
    value = _in_force(resistance, moment)
    if value is None:
        return ""
    if np.isinf(value):
        return "open circuit"
    return f"{value:.3g} ohm" if value < 1000 else f"{value / 1000:.4g} kohm"


def _beside(reading: str) -> str:
    return f", {reading}" if reading else ""


def _trip_words(trip: Trip) -> str:
    cause = trip.cause.replace("_", " ")
    stop = "" if trip.stop_s is None else f", flow off {duration(trip.stop_s)} after the loss"
    return f"{trip.trip_class}: {cause}{stop}"


def _finding_event(finding: Finding, start: int) -> Event:
    """Return where a finding begins, or that it is going on at the start of the span (ns)."""
    what = What.FINDING if finding.start >= start else What.GOING_ON
    return Event(max(finding.start, start), what, _finding_words(finding), finding)


def _finding_words(finding: Finding) -> str:
    return f"{finding.severity} {finding.kind.replace('_', ' ')}: {finding.summary}"
