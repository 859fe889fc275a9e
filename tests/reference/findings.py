"""The findings of a station, each from the cells and episodes alone."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from bondtrail.results import Kind, Severity, WorkWindow
from bondtrail.site import Role, Station
from bondtrail.times import nanoseconds
from tests.reference.episodes import Contact, Flow, Stop, flowing, losses
from tests.reference.timeline import UNKNOWN, Cell, Span, bond_role, inside, stretches

DAY_NS = 24 * 3600 * 10**9


@dataclass(frozen=True, slots=True)
class Found:
    """A finding before it has a name: ``flow`` is the transfer it belongs to by its nature."""

    kind: Kind
    severity: Severity
    span: Span
    flow: Flow | None = None
    after_work: bool | None = None


def no_bond_transfer(cells: Sequence[Cell], flow: Flow) -> Iterator[Found]:
    seen = flowing(cells, flow)
    if not any(cell.verified for cell in seen) and any(cell.is_unbonded for cell in seen):
        yield Found(Kind.NO_BOND_TRANSFER, Severity.CRITICAL, flow.span, flow)


def unverified_flow(station: Station, cells: Sequence[Cell], flow: Flow) -> Iterator[Found]:
    """Yield `unbonded_start` and `bond_lost_in_flow` of a transfer."""
    never = any(no_bond_transfer(cells, flow))
    lost = {loss.span.start for loss in losses(cells)}
    for run, fresh in zip(flow.runs, flow.fresh, strict=True):
        for piece in stretches(inside(cells, run), lambda cell: not cell.verified):
            seen = inside(cells, piece)
            first = next((cell.start for cell in seen if cell.is_known), None)
            if first is None:
                continue
            begins_without = first == run.start or first not in lost
            if piece.start == run.start and fresh and begins_without:
                if not never:
                    yield from unbonded_start(station, seen, piece, flow)
            else:
                yield from bond_lost_in_flow(station, seen, flow)


def unbonded_start(
    station: Station, seen: Sequence[Cell], piece: Span, flow: Flow
) -> Iterator[Found]:
    unbonded = stretches(seen, lambda cell: cell.is_unbonded)
    allowed = nanoseconds(station.limits.start_allowance_s)
    if sum(span.length for span in unbonded) > allowed:
        span = Span(piece.start, unbonded[-1].end)
        yield Found(Kind.UNBONDED_START, Severity.MAJOR, span, flow)


def bond_lost_in_flow(station: Station, seen: Sequence[Cell], flow: Flow) -> Iterator[Found]:
    lost = next((cell.start for cell in seen if cell.is_not_low), None)
    if lost is None:
        return
    after = [cell for cell in seen if cell.start >= lost]
    unbonded = stretches(after, lambda cell: cell.is_unbonded)
    if sum(span.length for span in unbonded) > nanoseconds(station.limits.stop_allowance_s):
        span = Span(lost, unbonded[-1].end)
        yield Found(Kind.BOND_LOST_IN_FLOW, Severity.CRITICAL, span, flow)


def overlong(
    cells: Sequence[Cell], flow: Flow, test: Callable[[Cell], object], allowed_s: float, kind: Kind
) -> Iterator[Found]:
    """Yield the stretches of flow under a condition that last longer than allowed."""
    for run in flow.runs:
        for span in stretches(inside(cells, run), test):
            if span.length > nanoseconds(allowed_s):
                yield Found(kind, Severity.MAJOR, span, flow)


def failed_hookups(cells: Sequence[Cell], failed: Sequence[Contact]) -> Iterator[Found]:
    for contact in failed:
        flowed = any(cell.is_flowing for cell in inside(cells, contact.span))
        severity = Severity.MAJOR if flowed else Severity.MINOR
        yield Found(Kind.FAILED_HOOKUP, severity, contact.span)


def chattering(station: Station, cells: Sequence[Cell]) -> Iterator[Found]:
    """Yield the clusters of bond losses."""
    starts = [loss.span.start for loss in losses(cells)]
    count, within = station.limits.cluster_count, nanoseconds(station.limits.cluster_s)
    clusters: list[Span] = []
    for first, last in zip(starts, starts[count - 1 :], strict=False):
        if last - first > within:
            continue
        if clusters and first <= clusters[-1].end:
            clusters[-1] = Span(clusters[-1].start, last)
        else:
            clusters.append(Span(first, last))
    for span in clusters:
        yield Found(Kind.CHATTERING, Severity.MINOR, span)


def mismatches(station: Station, cells: Sequence[Cell]) -> Iterator[Found]:
    """Yield where permissive and bond disagree."""
    if Role.PERMISSIVE not in station.points or bond_role(station) == Role.PERMISSIVE:
        return
    allowed = nanoseconds(station.limits.mismatch_s)
    for span in stretches(cells, lambda c: c.known(Role.PERMISSIVE) == 1 and c.is_not_low):
        if span.length > allowed:
            yield Found(Kind.PERMISSIVE_WITHOUT_BOND, Severity.CRITICAL, span)
    for span in stretches(cells, lambda c: c.known(Role.PERMISSIVE) == 0 and c.verified):
        if span.length > allowed:
            yield Found(Kind.PERMISSIVE_WITHHELD, Severity.MINOR, span)


def isolated(
    station: Station, cells: Sequence[Cell], work: Sequence[WorkWindow]
) -> Iterator[Found]:
    """Yield where a fixed item stood unbonded."""
    for span in stretches(cells, lambda cell: cell.is_not_low):
        if span.length < nanoseconds(station.limits.isolated_s):
            continue
        ran = any(cell.is_flowing for cell in inside(cells, span))
        yield Found(
            Kind.ITEM_ISOLATED,
            Severity.CRITICAL if ran else Severity.MAJOR,
            span,
            after_work=any(
                window.station == station.id and window.start <= span.start < window.end + DAY_NS
                for window in work
            ),
        )


def early_release(
    station: Station, flow: Flow, flows: Sequence[Flow], hookups: Sequence[Contact]
) -> Iterator[Found]:
    wait = nanoseconds(station.limits.release_wait_s)
    end = flow.span.end
    offs = [c.off for c in hookups if c.off is not None and c.span.start <= end <= c.off]
    # A clamp that stays on for the next transfer is not off after this one.
    if any(end < other.span.start < off for other in flows for off in offs):
        return
    if wait > 0 and offs and min(offs) < end + wait:
        yield Found(Kind.EARLY_RELEASE, Severity.MINOR, Span(min(offs), end + wait), flow)


def nuisance_trip(stop: Stop, flow: Flow) -> Found:
    return Found(Kind.NUISANCE_TRIP, Severity.MINOR, Span(stop.time, stop.flow_end), flow)


def of_transfer(station: Station, cells: Sequence[Cell], flow: Flow) -> Iterator[Found]:
    """Yield the findings that say whether a transfer is compliant."""
    limits = station.limits
    yield from no_bond_transfer(cells, flow)
    yield from unverified_flow(station, cells, flow)
    yield from overlong(
        cells,
        flow,
        lambda cell: cell.bond == UNKNOWN,
        limits.nodata_allowance_s,
        Kind.UNVERIFIABLE_FLOW,
    )
    yield from overlong(
        cells,
        flow,
        lambda cell: cell.known(Role.BYPASS) == 1,
        limits.bypass_allowance_s,
        Kind.BYPASSED_FLOW,
    )
