"""What is known of a station at each moment: a walk over the cells between changes.

A cell is a span in which nothing changes. Everything else in the reference evaluator is a plain
loop over the list of cells.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import NamedTuple, TypeVar

from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds

Sample = tuple[int, float, int]
"""Moment in ns, value, quality."""
Series = Mapping[Role, Sequence[Sample]]
Held = tuple[float, int]
"""Value and quality."""

BAD = 2
INFINITY = float("inf")

LOW, HIGH, OPEN, UNKNOWN = "low", "high", "open", "unknown"
ON, OFF, NOT_RECORDED = "on", "off", "not recorded"

K = TypeVar("K", bound=Hashable)


class Span(NamedTuple):
    """Half-open, in ns."""

    start: int
    end: int

    @property
    def length(self) -> int:
        return self.end - self.start

    def overlaps(self, other: Span) -> bool:
        return self.start < other.end and other.start < self.end


@dataclass(frozen=True, slots=True)
class Cell:
    """A span in which nothing changes, and all that is known in it."""

    start: int
    end: int
    held: Mapping[Role, Held]
    """What the sample in force says, of each point that has one: bad ones too."""
    bond: str
    flow: str
    verified: bool = False

    @property
    def length(self) -> int:
        return self.end - self.start

    def known(self, role: Role) -> float | None:
        """The value of a point, or None while it is unknown."""
        return known(self.held, role)

    def is_bad(self, role: Role | None) -> bool:
        """Whether a bad sample of the point is in force."""
        return role is not None and self.held.get(role, (0.0, 0))[1] == BAD

    @property
    def is_known(self) -> bool:
        return self.bond != UNKNOWN

    @property
    def is_not_low(self) -> bool:
        return self.bond in (HIGH, OPEN)

    @property
    def is_unbonded(self) -> bool:
        """Bond known, not verified."""
        return self.is_known and not self.verified

    @property
    def is_flowing(self) -> bool:
        return self.flow == ON


def walk(station: Station, series: Series, end: int | None = None) -> list[Cell]:
    """Return the cells from the first sample to where the last one has gone stale, or ``end``."""
    held = {
        role: [sample for sample in series.get(role, ()) if end is None or sample[0] < end]
        for role in station.points
    }
    stale = {role: nanoseconds(point.stale_after_s) for role, point in station.points.items()}
    moments = set()
    for role, samples in held.items():
        for sample in samples:
            moments |= {sample[0], sample[0] + stale[role]}
    if end is not None:
        moments = {min(moment, end) for moment in moments}
    edges = sorted(moments)
    cells: list[Cell] = []
    for start, stop in pairwise(edges):
        now = {}
        for role, samples in held.items():
            said = in_force(samples, start, stale[role])
            if said is not None:
                now[role] = said
        if cells and cells[-1].held == now:
            cells[-1] = replace(cells[-1], end=stop)
        else:
            cells.append(Cell(start, stop, now, bond_state(station, now), flow_state(station, now)))
    return list(with_hold(cells, nanoseconds(station.limits.hold_s)))


def in_force(samples: Sequence[Sample], moment: int, stale: int) -> Held | None:
    """Return what the latest sample at or before the moment says, unless it is stale by then."""
    at = bisect_right(samples, (moment, INFINITY, BAD)) - 1
    return samples[at][1:] if at >= 0 and moment < samples[at][0] + stale else None


def known(held: Mapping[Role, Held], role: Role) -> float | None:
    """Return the value of a point, or None while it is unknown."""
    value, quality = held.get(role, (0.0, BAD))
    return None if quality == BAD else value


def bond_state(station: Station, held: Mapping[Role, Held]) -> str:
    limits = station.limits
    role = bond_role(station)
    value = None if role is None else known(held, role)
    if value is None:
        return UNKNOWN
    if role == Role.RESISTANCE:
        if value <= limits.limit_ohm:
            return LOW
        return HIGH if value < limits.open_ohm else OPEN
    return {1: LOW, 0: OPEN}.get(int(value), UNKNOWN)


def bond_role(station: Station) -> Role | None:
    for role in (Role.RESISTANCE, Role.STATUS, Role.PERMISSIVE):
        if role in station.points:
            return role
    return None


def flow_state(station: Station, held: Mapping[Role, Held]) -> str:
    told = []
    if Role.FLOW in station.points:
        flow = known(held, Role.FLOW)
        told.append(UNKNOWN if flow is None else ON if flow >= station.limits.flow_min else OFF)
    if Role.RUNNING in station.points:
        running = known(held, Role.RUNNING)
        told.append(UNKNOWN if running is None else ON if running == 1 else OFF)
    for state in (ON, UNKNOWN, OFF):
        if state in told:
            return state
    return NOT_RECORDED


def with_hold(cells: Sequence[Cell], hold: int) -> Iterator[Cell]:
    """Yield the cells, cut where a hold has been served, and say from there on: verified."""
    began = None
    for cell in cells:
        if cell.bond != LOW:
            began = None
            yield cell
            continue
        began = cell.start if began is None else began
        served = began + hold
        if cell.start < served < cell.end:
            yield replace(cell, end=served)
            yield replace(cell, start=served, verified=True)
        else:
            yield replace(cell, verified=served <= cell.start)


def runs(cells: Sequence[Cell], key: Callable[[Cell], K]) -> list[tuple[K, Span]]:
    """Return the maximal spans over which ``key`` stays the same, in order."""
    found: list[tuple[K, Span]] = []
    for said, alike in groupby(cells, key):
        together = list(alike)
        found.append((said, Span(together[0].start, together[-1].end)))
    return found


def stretches(cells: Sequence[Cell], test: Callable[[Cell], object]) -> list[Span]:
    """Return the maximal spans throughout which the test holds."""
    return [span for said, span in runs(cells, lambda cell: bool(test(cell))) if said]


def inside(cells: Sequence[Cell], span: Span) -> list[Cell]:
    """Return the cells of a span, the first and last cut to it."""
    first = bisect_right(cells, span.start, key=lambda cell: cell.end)
    found = []
    for cell in cells[first:]:
        if cell.start >= span.end:
            break
        cut = cell.start < span.start or cell.end > span.end
        start, end = max(cell.start, span.start), min(cell.end, span.end)
        found.append(replace(cell, start=start, end=end) if cut else cell)
    return found
