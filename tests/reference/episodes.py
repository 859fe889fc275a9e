"""Hookups, transfers, losses and trips, from the cells of a station."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import log10
from statistics import median, pstdev
from typing import NamedTuple

from bondtrail.results import HookupCause, TripCause, TripClass
from bondtrail.site import Limits, Role, Station
from bondtrail.times import nanoseconds, seconds
from tests.reference.timeline import (
    BAD,
    LOW,
    OFF,
    OPEN,
    UNKNOWN,
    Cell,
    Series,
    Span,
    bond_role,
    inside,
    runs,
    stretches,
)

TRIP_EVIDENCE_NS = nanoseconds(5)


class Loss(NamedTuple):
    """A known not-low stretch that follows low."""

    span: Span
    was_verified: bool


def losses(cells: Sequence[Cell]) -> list[Loss]:
    """Return every loss of bond; unknown between low and not low is skipped."""
    found = []
    last_low: bool | None = None
    for state, span in runs(cells, lambda cell: (cell.is_known, cell.is_not_low)):
        if state == (True, True) and last_low is not None:
            found.append(Loss(span, last_low))
        if state == (True, True):
            last_low = None
        elif state == (True, False):
            last_low = any(cell.verified for cell in inside(cells, span))
    return found


def turns(cells: Sequence[Cell], role: Role, to: float) -> list[int]:
    """Return when a contact turned to a value from the other one, unknown between skipped."""
    found = []
    last = to
    for value, span in runs(cells, lambda cell: cell.known(role)):
        if value is None:
            continue
        if value == to and last != to:
            found.append(span.start)
        last = value
    return found


@dataclass(frozen=True, slots=True)
class Contact:
    """A clamp on: a hookup, or a touch. ``off`` is when it is seen open, if it ever is."""

    span: Span
    off: int | None


def contacts(station: Station, cells: Sequence[Cell]) -> list[Contact]:
    """Return every stretch of contact, hookups and touches alike, in order."""
    detach = nanoseconds(station.limits.detach_s)
    found: list[Contact] = []
    begun: int | None = None
    went_unknown: int | None = None
    known_until = 0

    def state(cell: Cell) -> str:
        return cell.bond if cell.bond in (OPEN, UNKNOWN) else "contact"

    for now, span in runs(cells, state):
        if now == "contact" and begun is None:
            begun = span.start
        if now == OPEN and begun is not None:
            if went_unknown is not None:
                found.append(Contact(Span(begun, went_unknown), span.start))
                begun = None
            elif span.length >= detach:
                found.append(Contact(Span(begun, span.start), span.start))
                begun = None
        went_unknown = span.start if now == UNKNOWN else None
        known_until = known_until if now == UNKNOWN else span.end
    if begun is not None:
        found.append(Contact(Span(begun, known_until), None))
    return found


def hold_served(cells: Sequence[Cell], span: Span) -> int | None:
    """Return the first verified moment in a span, or None."""
    return next((cell.start for cell in inside(cells, span) if cell.verified), None)


def readings_in(series: Series, span: Span) -> list[float]:
    """Return the not-bad resistances sampled in a span."""
    return [
        value
        for time, value, quality in series.get(Role.RESISTANCE, ())
        if span.start <= time < span.end and quality != BAD
    ]


def suspected(limits: Limits, readings: Sequence[float]) -> HookupCause | None:
    """Return why a hookup with these readings failed."""
    touching = [ohm for ohm in readings if ohm < limits.open_ohm]
    if not touching:
        return None
    if min(touching) <= limits.marginal_factor * limits.limit_ohm:
        return HookupCause.MARGINAL
    logs = [log10(min(ohm, limits.open_ohm)) for ohm in readings]
    jumps = [after - before for before, after in itertools.pairwise(logs)]
    if len(jumps) >= 2 and pstdev(jumps) > 0.3:
        return HookupCause.UNSTEADY
    third = len(touching) // 3
    if third and median(touching[-third:]) < 0.5 * median(touching[:third]):
        return HookupCause.FALLING
    return HookupCause.LAYER


@dataclass(frozen=True, slots=True)
class Flow:
    """A transfer: its flow runs, and for each whether it follows a pause or is the first."""

    runs: list[Span]
    fresh: list[bool] = field(default_factory=list)

    @property
    def span(self) -> Span:
        return Span(self.runs[0].start, self.runs[-1].end)

    @property
    def on(self) -> int:
        return sum(run.length for run in self.runs)


def flows(station: Station, cells: Sequence[Cell]) -> list[Flow]:
    """Return the transfers."""
    resume = nanoseconds(station.limits.resume_within_s)
    joined: list[Flow] = []
    for run in stretches(cells, lambda cell: cell.is_flowing):
        if joined and run.start - joined[-1].span.end <= resume:
            gap = Span(joined[-1].span.end, run.start)
            joined[-1].runs.append(run)
            joined[-1].fresh.append(any(cell.flow == OFF for cell in inside(cells, gap)))
        else:
            joined.append(Flow([run], [True]))
    shortest = nanoseconds(station.limits.transfer_min_s)
    return [flow for flow in joined if flow.on >= shortest]


def flowing(cells: Sequence[Cell], flow: Flow) -> list[Cell]:
    """Return the cells of a transfer in which flow is on."""
    return [cell for run in flow.runs for cell in inside(cells, run)]


@dataclass(frozen=True, slots=True)
class Stop:
    """A trip, with the moment that flow went off."""

    time: int
    flow_end: int
    trip_class: TripClass
    cause: TripCause
    marginal: bool = False
    loss_s: float | None = None
    stop_s: float | None = None


def stops(station: Station, cells: Sequence[Cell], flow: Flow) -> list[Stop]:
    """Return the trips of a transfer."""
    if Role.PERMISSIVE in station.points:
        opened = turns(cells, Role.PERMISSIVE, 0)
    else:
        opened = [loss.span.start for loss in losses(cells) if loss.was_verified]
    window = nanoseconds(station.limits.trip_window_s)
    found = []
    for run in flow.runs:
        after = [cell for cell in cells if cell.start == run.end]
        if not after or after[0].flow != OFF:
            continue
        causes = [p for p in opened if max(run.start, run.end - window) <= p <= run.end]
        if causes:
            found.append(judged(station, cells, run, causes[-1]))
    return found


def judged(station: Station, cells: Sequence[Cell], run: Span, time: int) -> Stop:
    """Return the trip of a flow run, classed by the bond readings around it."""
    window = Span(time - TRIP_EVIDENCE_NS, run.end)
    loss = closest_loss(cells, window, time)
    if loss is None:
        return Stop(time, run.end, *class_without_loss(station, cells, window))
    brief = nanoseconds(station.limits.brief_s)
    opens = [span.length for span in stretches(inside(cells, loss), lambda c: c.bond == OPEN)]
    if opens and max(opens) >= brief:
        said = TripClass.GENUINE, TripCause.CLAMP_OFF
    elif loss.length >= brief:
        said = TripClass.GENUINE, TripCause.HIGH_RESISTANCE
    else:
        said = TripClass.NUISANCE, TripCause.BRIEF_CONTACT_LOSS
    return Stop(
        time,
        run.end,
        *said,
        marginal=is_marginal(station, cells, loss),
        loss_s=seconds(loss.length),
        stop_s=seconds(run.end - loss.start) if loss.start >= run.start else None,
    )


def closest_loss(cells: Sequence[Cell], window: Span, time: int) -> Span | None:
    """Return the not-low stretch that precedes the trip most closely, else the next after it."""
    touching = [
        span
        for span in stretches(cells, lambda cell: cell.is_not_low)
        if span.start <= window.end and span.end > window.start
    ]
    before = [span for span in touching if span.start <= time]
    return before[-1] if before else touching[0] if touching else None


def class_without_loss(
    station: Station, cells: Sequence[Cell], window: Span
) -> tuple[TripClass, TripCause]:
    """Return class and cause where no loss is seen; the moment flow went off counts for faults."""
    closed = inside(cells, Span(window.start, window.end + 1))
    if any(is_faulty(station, cell) for cell in closed):
        return TripClass.NUISANCE, TripCause.MONITOR_FAULT
    seen = inside(cells, window)
    if sum(cell.length for cell in seen if cell.bond == LOW) == window.length:
        return TripClass.NUISANCE, TripCause.NO_LOSS_SEEN
    return TripClass.UNDETERMINED, TripCause.NO_DATA


def is_faulty(station: Station, cell: Cell) -> bool:
    """Whether the monitor says fault, or what it says of the bond is bad."""
    bad = cell.is_bad(bond_role(station)) or cell.is_bad(Role.STATUS)
    return bad or cell.known(Role.STATUS) == 2


def is_marginal(station: Station, cells: Sequence[Cell], loss: Span) -> bool:
    """Whether a loss stays within the marginal factor of the limit all along."""
    if Role.RESISTANCE not in station.points:
        return False
    most = station.limits.marginal_factor * station.limits.limit_ohm
    held = [cell.known(Role.RESISTANCE) for cell in inside(cells, loss)]
    return all(ohm is not None and ohm <= most for ohm in held)
