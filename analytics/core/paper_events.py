"""What was written down of a span: who worked, what the ticket says, what was found, which limits.

None of these is a reading, so nothing is said of how finely their times tell an order.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analytics.core.drafts import Draft, Scene
from analytics.core.events import Basis, What
from analytics.core.wording import duration, resistance
from bondtrail.results import Finding, Ticket, Trip, WorkWindow
from bondtrail.site import Limits, Role, Station
from bondtrail.times import seconds


@dataclass(frozen=True, slots=True)
class Papers:
    """What others have of a station's span; any part may be empty.

    Attributes
    ----------
    trips, findings : sequence
        As an analysis judged them.
    work, tickets : sequence
        As they were written.
    changes : sequence of (int, Station, Station)
        Where the site file changed within the span: when, and the station before and after. [ns]
    """

    trips: Sequence[Trip] = ()
    findings: Sequence[Finding] = ()
    work: Sequence[WorkWindow] = ()
    tickets: Sequence[Ticket] = ()
    changes: Sequence[tuple[int, Station, Station]] = ()


def paper_events(scene: Scene, papers: Papers) -> Iterator[Draft]:
    """Yield what was written down of a span; what began earlier is told at its start."""
    start = scene.span[0]
    yield from _trips(scene, papers.trips)
    for finding in papers.findings:
        if max(finding.end, finding.start + 1) > start:
            yield _finding(finding, start)
    for window in papers.work:
        whats = What.WORK_ON, What.WORK_GOING_ON, What.WORK_OVER
        yield from _lasting(scene, window.start, window.end, window.what, whats)
    for ticket in papers.tickets:
        whats = What.TICKET_ON, What.TICKET_GOING_ON, What.TICKET_OVER
        yield from _lasting(scene, ticket.start, ticket.end, _ticket_words(ticket), whats)
    for moment, before, after in papers.changes:
        changed = differences(before, after)
        if changed:
            yield Draft(moment, What.LIMITS_CHANGED, changed)


def _lasting(
    scene: Scene, start: int, end: int, said: str, whats: tuple[What, What, What]
) -> Iterator[Draft]:
    """Yield where something that was written down begins and ends, or goes on at the start."""
    begins, goes_on, ends = whats
    if end <= scene.span[0]:
        return
    if start < scene.span[0]:
        before = duration(seconds(scene.span[0] - start))
        yield Draft(scene.span[0], goes_on, f"{said}; began {before} before")
    else:
        yield Draft(start, begins, said)
    yield Draft(end, ends, said)


def _ticket_words(ticket: Ticket) -> str:
    parts = (("batch", ticket.batch), ("product", ticket.product), ("operator", ticket.operator))
    return ", ".join(f"{name} {value}" for name, value in parts if value) or "without a word"


def _trips(scene: Scene, trips: Sequence[Trip]) -> Iterator[Draft]:
    """Yield the trips: the time of one is that of the permissive, or else of the bond."""
    if not trips:
        return
    role = Role.PERMISSIVE if Role.PERMISSIVE in scene.told else scene.station.bond_role
    since = scene.told_since(role, np.array([trip.time for trip in trips], np.int64))
    for trip, earliest in zip(trips, since, strict=True):
        cause = trip.cause.replace("_", " ")
        stop = "" if trip.stop_s is None else f", flow off {duration(trip.stop_s)} after the loss"
        said = f"{trip.trip_class}: {cause}{stop}"
        yield Draft(trip.time, What.TRIP, said, role, earliest, Basis.INFERRED)


def _finding(finding: Finding, start: int) -> Draft:
    """Return where a finding begins, or that it is going on at the start of the span (ns)."""
    what = What.FINDING if finding.start >= start else What.GOING_ON
    said = f"{finding.severity} {finding.kind.replace('_', ' ')}: {finding.summary}"
    return Draft(max(finding.start, start), what, said, basis=Basis.INFERRED, finding=finding)


def limits_words(limits: Limits) -> str:
    """Return the limits that states are read by, in words."""
    return (
        f"low up to {resistance(limits.limit_ohm)}, open from {resistance(limits.open_ohm)},"
        f" hold {limits.hold_s:g} s, flow from {limits.flow_min:g}"
    )


def differences(before: Station, after: Station) -> str:
    """Return what a newer site file says otherwise of a station, in words; empty if nothing.

    Only what the rules go by.
    """
    changed = list(_changed(before.limits.model_dump(), after.limits.model_dump()))
    old = {f"{role}.stale_after_s": p.stale_after_s for role, p in before.points.items()}
    new = {f"{role}.stale_after_s": p.stale_after_s for role, p in after.points.items()}
    changed += _changed(old, new)
    own = ("kind", "product", "volume_unit")
    changed += _changed(
        {name: getattr(before, name) for name in own}, {name: getattr(after, name) for name in own}
    )
    return ", ".join(changed)


def _changed(old: Mapping[str, object], new: Mapping[str, object]) -> Iterator[str]:
    for name in dict.fromkeys((*old, *new)):
        was, is_now = old.get(name), new.get(name)
        if was != is_now:
            yield f"{name} {_plain(was)} to {_plain(is_now)}"


def _plain(value: object) -> str:
    if value is None:
        return "none"
    return f"{value:g}" if isinstance(value, float) else str(value)
